"""The pages of the programme: what they show, what they refuse, what they cost."""

import datetime as dt
from collections.abc import Callable, Iterator

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from checks.models import DuePoint, IntervalRevision, RecurringCheck
from checks.services.due import refresh_due
from fleet.models import Aircraft
from tests.checks.due_history import done, fly, point
from tests.world import PASSWORD, TODAY, World, build_world

pytestmark = pytest.mark.django_db
NEW = {
    "interval_days": "60",
    "work_hours": "1",
    "season_window_days": "90",
    "tolerance_days": "0",
    "tolerance_hours": "0",
    "tolerance_landings": "0",
    "counting": "from done",
    "first_due": "entry",
    "active": "on",
    "reason": "Invented.",
}


@pytest.fixture(autouse=True)
def _today() -> Iterator[None]:
    with time_machine.travel(dt.datetime.combine(TODAY, dt.time(12), dt.UTC), tick=False):
        yield


@pytest.fixture
def world() -> World:
    """Three aircraft; skin care of 120 days was done 100 days ago on the two forward ones."""
    world = build_world(aircraft=3)
    revision = world.revision(world.forward, "panel-skin")
    for aircraft in (world.fleet[0], world.fleet[2]):
        done(world, aircraft, TODAY - dt.timedelta(days=100), revision=revision)
    refresh_due()
    return world


