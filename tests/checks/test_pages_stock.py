"""Pages of the stock: what is there, entries and their corrections, what mixes, and what they cost."""

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from checks.models import FluidMix, StockMovement
from checks.services.stock import record_mix, record_movement
from fleet.models import FluidBatch, Part
from tests.checks.check_pages import logged_in
from tests.checks.season_world import NOON, filter_element, season_world, takes
from tests.world import World

pytestmark = pytest.mark.django_db
D = dt.date
URL, ENTRIES, ADD = "/stock/", "/stock/entries/", "/stock/entries/add/"


@pytest.fixture
def world() -> Iterator[World]:
    with time_machine.travel(NOON, tick=False):
        yield season_world()


@pytest.fixture
def browse(world: World) -> Client:
    return logged_in(world, "controller1")


def batch(world: World) -> FluidBatch:
    return world.master.batches["fb-101"]


def entered(world: World, kind: str = "scrapped", quantity: str = "5") -> StockMovement:
    one = batch(world)
    by = world.person("controller1")
    return record_movement(by=by, kind=kind, thing=one, base=one.base, quantity=Decimal(quantity))


def sent(world: World, **more: object) -> dict[str, object]:
    one = batch(world)
    base = {"thing": f"batch-{one.pk}", "kind": "scrapped", "quantity": "5", "on": "2025-09-01"}
    return base | {"base": one.base_id, "to_base": "", "aircraft": "", "remark": ""} | more


def test_each_base_shows_its_batches_with_litres_last_day_and_state(world: World, browse: Client) -> None:
    entered(world)
    page = browse.get(URL).content.decode()
    for word in ("fb-101", "395.0", "valid", "expired", "North Skerry", "Far Cape"):
        assert word in page
    shown = browse.get(URL, {"base": "outer"}).context["shown"]
    assert [one["base"].code for one in shown] == ["outer"]
    assert len(browse.get(URL, {"base": "nowhere"}).context["shown"]) == 4


def test_a_batch_of_which_more_was_taken_than_came_says_that_the_records_disagree(
    world: World, browse: Client
) -> None:
    one = batch(world)
    record_movement(
        by=world.person("controller1"),
        kind="counted",
        thing=one,
        base=one.base,
        quantity=Decimal(1),
        on=D(2025, 8, 31),
    )
    takes("pressure-flow", "6")
    event = world.signed(world.forward, D(2025, 9, 1))
    assert event.fluid_batch == batch(world)
    page = browse.get(URL).content.decode()
    assert "records disagree" in page and "count it" in page


def test_an_entry_is_made_and_the_stock_follows(world: World, browse: Client) -> None:
    assert browse.post(ADD, sent(world)).status_code == 302
    assert "395.0" in browse.get(URL).content.decode()
    one = StockMovement.objects.get()
    assert (one.entered_by, one.on) == (world.person("controller1"), D(2025, 9, 1))


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"quantity": "900"}, "By the records 400.0 L was there"),
        ({"quantity": "-1"}, "greater than or equal to 0"),
        ({"quantity": "five"}, "Enter a number"),
        ({"thing": ""}, "This field is required"),
        ({"thing": "batch-99999"}, "Select a valid choice"),
        ({"kind": "moved"}, "A move names another base"),
        ({"on": "2025-09-02"}, "still to come"),
    ],
)
def test_what_is_refused_is_said_and_what_was_typed_stays(
    world: World, browse: Client, more: dict, said: str
) -> None:
    response = browse.post(ADD, sent(world, remark="Kept words.") | more)
    page = response.content.decode()
    assert response.status_code == 422 and said in page and "Kept words." in page
    assert not StockMovement.objects.exists()


def test_the_list_leaves_out_what_was_corrected_until_it_is_asked_for(world: World, browse: Client) -> None:
    wrong = entered(world, quantity="50")
    url = f"/stock/entries/{wrong.pk}/correct/"
    assert "fb-101" in browse.get(url).content.decode()
    refused = browse.post(url, sent(world, quantity="5"))
    assert refused.status_code == 422 and StockMovement.objects.count() == 1, "no reason, no correction"
    assert browse.post(url, sent(world, quantity="5", remark="A zero too many.")).status_code == 302
    page = browse.get(ENTRIES).content.decode()
    assert "A zero too many." in page and f"in the place of entry {wrong.pk}" in page
    assert len(browse.get(ENTRIES).context["page_obj"]) == 1
    both = browse.get(ENTRIES, {"standing": "with"})
    assert len(both.context["page_obj"]) == 2 and "superseded" in both.content.decode()
    again = browse.post(url, sent(world, quantity="6", remark="Again."))
    assert "corrected already" in again.content.decode()


def test_the_filter_is_followed_and_one_not_understood_gives_no_list(world: World, browse: Client) -> None:
    entered(world)
    assert not browse.get(ENTRIES, {"kind": "received"}).context["page_obj"].object_list
    answer = browse.get(ENTRIES, {"kind": "nonsense"})
    assert "page_obj" not in answer.context and "was not understood" in answer.content.decode()


def test_items_and_serialised_parts_stand_with_them(world: World, browse: Client) -> None:
    item = filter_element(least=2)
    part = Part.objects.create(part_number="DP-X", serial_number="S-1", kind="panel")
    north = world.master.bases["north"].pk
    for thing in (f"item-{item.pk}", f"part-{part.pk}"):
        data = sent(world, thing=thing, kind="received", quantity="1", base=north)
        assert browse.post(ADD, data).status_code == 302
    page = browse.get(URL, {"base": "north"}).content.decode()
    for word in ("DF-1 Filter", "12 months", "Invented.", "DP-X s/n S-1", "short"):
        assert word in page


def test_what_mixes_is_what_a_source_says_and_nothing_else(world: World, browse: Client) -> None:
    assert "nothing is assumed" in browse.get(URL).content.decode()
    data = {"kind_a": "FPD 85 %", "kind_b": "FPD 80 %", "allowed": "no", "source_reference": ""}
    assert browse.post("/stock/mixes/add/", data).status_code == 422
    data |= {"source_reference": "Invented letter, 1 Mar 2025"}
    assert browse.post("/stock/mixes/add/", data).status_code == 302
    assert FluidMix.objects.get().kind_a == "FPD 80 %"
    page = browse.get(URL).content.decode()
    assert "not to be mixed" in page and "Invented letter, 1 Mar 2025" in page


def test_who_may_not_keep_stock_is_offered_nothing(world: World) -> None:
    entered(world)
    client = logged_in(world, "technician1")
    assert "Enter a movement" not in client.get(URL).content.decode()
    assert "Correct entry" not in client.get(ENTRIES).content.decode()


def test_queries_do_not_grow_with_the_entries(world: World, browse: Client) -> None:
    browse.get(URL)
    costs = []
    for number in (2, 20):
        for _ in range(number):
            entered(world, quantity="1")
            record_mix(
                by=world.person("controller1"),
                kind_a=f"A{StockMovement.objects.count()}",
                kind_b="B",
                allowed=True,
                source_reference="Invented.",
            )
        cost = []
        for url in (URL, ENTRIES, ADD):
            with CaptureQueriesContext(connection) as queries:
                assert browse.get(url).status_code == 200
            cost.append(len(queries))
        costs.append(cost)
    assert costs[0] == costs[1], costs
