"""The due list page: who may, what it filters, counts, sorts and pages, and what it costs."""

import datetime as dt
from collections.abc import Callable, Iterator

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from checks.models import DuePoint
from checks.services.due import note_due_point, refresh_due
from checks.views.due import PER_PAGE
from fleet.models import Aircraft
from tests.checks.due_history import done, fly, point
from tests.world import TODAY, World, build_world

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _today() -> Iterator[None]:
    with time_machine.travel(dt.datetime.combine(TODAY, dt.time(12), dt.UTC), tick=False):
        yield


@pytest.fixture
def world() -> World:
    """Three aircraft: the first overdue on one task, the second planned, the third at Far Cape."""
    world = build_world(aircraft=3)
    first, second, third = world.fleet
    done(world, first, TODAY - dt.timedelta(days=400), hours=1990)
    done(world, second, TODAY - dt.timedelta(days=5), hours=1990)
    third.base = world.master.bases["farcape"]
    third.save()
    refresh_due()
    return world


@pytest.fixture
def browse(auditor, client_of: Callable[..., Client]) -> Client:
    return client_of(auditor)


def shown(client: Client, **query: object) -> list[tuple[str, str, str]]:
    """Registration, task and state of the rows on the page."""
    rows = client.get("/due/", query).context["rows"]
    return [(row.registration, row.task, row.state) for row in rows]


# --- who ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", ["/due/", "/due/1/"])
def test_strangers_are_sent_to_log_in_or_refused(
    path: str, world: World, outsider, client_of: Callable[..., Client]
) -> None:
    path = path.replace("1", str(point(world, world.forward).pk))
    assert Client().get(path).status_code == 302
    assert client_of(outsider).get(path).status_code == 403
    assert client_of(outsider).post(path).status_code == 405


# --- what ---------------------------------------------------------------------------------------


def test_states_by_word_and_shape(world: World, browse: Client) -> None:
    page = browse.get("/due/").content.decode()
    row = page[page.index('<tr class="act">') :].split("</tr>")[0]
    assert "Q-0000" in row and "<svg" in row and "overdue" in row
    stored = point(world, world.forward)
    assert f"/due/{stored.pk}/" in row and f"/checks/{stored.last_event_id}/" in row


def test_estimates_look_different_from_what_was_counted(world: World, browse: Client) -> None:
    by = world.person("controller1")
    fly(world.underfloor, by, TODAY - dt.timedelta(days=29), TODAY, hours=4, landings=1)
    refresh_due()
    page = browse.get("/due/", {"aircraft": "0001"}).content.decode()
    estimated = point(world, world.underfloor).due_on
    assert f'<em class="estimate">about <time datetime="{estimated}">' in page
    assert '<em class="estimate"' not in browse.get("/due/", {"aircraft": "0000"}).content.decode()


def test_each_filter(world: World, browse: Client) -> None:
    task = "Pressure and flow check"
    assert {row[0] for row in shown(browse, aircraft="0002")} == {"Q-0002"}
    assert {row[0] for row in shown(browse, base=world.master.bases["farcape"].pk)} == {"Q-0002"}
    assert {row[1] for row in shown(browse, task=task)} == {task}
    assert shown(browse, state="overdue") == [("Q-0000", task, "overdue")]
    assert shown(browse, aircraft="0001", state="planned") == [("Q-0001", task, "planned")]


def test_the_horizon_keeps_what_has_no_record(world: World, browse: Client) -> None:
    """Nobody can say that a check without a record is due later."""
    states = {row[2] for row in shown(browse, horizon=30)}
    assert states == {"overdue", "no record"}
    assert ("Q-0001", "Pressure and flow check", "planned") in shown(browse, horizon=2000)


def test_counts_follow_the_other_filters_but_not_the_state(world: World, browse: Client) -> None:
    counts = browse.get("/due/", {"state": "overdue", "aircraft": "0000"}).context["counts"]
    numbers = {count.state: count.number for count in counts}
    others = sum(variant == "forward" for variant, _ in world.master.recurring) - 1
    assert others == 9
    assert numbers["overdue"] == 1 and numbers["no record"] == others and numbers["planned"] == 0


def test_the_owner_stands_in_the_list_and_filters_it(world: World, browse: Client) -> None:
    owned, owner = point(world, world.fleet[0]), world.person("controller1")
    note_due_point(point=owned, by=owner, owner=owner, remarks="")
    (row,) = browse.get("/due/", {"owner": owner.pk}).context["rows"]
    assert (row.point_id, row.owner) == (owned.pk, str(owner))
    answer = browse.get("/due/", {"owner": "null"})
    rows = answer.context["rows"]
    assert rows and owned.pk not in {row.point_id for row in rows} and {row.owner for row in rows} == {""}
    assert answer.context["filter"].words == "owner nobody"
    choices = list(answer.context["filter"].form.fields["owner"].choices)
    assert [label for _, label in choices] == ["everybody", "nobody", str(owner)]


