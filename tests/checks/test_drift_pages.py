"""The drift ranking and the page of one series: what they show, filter, leave out and cost."""

import datetime as dt
from collections.abc import Callable, Iterator

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from checks.engine.drift import MODEL_VERSION
from checks.models import CheckEvent, ImportBatch, SeriesState
from checks.selectors.drift import spark_of
from checks.selectors.drift_series import course, life_rows, reading_rows
from checks.services.drift import refresh_drift
from checks.services.drift_records import followed
from checks.services.due import refresh_due
from checks.views.drift import PER_PAGE
from tests.checks.drift_history import at_noon, ramp, read_check, reset, series
from tests.world import TODAY, World, build_world

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _today() -> Iterator[None]:
    with time_machine.travel(at_noon(), tick=False):
        yield


@pytest.fixture
def world() -> World:
    """Four aircraft: the first over limit, the second (panel ports) closing, the third steady, the fourth
    read once."""
    world = build_world(aircraft=4)
    first, second, third, fourth = world.fleet
    ramp(world, first, 0.0, seed=1)
    read_check(world, first, TODAY, {"port": 0.5})
    ramp(world, second, 0.16, seed=2)
    ramp(world, third, 0.0, seed=3)
    read_check(world, fourth, TODAY, {"port": 0.0})
    fourth.base = world.master.bases["farcape"]
    fourth.save()
    refresh_due()
    refresh_drift()
    return world


@pytest.fixture
def browse(auditor, client_of: Callable[..., Client]) -> Client:
    return client_of(auditor)


def shown(client: Client, **query: object) -> list[tuple[str, str]]:
    return [
        (line["row"].registration, line["row"].state) for line in client.get("/drift/", query).context["rows"]
    ]


# --- the ranking ----------------------------------------------------------------------------------


def test_most_urgent_first_steady_last(world: World, browse: Client) -> None:
    assert shown(browse) == [
        ("Q-0000", "over limit"),
        ("Q-0001", "closing"),
        ("Q-0003", "too few readings"),
        ("Q-0002", "steady"),
    ]


def test_a_row_tells_by_word_shape_chart_and_advice(world: World, browse: Client) -> None:
    page = browse.get("/drift/", {"aircraft": "0001"}).content.decode()
    row = page.split("<tbody>")[1].split("</tr>")[0]
    found = series(world.fleet[1])
    assert '<tr class="act">' in row and 'class="shape"' in row and "closing" in row
    assert 'class="spark chart"' in row and f"/drift/{found.pk}/" in row
    assert f"{found.p_cross:.0%}".replace("%", " %") in row and "purge" in row
    assert str(found.readings_in_life) in row


def test_no_style_and_no_script_in_the_page(world: World, browse: Client) -> None:
    for address in ("/drift/", f"/drift/{series(world.fleet[1]).pk}/"):
        page = browse.get(address).content.decode()
        assert " style=" not in page and "<script>" not in page


def test_the_page_says_how_sure_and_when(world: World, browse: Client) -> None:
    page = browse.get("/drift/").content.decode()
    assert "12 Mar 2025" in page and MODEL_VERSION in page
    assert "The limits of the approved manual decide" in page and "not in the field" in page


@pytest.mark.parametrize(
    ("query", "registrations"),
    [
        ({"aircraft": "0002"}, {"Q-0002"}),
        ({"state": "closing"}, {"Q-0001"}),
        ({"state": "steady", "aircraft": "0001"}, set()),
        ({"point": "test_port"}, {"Q-0000", "Q-0001", "Q-0002", "Q-0003"}),
        ({"point": "nozzle"}, set()),
    ],
)
def test_each_filter(world: World, browse: Client, query: dict, registrations: set[str]) -> None:
    assert {row[0] for row in shown(browse, **query)} == registrations


def test_base_and_variant(world: World, browse: Client) -> None:
    base, variant = world.master.bases["farcape"].pk, world.master.variants["forward"].pk
    assert {row[0] for row in shown(browse, base=base)} == {"Q-0003"}
    assert {row[0] for row in shown(browse, variant=variant)} == {"Q-0000", "Q-0002"}


