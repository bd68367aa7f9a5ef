"""Reliability: what is counted where, over which hours, and how it is shown."""

import datetime as dt
import io
from decimal import Decimal

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from pypdf import PdfReader

from checks.selectors.reliability import (
    ALERT,
    OPEN_DAYS,
    PURGES,
    QUIET,
    REMOVALS,
    UNKNOWN,
    WHOLE,
    Line,
    Period,
    reliability,
)
from checks.services.defects import raise_defect
from fleet.models import Aircraft, Fitment, Part, UtilisationEntry
from fleet.services import fit_part, remove_part
from tests.world import World, build_world


@pytest.fixture
def used(world: World) -> World:
    """900 h in the three years before, 400 h in the last twelve months, on each of the two aircraft."""
    for one in world.fleet:
        UtilisationEntry.objects.bulk_create(
            UtilisationEntry(
                aircraft=one, on=on, hours=hours, landings=1, entered_by=world.person("controller1")
            )
            for on, hours in ((dt.date(2021, 3, 1), 700), (dt.date(2024, 3, 1), 1600))
        )
    return world


def line(world: World, aircraft: Aircraft, what: str, place: str = WHOLE) -> Line | None:
    found = [
        one
        for one in reliability(world.today).lines
        if (one.variant, one.what, one.place) == (aircraft.variant.name, what, place)
    ]
    assert len(found) < 2
    return found[0] if found else None


def test_hours_are_those_between_the_totals_at_both_ends(used: World) -> None:
    found = line(used, used.underfloor, PURGES)
    assert (found.now.hours, found.before.hours) == (400.0, 900.0)
    assert found.now.events == 0 and found.state == QUIET


def test_purges_are_counted_by_occasion_and_period(used: World) -> None:
    for day in (dt.date(2022, 5, 1), dt.date(2022, 5, 2), dt.date(2024, 5, 1), dt.date(2025, 1, 1)):
        used.signed(used.underfloor, day, code="panel-purge")
    found = line(used, used.underfloor, PURGES)
    assert (found.now.events, found.before.events) == (2, 1)
    assert found.now.rate == 5.0 and found.before.rate == pytest.approx(1000 / 900)
    assert line(used, used.forward, PURGES).now.events == 0


def test_more_than_before_is_an_alert_with_its_level(used: World) -> None:
    days = [dt.date(2024, 4, 1) + dt.timedelta(days=40 * n) for n in range(5)]
    for day in days:
        used.signed(used.underfloor, day, code="panel-purge")
    found = line(used, used.underfloor, PURGES)
    assert found.state == ALERT and found.alert <= 5 == found.now.events
    assert found in reliability(used.today).alerts


def test_without_hours_there_is_nothing_to_compare(world: World) -> None:
    report = reliability(world.today)
    assert report.hours_unknown == [one.registration for one in world.fleet]
    assert {one.state for one in report.lines} == {UNKNOWN} and not report.alerts


def test_a_planned_removal_is_not_counted(used: World) -> None:
    position = next(p for p in used.underfloor.variant.positions.all() if p.kind == "panel")
    Fitment.objects.filter(aircraft=used.underfloor, position=position).delete()
    for number, (day, as_planned) in enumerate(
        ((dt.date(2022, 6, 1), False), (dt.date(2024, 6, 1), False), (dt.date(2024, 9, 1), True))
    ):
        part = Part.objects.create(part_number="P", serial_number=f"R{number}", kind=position.kind)
        fitted = fit_part(
            part=part, aircraft=used.underfloor, position=position, on=day - dt.timedelta(days=30)
        )
        remove_part(fitment=fitted, on=day, reason="blocked", as_planned=as_planned)
    for place in (position.name, WHOLE):
        found = line(used, used.underfloor, REMOVALS, place)
        assert (found.now.events, found.before.events) == (1, 1)


@pytest.mark.parametrize(
    ("begun", "ended", "days"),
    [
        (dt.date(2025, 1, 10), dt.date(2025, 1, 15), 5),
        (dt.date(2025, 1, 1), dt.date(2025, 1, 15), 10),  # the period begins on the 5th
        (dt.date(2025, 1, 10), dt.date(2025, 3, 1), 11),  # and ends with the 20th
        (dt.date(2024, 1, 1), dt.date(2026, 1, 1), 16),
        (dt.date(2024, 1, 1), dt.date(2025, 1, 5), 0),
        (dt.date(2025, 1, 21), dt.date(2026, 1, 1), 0),
        (dt.date(2025, 1, 10), dt.date(2025, 1, 10), 0),
    ],
)
def test_days_of_a_stretch_within_a_period(begun: dt.date, ended: dt.date, days: int) -> None:
    assert Period(dt.date(2025, 1, 4), dt.date(2025, 1, 20)).days_in(begun, ended) == days


def test_days_with_an_open_defect(used: World, clock: time_machine.Traveller) -> None:
    position = used.position(used.underfloor, next(p.code for p in used.underfloor.variant.positions.all()))
    clock.move_to(dt.datetime(2025, 3, 3, 12, tzinfo=dt.UTC))
    raise_defect(
        aircraft=used.underfloor, by=used.person("technician1"), description="Dry.", position=position
    )
    found = line(used, used.underfloor, OPEN_DAYS, position.name)
    assert found.now.events == 10  # 3 to 12 March, both counted
    assert not found.counted and found.range is None and found.alert is None
    assert found.now.rate == pytest.approx(1000 * 10 / 400)


def test_lives_that_shorten_are_said(used: World) -> None:
    day, gap = dt.date(2021, 1, 1), 400
    for _ in range(6):
        used.signed(used.underfloor, day, code="panel-purge")
        day, gap = day + dt.timedelta(days=gap), gap - 60
    lives = next(one for one in reliability(used.today).lives if one.variant == used.underfloor.variant.name)
    assert (lives.aircraft, lives.lives, lives.early, lives.late) == (1, 5, 400, 160)
    assert lives.trend.longer == 0 and lives.trend.shortens


def test_page_and_paper_say_the_same(used: World, client_of) -> None:
    used.signed(used.underfloor, dt.date(2025, 1, 1), code="panel-purge")
    desk = client_of(used.person("director1"))
    words = desk.get(reverse("checks:reliability")).content.decode()
    assert "Alert level: as many in the last 12 months" in words and "2.50" in words
    hours = "Per 1,000 flight hours: 400 flown in the last 12 months"
    assert hours in words
    paper = desk.get(reverse("reports:reliability_pdf"))
    assert paper["Content-Type"] == "application/pdf" and paper.content.startswith(b"%PDF")
    assert hours in PdfReader(io.BytesIO(paper.content)).pages[0].extract_text()


def test_queries_do_not_grow(db, clock) -> None:
    cost = []
    world = build_world(aircraft=22)
    for count in (2, 22):
        for one in world.fleet[:count]:
            world.signed(one, dt.date(2025, 1, count), code="panel-purge", hours=str(Decimal(1900)))
        with CaptureQueriesContext(connection) as asked:
            reliability(world.today)
        cost.append(len(asked))
    assert cost[0] == cost[1] <= 7