@pytest.fixture
def desk(world: World) -> Client:
    client = Client()
    client.force_login(world.person("controller1"), backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.fixture
def director(world: World) -> Client:
    client = Client()
    client.force_login(world.person("director1"), backend="django.contrib.auth.backends.ModelBackend")
    return client


def task_of(world: World) -> RecurringCheck:
    return world.recurring(world.forward, "panel-skin")


def text(client: Client, path: str, **query: object) -> str:
    answer = client.get(path, query)
    assert answer.status_code == 200
    return answer.content.decode()


def form_of(task: RecurringCheck, **changes: object) -> dict[str, object]:
    """The form as the page fills it for a task, with some changes."""
    given = {name: getattr(task, name) for name in NEW if name not in ("reason", "active")}
    given |= {"active": "on", "reason": "Invented."}
    return {name: value for name, value in (given | changes).items() if value is not None}


# --- the list and one task ------------------------------------------------------------------------


def test_the_list_says_interval_tolerance_counting_and_aircraft(world: World, desk: Client) -> None:
    page = text(desk, "/programme/", words="strainer")
    assert "12 months or 900 h, whichever first" in page and "30 days, 50 h" in page
    assert "keep the grid inside the window" in page and "every aircraft of the variant" in page
    assert "Panel skin care" not in page
    first, *_ = desk.get("/programme/?sort=-task").context["rows"]
    assert first["task"].title == "Windshield spray"


def test_filters_by_state(world: World, desk: Client) -> None:
    RecurringCheck.objects.filter(pk=task_of(world).pk).update(active=False)
    shown = desk.get("/programme/", {"state": "not in the programme"}).context["rows"]
    assert [row["task"].pk for row in shown] == [task_of(world).pk]
    assert "No task fits this filter" in text(desk, "/programme/", words="no such task")
    part = desk.get("/programme/", headers={"hx-request": "true"}).content.decode()
    assert part.lstrip().startswith('<div id="list"') and "<html" not in part


def test_a_task_shows_each_aircraft_and_where_its_counting_comes_from(world: World, desk: Client) -> None:
    page = text(desk, f"/programme/{task_of(world).pk}/")
    due = (TODAY + dt.timedelta(days=20)).isoformat()
    assert page.count(f'<time datetime="{due}">') == 2 and page.count("due soon") == 2
    assert "14 CFR 91.411" in page and "Never revised here" in page
    assert f"/due/{point(world, world.forward, 'panel-skin').pk}/" in page
    assert desk.get("/programme/99999/").status_code == 404


# --- typing and approving -----------------------------------------------------------------------------


def test_a_revision_shows_its_effect_before_it_is_approved(
    world: World, desk: Client, director: Client
) -> None:
    task = task_of(world)
    answer = desk.post(f"/programme/{task.pk}/revise/", form_of(task, interval_days=80, tolerance_days=5))
    revision = IntervalRevision.objects.get()
    address = f"/programme/revisions/{revision.pk}/"
    assert answer.status_code == 302 and answer.url == address
    page = text(director, address)
    assert page.count("becomes overdue") == 2 and "2 of 2 aircraft move; 2 become overdue" in page
    assert '<td data-label="Before">120 days</td><td data-label="Revised">80 days</td>' in page
    assert f'href="{address}approve/"' in page and "Take it back" not in page
    assert f'href="{address}approve/"' not in text(desk, address) and "Take it back" in text(desk, address)
    wrong = director.post(f"{address}approve/", {"password": "not it"})
    assert wrong.status_code == 422 and "password is not right" in wrong.content.decode()
    assert director.post(f"{address}approve/", {"password": PASSWORD}).url == f"/programme/{task.pk}/"
    assert point(world, world.forward, "panel-skin").due_on == TODAY - dt.timedelta(days=20)
    kept = text(director, address)
    assert "120 days" in kept and "approved by" in kept and "What it moves" not in kept
    assert director.get(f"{address}approve/").url == address


def test_what_can_not_be_kept_says_why_and_loses_nothing(world: World, desk: Client) -> None:
    task = task_of(world)
    address = f"/programme/{task.pk}/revise/"
    for changes, words in (
        ({"reason": ""}, "This field is required"),
        ({"interval_days": "0"}, "greater than or equal to 1"),
        ({"interval_days": ""}, "Give at least one interval"),
        ({"once": "on"}, "needs its reference"),
        ({"first_due": "given"}, "at which it is first due"),
        ({"fit": "embodied"}, "Say whether the modification"),
        ({}, "Nothing differs"),
    ):
        answer = desk.post(address, form_of(task, **changes))
        assert answer.status_code == 422, changes
        assert words in answer.content.decode(), changes
    assert not IntervalRevision.objects.exists()


def test_a_waiting_revision_is_shown_instead_of_a_second_form(world: World, desk: Client) -> None:
    task = task_of(world)
    desk.post(f"/programme/{task.pk}/revise/", form_of(task, interval_days=80))
    revision = IntervalRevision.objects.get()
    assert desk.get(f"/programme/{task.pk}/revise/").url == f"/programme/revisions/{revision.pk}/"
    assert "waits for approval" in text(desk, f"/programme/{task.pk}/")
    assert "a revision waits" in text(desk, "/programme/", words="skin")
    assert desk.post(f"/programme/revisions/{revision.pk}/take-back/").status_code == 302
    assert not IntervalRevision.objects.exists() and RecurringCheck.objects.filter(pk=task.pk).exists()


def test_a_new_task_begins_with_its_procedure(world: World, desk: Client, director: Client) -> None:
    procedure = task_of(world).procedure
    assert "Which procedure does it follow" in text(desk, "/programme/new/")
    address = f"/programme/new/?procedure={procedure.pk}"
    assert "New task: Panel skin care" in text(desk, address)
    bad = desk.post(address, NEW | {"interval_days": "x"})
    assert bad.status_code == 422 and "Enter a whole number" in bad.content.decode()
    revision_page = desk.post(address, NEW | {"title": "Skin, short"}).url
    assert "A new task" in text(director, revision_page)
    task = IntervalRevision.objects.get().check_revised
    assert "Until then nothing is counted" in text(desk, f"/programme/{task.pk}/")
    director.post(f"{revision_page}approve/", {"password": PASSWORD})
    assert DuePoint.objects.filter(check_due__title="Skin, short").count() == 2


# --- a due point and its owner --------------------------------------------------------------------------


def test_a_due_point_opens_to_its_arithmetic(world: World, desk: Client) -> None:
    """Last done, limbs, the one that governs, tolerance, rate of use and the range of the date."""
    by = world.person("controller1")
    fly(world.forward, by, TODAY - dt.timedelta(days=29), TODAY, hours=4, landings=2)
    task = world.recurring(world.forward)
    done(world, world.forward, TODAY - dt.timedelta(days=20), hours=2050)
    task.before_season = False
    task.save()
    refresh_due()
    page = text(desk, f"/due/{point(world, world.forward).pk}/")
    assert "5 months or 400 h, whichever first" in page and "15 days, 20 h" in page
    assert page.count("governs</span>") == 1 and "Range of use" in page
    assert '<em class="estimate">about' in page and '<em class="estimate">between' in page
    assert "hours: due at 2450 h" in page


def test_the_owner_is_entered_and_stays(world: World, desk: Client) -> None:
    here = point(world, world.forward, "panel-skin")
    owner = world.person("technician1")
    answer = desk.post(f"/due/{here.pk}/owner/", {"owner": owner.pk, "remarks": "Slot agreed."})
    assert answer.url == f"/due/{here.pk}/"
    refresh_due()
    page = text(desk, f"/due/{here.pk}/")
    assert str(owner) in page and "Slot agreed." in page
    long = desk.post(f"/due/{here.pk}/owner/", {"owner": "", "remarks": "x" * 401})
    assert long.status_code == 422 and "at most 400 characters" in long.content.decode()


# --- what it costs -------------------------------------------------------------------------------------


def test_queries_do_not_grow(client_of: Callable[..., Client], auditor) -> None:
    browse, counts, world = client_of(auditor), [], build_world()
    for number in (2, 22):
        grown(world, number)
        refresh_due()
        task = task_of(world)
        counts.append([queries(browse, path) for path in ("/programme/", f"/programme/{task.pk}/")])
    assert counts[0] == counts[1]


def grown(world: World, number: int) -> None:
    """So many forward aircraft more."""
    like = world.forward
    for n in range(number):
        Aircraft.objects.create(
            registration=f"Q-Z{number}-{n}",
            serial_number=f"Z{number}-{n}",
            type_name=like.type_name,
            variant=like.variant,
            base=like.base,
            entered_service_on=like.entered_service_on,
        )


def queries(client: Client, path: str) -> int:
    with CaptureQueriesContext(connection) as caught:
        assert client.get(path).status_code == 200
    return len(caught)