def test_counts_follow_the_other_filters_but_not_the_state(world: World, browse: Client) -> None:
    counts = browse.get("/drift/", {"state": "closing"}).context["counts"]
    assert [(count.state, count.number) for count in counts] == [
        ("over limit", 1),
        ("closing", 1),
        ("drifting", 0),
        ("too few readings", 1),
        ("steady", 1),
    ]


@pytest.mark.parametrize("query", [{"state": "late"}, {"base": "x"}, {"variant": "99"}, {"point": "wing"}])
def test_a_filter_not_understood_shows_no_ranking(world: World, browse: Client, query: dict) -> None:
    answer = browse.get("/drift/", query)
    assert "rows" not in answer.context and "not understood" in answer.content.decode()


def test_htmx_gets_the_list_alone(world: World, browse: Client) -> None:
    part = browse.get("/drift/", headers={"HX-Request": "true"}).content.decode()
    assert part.lstrip().startswith('<div id="list"') and "<html" not in part


def test_empty_pages_have_words(browse: Client) -> None:
    world = build_world()
    assert "No drift was computed yet" in browse.get("/drift/").content.decode()
    refresh_drift()
    assert "No series yet" in browse.get("/drift/").content.decode()
    read_check(world, world.forward, TODAY, {"port": 0.0})
    refresh_drift()
    assert "No series fits this filter" in browse.get("/drift/", {"aircraft": "ZZ"}).content.decode()


def test_an_old_fit_is_called_old(world: World, browse: Client) -> None:
    assert "may be out of step" not in browse.get("/drift/").content.decode()
    with time_machine.travel(at_noon() + dt.timedelta(days=3), tick=False):
        browse.force_login(world.person("auditor1"), backend="django.contrib.auth.backends.ModelBackend")
        assert "may be out of step" in browse.get("/drift/").content.decode()


def test_long_rankings_are_paged(browse: Client) -> None:
    world = build_world(aircraft=8)
    known = followed()
    ports = [
        code for (of, code), point in world.master.points.items() if of == "underfloor" and point.pk in known
    ]
    for aircraft in world.fleet:
        codes = ports if aircraft.variant.code == "underfloor" else ["port", "nozzle"]
        read_check(world, aircraft, TODAY, dict.fromkeys(codes, 0.0))
    refresh_drift()
    page = browse.get("/drift/").context["page_obj"]
    assert page.whole == SeriesState.objects.count() == 48
    assert PER_PAGE == 50 and not page.has_other_pages
    assert browse.get("/drift/", {"page": "7"}).status_code == 200


def test_the_ranking_asks_the_same_of_the_database_for_2_rows_and_22(browse: Client) -> None:
    world = build_world(aircraft=22)

    def cost() -> int:
        with CaptureQueriesContext(connection) as queries:
            browse.get("/drift/")
        return len(queries)

    for aircraft in world.fleet[:2]:
        read_check(world, aircraft, TODAY, {"port": 0.0})
    refresh_drift()
    few = cost()
    for aircraft in world.fleet[2:]:
        read_check(world, aircraft, TODAY, {"port": 0.0})
    refresh_drift()
    assert len(shown(browse)) == 22 and cost() == few


# --- one series -----------------------------------------------------------------------------------


def test_the_page_of_a_series(world: World, browse: Client) -> None:
    found = series(world.fleet[1])
    page = browse.get(f"/drift/{found.pk}/").content.decode()
    assert "System test port, Q-0001" in page and "closing" in page and "purge" in page
    assert "The readings at the panel ports tell which panel." in page
    assert page.count("<svg class=") >= 2  # a wide and a narrow drawing
    event = CheckEvent.objects.filter(aircraft=found.aircraft).first()
    assert f"/checks/{event.pk}/" in page


def test_a_point_over_its_limit_has_no_chance_left_and_a_late_check_says_so(
    world: World, browse: Client
) -> None:
    over, calm = series(world.fleet[0]), series(world.fleet[2])
    for one, days in ((over, -1), (calm, 0)):
        SeriesState.objects.filter(pk=one.pk).update(next_check_on=TODAY + dt.timedelta(days=days))
    told = [
        {fact["name"]: fact for fact in browse.get(f"/drift/{one.pk}/").context["facts"]}
        for one in (over, calm)
    ]
    chances = [facts["Chance to cross before the next check"]["value"] for facts in told]
    assert chances[0] == "over now" and chances[1].startswith("under 1 in 100")
    assert [facts["Next check"]["note"] for facts in told] == ["overdue", ""]


