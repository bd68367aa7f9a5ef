"""Past forecasts: made anew from what was on record then, held against what came, told in words."""

import datetime as dt
import itertools
from collections.abc import Iterator

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from checks.models import CheckEvent, ForecastCard, ImportBatch, PastForecast
from checks.selectors.drift_card import coverage_scene, date_error_words, report_card
from checks.selectors.drift_changes import changes
from checks.services.drift import refresh_drift
from checks.services.drift_card import refresh_report_card
from checks.services.drift_records import followed
from tests.checks.drift_history import ago, at_noon, ramp, read_check, reset
from tests.world import World, build_world

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _today() -> Iterator[None]:
    with time_machine.travel(at_noon(), tick=False):
        yield


@pytest.fixture
def world() -> World:
    return build_world(aircraft=4)


def forecasts() -> list[PastForecast]:
    return list(PastForecast.objects.order_by("aircraft", "came_on"))


def told() -> dict[tuple, tuple]:
    """What was said, without keys that differ from one making to the next."""
    fields = ("after", "came", "made_on", "state", "p_cross", "low", "high", "value", "crossing_on")
    return {(one.after, one.came): tuple(getattr(one, name) for name in fields) for one in forecasts()}


def test_each_reading_but_the_first_has_its_forecast(world: World) -> None:
    days = ramp(world, world.forward, 0.0, checks=6)
    refresh_drift()
    refresh_report_card()
    found = forecasts()
    assert [(one.read_on, one.came_on) for one in found] == list(itertools.pairwise(days))
    assert [one.readings_in_life for one in found] == [1, 2, 3, 4, 5]
    first = found[0].read_on
    assert found[0].made_on == (first.replace(day=1) + dt.timedelta(days=32)).replace(day=1)


def test_what_came_later_changes_no_forecast(world: World) -> None:
    """The forecasts made with half of the history are the forecasts made with all of it."""
    half, later = ago(320), ago(319)
    days = [ago(20 + 100 * n) for n in reversed(range(9))]
    levels = [0.0, 0.01, -0.01, 0.02, 0.05, 0.1, 0.9, 0.1, 0.1]

    def read(wanted: list[dt.date]) -> None:
        for day, level in zip(days, levels, strict=True):
            if day in wanted:
                read_check(world, world.forward, day, {"port": level})
                read_check(world, world.fleet[1], day, {"port": level / 2}, temperature=9.0)

    read([day for day in days if day <= half])
    with time_machine.travel(at_noon(half), tick=False):
        refresh_drift()
        refresh_report_card()
    early = told()
    assert len(early) >= 8
    PastForecast.objects.all().delete()
    read([day for day in days if day >= later])
    refresh_drift()
    refresh_report_card()
    late = told()
    assert {key: late[key] for key in early} == early and len(late) > len(early)


def test_a_reading_that_came_within_the_month_was_not_foretold(world: World) -> None:
    read_check(world, world.forward, ago(100), {"port": 0.0})
    read_check(world, world.forward, ago(99), {"port": 0.0})
    read_check(world, world.forward, ago(10), {"port": 0.0})
    refresh_report_card()
    assert [(one.read_on, one.came_on) for one in forecasts()] == [(ago(99), ago(10))]


def test_a_life_that_ended_foretells_nothing_of_the_next(world: World) -> None:
    read_check(world, world.forward, ago(300), {"port": 0.3})
    reset(world, world.forward, ago(200), ["port"])
    read_check(world, world.forward, ago(100), {"port": 0.0})
    refresh_report_card()
    assert forecasts() == []


def test_an_import_is_known_from_the_day_that_it_was_brought_in(world: World) -> None:
    by = world.person("controller1")
    batch = ImportBatch.objects.create(
        kind="checks", file_name="old.csv", sha256="0", rows_added=1, imported_by=by, accepted_by=by
    )
    ImportBatch.objects.filter(pk=batch.pk).update(imported_at=at_noon(ago(150)))
    paper = {"source": CheckEvent.Source.IMPORTED, "import_batch": batch}
    for days in (900, 700, 500):
        read_check(world, world.forward, ago(days), {"port": 0.0}, gauge=None, **paper)
    read_check(world, world.forward, ago(20), {"port": 0.0})
    refresh_report_card()
    (one,) = forecasts()
    assert (one.read_on, one.came_on, one.readings_in_life) == (ago(500), ago(20), 3)
    assert one.made_on > ago(150)