@pytest.mark.parametrize(
    ("query", "label"),
    [
        ({"horizon": "soon"}, "Due within days"),
        ({"horizon": "-1"}, "Due within days"),
        ({"state": "late"}, "State"),
        ({"base": "99999"}, "Base"),
        ({"task": "none such"}, "Task"),
        ({"owner": "99999"}, "Owner"),
    ],
)
def test_a_filter_not_understood_shows_no_list(world: World, browse: Client, query: dict, label: str) -> None:
    answer = browse.get("/due/", query)
    assert "rows" not in answer.context
    page = answer.content.decode()
    assert "The filter was not understood" in page and "Q-0000" not in page
    assert page.count('aria-invalid="true"') == 1
    part = browse.get("/due/", query, headers={"hx-request": "true"}).content.decode()
    assert "The filter was not understood" in part and f"{label}: " in part


def test_sorting(world: World, browse: Client) -> None:
    assert shown(browse, sort="-aircraft")[0][0] == "Q-0002"
    assert [row[1] for row in shown(browse, sort="task")] == sorted(row[1] for row in shown(browse))
    assert [row[2] for row in shown(browse, sort="due")][-2:] == ["overdue", "planned"]
    assert [row[2] for row in shown(browse, sort="-due")][:2] == ["planned", "overdue"]
    assert shown(browse, sort="password") == shown(browse)


def test_htmx_gets_the_list_alone(world: World, browse: Client) -> None:
    part = browse.get("/due/", headers={"hx-request": "true"}).content.decode()
    assert part.lstrip().startswith('<div id="list"') and "<html" not in part


def test_pages_hold_fifty_and_never_overlap(browse: Client) -> None:
    world = build_world(aircraft=8)
    refresh_due()
    whole = DuePoint.objects.count()
    assert PER_PAGE < whole < 2 * PER_PAGE and len(world.fleet) == 8
    first = browse.get("/due/").context
    second = browse.get("/due/", {"page": first["page_obj"].after}).context
    pages = [[row.point_id for row in context["rows"]] for context in (first, second)]
    assert [len(page) for page in pages] == [PER_PAGE, whole - PER_PAGE]
    assert len(set(pages[0] + pages[1])) == whole
    assert second["page_obj"].after == "" and second["page_obj"].whole == whole


def test_exports_carry_the_filter_but_not_the_page(world: World, browse: Client) -> None:
    page = browse.get("/due/?aircraft=Q-0&state=no+record&page=last").content.decode()
    for file in ("lists/due.csv", "due.pdf"):
        assert f'href="/reports/{file}?aircraft=Q-0&amp;state=no+record"' in page


def test_nothing_to_show_says_why(browse: Client) -> None:
    assert "no aircraft in service has a check in its programme" in browse.get("/due/").content.decode()
    build_world()
    refresh_due()
    assert "Nothing on the due list fits this filter" in browse.get("/due/?aircraft=ZZ").content.decode()


def test_an_old_count_is_named(world: World, browse: Client) -> None:
    assert "last counted on" not in browse.get("/due/").content.decode()
    DuePoint.objects.update(computed_at=timezone.now() - dt.timedelta(days=3))
    assert "last counted on" in browse.get("/due/").content.decode()


# --- how it was counted -------------------------------------------------------------------------


def test_the_point_explains_itself(world: World, browse: Client) -> None:
    """The engine's own line for each limb, the last check, the totals and the rule of counting."""
    check = world.recurring(world.underfloor)
    check.interval_months, check.interval_hours = 6, 450
    check.save()
    page = browse.get(f"/due/{point(world, world.underfloor).pk}/").content.decode()
    assert "hours: due at 2440" in page and "months: due on 2025-09-07" in page
    assert "season date: due on 2025-10-01" in page
    assert "from done" in page and "within limit" in page and "cannot be told" in page


def test_a_point_without_a_record_says_so(world: World, browse: Client) -> None:
    page = browse.get(f"/due/{point(world, world.forward, 'wet-out').pk}/").content.decode()
    assert "no record of it being done" in page and "no record" in page


def test_a_point_no_longer_counted_says_so(world: World, browse: Client) -> None:
    stored = point(world, world.forward)
    stored.check_due.active = False
    stored.check_due.save()
    assert "no longer counted" in browse.get(f"/due/{stored.pk}/").content.decode()
    assert browse.get("/due/999999/").status_code == 404


# --- what it costs ------------------------------------------------------------------------------


def queries(client: Client, path: str) -> int:
    with CaptureQueriesContext(connection) as caught:
        assert client.get(path).status_code == 200
    return len(caught)


def test_queries_do_not_grow(browse: Client) -> None:
    """The list and one point, with 2 aircraft in service and with 22."""
    world = build_world(aircraft=22)
    for aircraft in world.fleet:
        done(world, aircraft, TODAY - dt.timedelta(days=100))
    few = [aircraft.pk for aircraft in world.fleet[:2]]
    Aircraft.objects.exclude(pk__in=few).update(state=Aircraft.State.LEFT)
    refresh_due()
    paths = ("/due/", "/due/?state=planned&horizon=90", f"/due/{DuePoint.objects.latest('pk').pk}/")
    before = [queries(browse, path) for path in paths]
    Aircraft.objects.update(state=Aircraft.State.IN_SERVICE)
    refresh_due()
    assert [queries(browse, path) for path in paths] == before
    assert len(browse.get("/due/").context["rows"]) == PER_PAGE
