"""Deferring a defect on its pages: the item first, then what it asks for and the day that follows."""

import datetime as dt
from decimal import Decimal

import pytest

from checks.models import Defect, Deferral
from checks.services.defects import raise_defect
from tests.checks.check_pages import logged_in
from tests.checks.deferring import OF_CATEGORY, deferred
from tests.reference.tables import rows
from tests.world import PASSWORD, World


@pytest.fixture
def defect(world: World) -> Defect:
    return raise_defect(
        aircraft=world.forward, by=world.person("technician1"), description="Drip at the tank."
    )


def form(world: World, number: str = "30-10-03", **more: str) -> dict[str, str]:
    """A deferral as a browser posts it, with everything confirmed."""
    return {
        "item": str(world.item(number).pk),
        "recorded_on": world.today.isoformat(),
        "maintenance_confirmed": "on",
        "operations_confirmed": "on",
        "placard_placed": "on",
        "password": PASSWORD,
    } | more


def errors(response) -> dict[str, list[str]]:
    assert response.status_code == 422
    return dict(response.context["form"].errors)


@pytest.mark.parametrize("row", rows("deferrals.csv"), ids=lambda row: f"{row['category']}-{row['recorded']}")
def test_the_last_day_shown_is_that_of_the_published_rule(world: World, defect: Defect, row: dict) -> None:
    """Source in tests/reference/deferrals.csv."""
    item = world.item(OF_CATEGORY[row["category"]])
    part = logged_in(world, "controller1").get(
        f"/defects/{defect.pk}/defer/",
        {"item": item.pk, "recorded_on": row["recorded"]},
        headers={"hx-request": "true"},
    )
    assert part.content.decode().count(f'datetime="{row["last_day"]}"') == 1
    assert part.context["last_day"] == dt.date.fromisoformat(row["last_day"])


def test_the_item_is_chosen_first_and_shows_what_it_asks_for(world: World, defect: Defect) -> None:
    client, address = logged_in(world, "controller1"), f"/defects/{defect.pk}/defer/"
    page = client.get(address).content.decode()
    for item in world.master.mel.values():
        assert item.number in page
    assert "30-30-01" not in page, "an item that waits for approval serves nothing"
    response = client.get(address, {"item": world.item("30-10-01").pk})
    page = response.content.decode()
    for words in ("collar it", "clear of known and forecast icing", "NO FLIGHT INTO ICING", "revision 7"):
        assert words in page
    assert response.context["last_day"] == dt.date(2025, 3, 22)
    hours = client.get(address, {"item": world.item("30-20-02").pk})
    assert set(hours.context["form"].fields) == {"recorded_on", "from_hours", "placard_placed", "password"}
    assert hours.context["form"].initial["from_hours"] == Decimal("2000.00")
    assert "25 flight hours from the total when recorded" in hours.content.decode()
    refused = client.get(address, {"item": "999999"})
    assert "not in force for the aircraft" in refused.content.decode()


@pytest.mark.parametrize("recorded", ["", "12/03/25x", "9999-12-30"])
def test_a_date_that_is_no_date_yet_gives_no_last_day(world: World, defect: Defect, recorded: str) -> None:
    part = logged_in(world, "controller1").get(
        f"/defects/{defect.pk}/defer/",
        {"item": world.item("30-10-02").pk, "recorded_on": recorded},
        headers={"hx-request": "true"},
    )
    assert part.status_code == 200 and part.context["last_day"] is None


def test_a_controller_defers_under_an_item(world: World, defect: Defect) -> None:
    client = logged_in(world, "controller1")
    response = client.post(f"/defects/{defect.pk}/defer/", form(world), follow=True)
    deferral = Deferral.objects.get()
    assert (deferral.category, deferral.expires_on, deferral.limits_icing) == (
        "B",
        dt.date(2025, 3, 15),
        True,
    )
    page = response.content.decode()
    assert "Deferred." in page and "15 Mar 2025" in page and "PUMP: ONE SPEED ONLY" in page
    assert "crew has the (O) steps" in page
    client.post(f"/defects/{defect.pk}/defer/", form(world, "30-20-01"))
    assert Deferral.objects.order_by("-pk")[0].expires_on == dt.date(2025, 3, 17)


@pytest.mark.parametrize(
    ("wrong", "field", "words"),
    [
        ({"password": "guess"}, "password", "password is not right"),
        ({"item": "999999"}, "item", "not in force"),
        ({"item": ""}, "item", "Choose the item"),
        ({"recorded_on": "2025-03-13"}, "recorded_on", "still to come"),
        ({"recorded_on": ""}, "recorded_on", "Give the date"),
        ({"maintenance_confirmed": ""}, "maintenance_confirmed", "(M) steps"),
        ({"operations_confirmed": ""}, "operations_confirmed", "(O) steps"),
        ({"placard_placed": ""}, "placard_placed", "placard is in place"),
    ],
)
def test_a_refusal_stands_at_its_field_and_nothing_is_kept(
    world: World, defect: Defect, wrong: dict, field: str, words: str
) -> None:
    given = form(world, **wrong)
    response = logged_in(world, "controller1").post(f"/defects/{defect.pk}/defer/", given)
    found = errors(response)
    assert set(found) == {field} and words in found[field][0]
    assert given["password"] not in response.content.decode() and not Deferral.objects.exists()


def test_deferring_again_starts_from_the_first_recorded_date(world: World, defect: Defect, clock) -> None:
    deferred(world, defect)
    clock.shift(dt.timedelta(days=2))
    client = logged_in(world, "controller1")
    page = client.get(f"/defects/{defect.pk}/defer/", {"item": world.item("30-10-03").pk})
    assert page.context["form"].initial["recorded_on"] == dt.date(2025, 3, 12)
    response = client.post(f"/defects/{defect.pk}/defer/", form(world, recorded_on="2025-03-14"))
    assert "counts from that day too" in errors(response)["recorded_on"][0]