def test_the_crossing_lies_between_the_two_readings(world: World) -> None:
    """From the nominal level to twice the room up to the limit, in ln: the line meets it half-way."""
    room = followed()[world.point(world.forward, "port").pk].lim
    for days in (700, 600, 500, 400):
        read_check(world, world.forward, ago(days), {"port": 0.0})
    read_check(world, world.forward, ago(200), {"port": 2 * room})
    refresh_drift()
    refresh_report_card()
    last = forecasts()[-1]
    assert last.over and not last.was_over
    assert abs((last.crossed_on - ago(300)).days) <= 12  # what the fit takes out of a reading is small
    assert not last.low <= last.value <= last.high
    assert date_error_words(last) == "no date given"


def test_a_second_run_makes_nothing_twice_and_a_correction_makes_anew(world: World) -> None:
    ramp(world, world.forward, 0.0, checks=4)
    refresh_report_card()
    before = {one.pk for one in forecasts()}
    refresh_report_card()
    assert {one.pk for one in forecasts()} == before and len(before) == 3
    last = CheckEvent.objects.order_by("-work_date").first()
    again = {"supersedes": last, "correction_reason": "Invented."}
    read_check(world, world.forward, last.work_date, {"port": 0.1}, **again)
    refresh_report_card()
    after = forecasts()
    assert len({one.pk for one in after} & before) == 2
    assert last.pk not in {one.came for one in after} and len(after) == 3


def test_the_card_adds_up(world: World) -> None:
    ramp(world, world.fleet[0], 0.0, seed=1)
    ramp(world, world.fleet[1], 0.16, seed=2)
    for days in (400, 300, 200):
        read_check(world, world.fleet[2], ago(days), {"port": 0.0})
    read_check(world, world.fleet[2], ago(30), {"port": 1.0})
    refresh_drift()
    refresh_report_card()
    card = report_card()
    whole = card.whole.grade
    assert whole.forecasts == PastForecast.objects.count() == sum(one.grade.forecasts for one in card.years)
    assert whole.within == sum(one.low <= one.value <= one.high for one in forecasts())
    assert whole.crossings == 1 and whole.warned_before == 0
    assert card.last.grade.crossings == 1
    assert "1 point went over the limit" in card.last.words[1] and "says little" in card.last.words[1]
    assert [one.name for one in card.years] == ["2025", "2024", "2023", "2022"][: len(card.years)]
    scene = coverage_scene(card)
    assert [row[0] for row in scene.rows] == [one.name for one in reversed(card.years)]


def test_before_the_first_night_there_is_no_card(world: World) -> None:
    assert report_card() is None
    refresh_report_card()
    card = report_card()
    assert card.last.words == ("No forecast of this time could be held against a reading.",)
    assert card.last.headline == card.last.words[0]
    assert coverage_scene(card).rows == ()


def test_what_changed_since_a_month_ago(world: World) -> None:
    calm, rises, purged, steps = world.fleet
    ramp(world, calm, 0.0, seed=3)
    ramp(world, rises, 0.16, seed=2, last_ago=40)
    ramp(world, purged, 0.16, seed=4, last_ago=40)
    reset(world, purged, ago(5), ["port"])
    for days in (700, 500, 300):
        read_check(world, steps, ago(days), {"port": 0.0})
    read_check(world, steps, ago(3), {"port": 1.0})
    refresh_drift()
    refresh_report_card()
    found = changes(timezone.now())
    assert found.since == ago(30)
    kinds = {row.registration: (row.kind, row.words) for row in found.rows}
    assert kinds[steps.registration] == ("new", "now over limit")
    kind, words = kinds[purged.registration]
    assert kind == "no longer" and "a new life began" in words
    assert calm.registration not in kinds and rises.registration not in kinds
    assert "1 new" in found.words and "1 no longer" in found.words


def test_without_an_earlier_night_no_change_is_claimed(world: World) -> None:
    found = changes(timezone.now())
    assert found.since is None and "no change can be told" in found.words


def test_old_cards_are_thinned_to_one_a_month(world: World) -> None:
    for days in range(0, 400, 10):
        ForecastCard.objects.create(made_at=at_noon(ago(days)), model_version="x", grades={})
    refresh_report_card()
    old = [one.made_at for one in ForecastCard.objects.all() if one.made_at < at_noon(ago(92))]
    assert len(old) == len({(at.year, at.month) for at in old}) >= 9


def test_a_night_with_more_forecasts_asks_no_more(world: World) -> None:
    """What is there already costs the same however much it is; each new month has a cost of its own."""

    def cost() -> int:
        with CaptureQueriesContext(connection) as queries:
            refresh_report_card()
        return len(queries)

    ramp(world, world.fleet[0], 0.0, checks=3)
    refresh_report_card()
    few = cost()
    for one in world.fleet[1:]:
        ramp(world, one, 0.0, checks=7)
    refresh_report_card()
    assert PastForecast.objects.count() == 20 and cost() == few