@pytest.mark.parametrize("mode", ["both", "compensated", "as-read", "", "nonsense"])
def test_the_chart_shows_what_was_asked_for(world: World, browse: Client, mode: str) -> None:
    found = series(world.fleet[1])
    answer = browse.get(f"/drift/{found.pk}/", {"show": mode})
    page = answer.content.decode()
    drawn = {"compensated to 20": mode != "as-read", "as read, at": mode != "compensated"}
    chart = page.split('id="course"')[1].split("<details")[0]
    for words, there in drawn.items():
        assert (words in chart.split("<figure")[1].split("<figcaption")[0]) is there
    assert "limit" in chart if mode != "as-read" else "c-limit" not in chart


def test_the_toggle_works_with_htmx_and_without(world: World, browse: Client) -> None:
    address = f"/drift/{series(world.fleet[1]).pk}/?show=as-read"
    part = browse.get(address, headers={"HX-Request": "true"}).content.decode()
    assert part.lstrip().startswith('<div id="course"') and "<html" not in part
    assert '<a href="?show=compensated"' in part


def test_no_such_series(browse: Client) -> None:
    assert browse.get("/drift/12345/").status_code == 404


def test_paper_records_are_marked_and_readings_left_out_say_why(world: World, browse: Client) -> None:
    one, by = world.fleet[2], world.person("controller1")
    batch = ImportBatch.objects.create(
        kind="checks", file_name="old.csv", sha256="0", rows_added=1, imported_by=by, accepted_by=by
    )
    old = TODAY - dt.timedelta(days=2000)
    paper = {"source": CheckEvent.Source.IMPORTED, "import_batch": batch}
    read_check(world, one, old, {"port": 0.0}, gauge=None, **paper)
    read_check(world, one, TODAY, {"port": 0.1}, outcome=CheckEvent.Outcome.NOT_VALID)
    refresh_drift()
    found = series(one)
    rows = reading_rows(found)
    assert [row.imported for row in rows] == [False] * 10 + [True]
    assert (rows[0].life, rows[0].why, rows[-1].life) == (0, "not valid", 1)
    page = browse.get(f"/drift/{found.pk}/").content.decode()
    readings = page.split('aria-labelledby="readings"')[1].split("</section>")[0]
    assert readings.count("from paper records") == 1 and "not valid" in readings


def test_earlier_lives_are_listed_with_their_length(world: World, browse: Client) -> None:
    one = world.fleet[2]
    reset(world, one, TODAY - dt.timedelta(days=15), ["port"], why="replacement")
    read_check(world, one, TODAY, {"port": 0.0})
    refresh_drift()
    now, before = life_rows(series(one))
    assert (now.number, now.kind, now.days, now.readings) == (2, "replacement", None, 1)
    assert (before.kind, before.readings, before.days) == ("", 9, 805)
    assert len(spark_of(series(one)).items[0].at) == 1  # of the new life alone
    page = browse.get(f"/drift/{series(one).pk}/").content.decode()
    assert "replacement" in page and "first reading on record" in page


def test_the_scene_holds_every_reading_and_its_compensation(world: World) -> None:
    """The limit at 20 °C is the reference table's own row (142 kPa in the demo's invented table)."""
    found = series(world.fleet[0])
    scene = course(found)
    assert len(scene.rows) == len(found.chart["days"]) == 10
    assert found.chart["limit"] == 142
    # Read at 20 °C: nothing to compensate but what the fleet taught of gauge and temperature.
    assert found.chart["at_20"][-1] == pytest.approx(found.chart["as_read"][-1], rel=0.03)


def test_the_series_page_asks_the_same_for_2_readings_and_22(browse: Client) -> None:
    world = build_world()

    def cost(aircraft) -> int:
        with CaptureQueriesContext(connection) as queries:
            assert browse.get(f"/drift/{series(aircraft).pk}/").status_code == 200
        return len(queries)

    ramp(world, world.forward, 0.0, checks=2)
    ramp(world, world.underfloor, 0.0, checks=22)
    refresh_drift()
    assert cost(world.forward) == cost(world.underfloor)
