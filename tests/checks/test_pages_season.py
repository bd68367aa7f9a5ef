"""Pages of the season plan: what they say and link, planned moves, days dry, and what they cost."""

import datetime as dt
from collections.abc import Iterator

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from checks.services.due import refresh_due
from fleet.models import Aircraft, Operator, PlannedMove
from tests.checks.check_pages import logged_in
from tests.checks.season_world import NOON, TODAY, done, season_world, takes
from tests.world import World

pytestmark = pytest.mark.django_db
D = dt.date
URL, NORTH = "/season/", "/season/bases/north/"


@pytest.fixture
def world() -> Iterator[World]:
    with time_machine.travel(NOON, tick=False):
        yield season_world()


@pytest.fixture
def browse(world: World) -> Client:
    return logged_in(world, "controller1")


def text(client: Client, url: str) -> str:
    response = client.get(url)
    assert response.status_code == 200
    return response.content.decode()


def test_every_base_has_a_line_that_leads_to_its_plan(browse: Client) -> None:
    page = text(browse, URL)
    for code, day in (("north", "2025-10-01"), ("outer", "2025-09-20"), ("farcape", "2026-04-10")):
        assert f'href="/season/bases/{code}/?year={day[:4]}"' in page and f'datetime="{day}"' in page
    assert "0 of 2" in page and "southern" in page


def test_the_plan_of_a_base_names_each_open_aircraft_with_its_tasks(world: World, browse: Client) -> None:
    done(world, world.underfloor, D(2025, 8, 10))
    done(world, world.forward, D(2025, 8, 11), "windshield")
    page = text(browse, NORTH)
    point = world.forward.due_points.get(check_due=world.recurring(world.forward))
    assert f'href="/due/{point.pk}/">Pressure and flow check' in page
    assert page.count(f'href="/due/{point.pk}/"') == 1
    assert "1 of 2 aircraft complete" in page
    assert "Too few to tell a pace: 1 done in 56 days, 3 are wanted." in page
    assert "common practice, no source" in page and "as if they came by chance" in page
    assert "for-wide" in page and "for-narrow" in page, "the chart in two sizes"


def test_signing_a_check_moves_the_plan(world: World, browse: Client) -> None:
    assert browse.get(NORTH).context["plan"].done == 0
    done(world, world.forward, D(2025, 8, 20))
    found = browse.get(NORTH).context["plan"]
    assert (found.done, len(found.open_lines)) == (1, 1)


def test_another_season_is_shown_by_its_year_and_none_beyond(browse: Client) -> None:
    assert "season of" in text(browse, f"{NORTH}?year=2026")
    assert browse.get(NORTH, {"year": "2026"}).context["plan"].date == D(2026, 10, 1)
    for year in ("1999", "2027", "x", "٢٠٢٥"):
        response = browse.get(NORTH, {"year": year})
        assert response.context["plan"].date.year == 2025
        assert "Seasons of 2023 to 2026 can be shown." in response.content.decode()
    assert browse.get("/season/bases/nowhere/").status_code == 404


def test_short_fluid_stands_out_by_word_with_litres_and_day(world: World, browse: Client) -> None:
    takes("pressure-flow", "300")
    takes("windshield", "0")
    for url in (URL, NORTH):
        page = text(browse, url)
        assert '<span class="word">short</span>' in page
        assert "200.0" in page and "1 Oct 2025" in page


def test_a_move_is_planned_warned_of_and_withdrawn(world: World, browse: Client) -> None:
    sent = {
        "aircraft": world.forward.registration,
        "base": world.master.bases["outer"].pk,
        "on": "2025-09-10",
        "remark": "Timetable.",
    }
    assert browse.post("/season/moves/plan/", sent).status_code == 302
    move = PlannedMove.objects.get()
    assert (move.aircraft, move.on, move.planned_by) == (
        world.forward,
        D(2025, 9, 10),
        world.person("controller1"),
    )
    page = text(browse, URL)
    assert "Moves that meet a season earlier" in page and "Timetable." in page
    assert "Meets its season earlier" in page
    assert "Carried out" not in page, "its day is still to come"
    assert "Moves that meet a season earlier" in text(browse, "/season/bases/outer/")
    browse.post(f"/season/moves/{move.pk}/end/", {"end": "carried out"})
    move.refresh_from_db()
    assert move.end == ""
    browse.post(f"/season/moves/{move.pk}/end/", {"end": "withdrawn"})
    assert "No move is planned." in text(browse, URL)
    again = browse.post(f"/season/moves/{move.pk}/end/", {"end": "withdrawn"}, follow=True)
    assert "It was withdrawn already" in again.content.decode()


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"on": "2025-08-31"}, "That day is past."),
        ({"base": "north"}, "by then anyway"),
        ({"on": ""}, "required"),
        ({"aircraft": "Q-9999"}, "Select a valid choice"),
    ],
)
def test_what_can_not_be_planned_is_said_at_its_field(
    world: World, browse: Client, given: dict, said: str
) -> None:
    sent = {"aircraft": world.forward.registration, "base": "outer", "on": "2025-09-10"} | given
    sent["base"] = world.master.bases[sent["base"]].pk
    response = browse.post("/season/moves/plan/", sent)
    assert response.status_code == 422 and said in response.content.decode()
    assert not PlannedMove.objects.exists()


def test_two_moves_on_one_day_are_refused(world: World, browse: Client) -> None:
    sent = {"aircraft": world.forward.registration, "on": "2025-09-10"}
    bases = [world.master.bases[code].pk for code in ("outer", "middle")]
    answers = [browse.post("/season/moves/plan/", sent | {"base": base}).status_code for base in bases]
    assert answers == [302, 422]


def test_only_who_plans_moves_is_offered_it(world: World) -> None:
    page = text(logged_in(world, "technician1"), URL)
    assert "Plan a move" not in page


def test_days_dry_list_the_longest_first_and_those_without_a_record_before_all(
    world: World, browse: Client
) -> None:
    Operator.objects.update(dry_days=30)
    world.signed(world.forward, D(2025, 7, 1), code="wet-out")
    response = browse.get("/season/dry/")
    lines = [(line["aircraft"], line["dry"].days) for line in response.context["lines"]]
    assert lines == [(world.underfloor, None), (world.forward, 62)]
    page = response.content.decode()
    assert '<span class="word">dry</span>' in page and '<span class="word">no record</span>' in page
    assert "use in flight is not recorded here" in page


def test_without_a_base_the_page_says_so() -> None:
    from tests.conftest import make_person

    person = make_person("auditor-9", "auditor")
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    assert "No base is entered yet." in text(client, URL)


def test_queries_do_not_grow_with_the_fleet() -> None:
    costs = []
    with time_machine.travel(NOON, tick=False):
        world = season_world(aircraft=22)
        done(world, world.forward, D(2025, 8, 10))
        browse = logged_in(world, "controller1")
        browse.get(URL)
        for number in (2, 22):
            Aircraft.objects.update(state=Aircraft.State.LEFT)
            wanted = [one.pk for one in world.fleet[:number]]
            Aircraft.objects.filter(pk__in=wanted).update(state=Aircraft.State.IN_SERVICE)
            refresh_due(today=TODAY)
            cost = []
            for url in (URL, NORTH, "/season/dry/"):
                with CaptureQueriesContext(connection) as queries:
                    assert browse.get(url).status_code == 200
                cost.append(len(queries))
            costs.append(cost)
    assert costs[0] == costs[1], costs
