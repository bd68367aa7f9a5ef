"""The state told in SQL is the engine's own, over many made-up due points; rows say how a date is known."""

import datetime as dt
import random
from collections import Counter
from decimal import Decimal

import pytest
from django.utils import timezone

from checks.engine import due as engine
from checks.models import DuePoint, RecurringCheck
from checks.selectors.due import (
    ABOUT,
    COUNTED,
    REACHED,
    STATES,
    STORED,
    count_states,
    due_points,
    due_rows,
)
from checks.selectors.due_counting import count_due
from checks.services.due import refresh_due
from fleet.models import Aircraft
from tests.checks.due_history import done, fly
from tests.world import TODAY, World, build_world

pytestmark = pytest.mark.django_db
SOON = 30


def random_history(world: World, seed: int) -> None:
    """Checks done and flown at random, so that every state comes up, close to the edges too."""
    rng = random.Random(seed)
    by = world.person("controller1")
    for aircraft in world.fleet:
        if rng.random() < 0.7:
            last = TODAY - dt.timedelta(days=rng.choice((0, 0, 1, 20)))
            first = TODAY - dt.timedelta(days=29)
            fly(aircraft, by, first, last, hours=rng.choice((0, 0.5, 2)), landings=rng.randrange(4))
        for (variant, code), check in world.master.recurring.items():
            if variant == aircraft.variant.code and rng.random() < 0.9:
                on = TODAY - dt.timedelta(days=near(rng, check))
                hours = 2000 + 30 * 2 - near_use(rng, check.interval_hours, check.tolerance_hours)
                landings = 2000 - near_use(rng, check.interval_landings, check.tolerance_landings)
                revision = world.revision(aircraft, code)
                done(world, aircraft, on, revision=revision, hours=hours, landings=int(landings))


def near(rng: random.Random, check: RecurringCheck) -> int:
    """Days since it was done: somewhere, or within a day of the due day or of the end of the tolerance."""
    edge = check.interval_days or 30 * (check.interval_months or 5)
    return max(0, rng.choice((rng.randrange(1, 300), edge + rng.randrange(-3, check.tolerance_days + 3))))


def near_use(rng: random.Random, interval: Decimal | int | None, tolerance: Decimal | int) -> Decimal:
    edge = Decimal(interval or 100)
    return edge + rng.choice(
        (Decimal(-60), Decimal(0), Decimal(1), Decimal(tolerance), tolerance + Decimal(1))
    )


@pytest.mark.parametrize("seed", range(3))
def test_sql_and_engine_say_the_same(seed: int) -> None:
    world = build_world(aircraft=16)
    random_history(world, seed)
    refresh_due(today=TODAY)
    told = due_points(today=TODAY, soon_days=SOON).values_list("aircraft_id", "check_due_id", "state")
    in_sql = {(aircraft, check): state for aircraft, check, state in told}
    counted = count_due(today=TODAY)
    by_engine = {
        (one.aircraft_id, one.check_id): engine.state(one.projection, now=TODAY, soon_days=SOON)
        for one in counted
    }
    assert in_sql == by_engine
    assert len(Counter(by_engine.values())) == 5, "the history must bring up every state"


def point(world: World, **stored: object) -> DuePoint:
    """A due point of the forward aircraft with the fields as given; tolerance 10 days or 40 landings."""
    check = world.recurring(world.forward, "wet-out")
    check.interval_landings, check.tolerance_landings, check.tolerance_days = 900, 40, 10
    check.save()
    return DuePoint.objects.create(
        aircraft=world.forward,
        check_due=check,
        computed_at=timezone.now(),
        **stored,
    )


def state(**given: object) -> str:
    return due_points(today=TODAY, soon_days=SOON).get(**given).state


@pytest.mark.parametrize(
    ("days", "landings", "expected"),
    [
        (31, 500, "planned"),
        (30, 500, "due soon"),
        (0, 500, "due soon"),
        (-1, 500, "in tolerance"),
        (-10, 500, "in tolerance"),
        (-11, 500, "overdue"),
        (100, 0, "planned"),
        (100, -1, "in tolerance"),
        (100, -40, "in tolerance"),
        (100, -41, "overdue"),
        (100, None, "no record"),
        (-1, None, "in tolerance"),
    ],
)
def test_edges(days: int, landings: int | None, expected: str) -> None:
    """The due day itself and the last day of the tolerance still count; 0 landings left is not past."""
    world = build_world()
    due = TODAY + dt.timedelta(days=days)
    latest = due + dt.timedelta(days=10)
    dates = {"done_on": TODAY, "calendar_on": due, "due_on": due, "latest_on": latest}
    point(world, **dates, landings_left=landings, untold=landings is None)
    assert state() == expected


def test_never_done_is_no_record() -> None:
    world = build_world()
    refresh_due(today=TODAY)
    assert state(aircraft=world.forward, check_due=world.recurring(world.forward)) == "no record"


def test_stored_aircraft_are_shown_as_such_and_those_that_left_are_not() -> None:
    world = build_world()
    past = TODAY - dt.timedelta(days=99)
    point(world, done_on=past, calendar_on=past, due_on=past, latest_on=past, landings_left=9)
    assert state() == "overdue"
    Aircraft.objects.filter(pk=world.forward.pk).update(state=Aircraft.State.STORED)
    assert state() == STORED
    Aircraft.objects.filter(pk=world.forward.pk).update(state=Aircraft.State.LEFT)
    assert not due_points(today=TODAY, soon_days=SOON).exists()


def test_counts_name_every_state() -> None:
    world = build_world(aircraft=3)
    refresh_due(today=TODAY)
    counts, counted_at = count_states(due_points(today=TODAY, soon_days=SOON))
    assert [count.state for count in counts] == list(STATES)
    assert {count.state: count.number for count in counts if count.number} == {
        "no record": DuePoint.objects.count()
    }
    assert counted_at == min(DuePoint.objects.values_list("computed_at", flat=True))
    assert len(world.fleet) == 3


def test_counts_of_nothing() -> None:
    counts, counted_at = count_states(due_points(today=TODAY, soon_days=SOON))
    assert [count.number for count in counts] == [0] * len(STATES) and counted_at is None


@pytest.mark.parametrize(
    ("stored", "known", "days_left", "latest_known"),
    [
        ({"governing": "calendar", "calendar_on": TODAY, "due_on": TODAY}, COUNTED, 0, COUNTED),
        ({"governing": "season", "season_on": TODAY, "due_on": TODAY}, COUNTED, 0, COUNTED),
        ({"governing": "landings", "estimated": True, "due_on": TODAY, "landings_left": 9}, ABOUT, 0, ABOUT),
        ({"governing": "landings", "due_on": TODAY, "landings_left": -9}, REACHED, None, ABOUT),
        ({"governing": "landings", "due_on": TODAY, "landings_left": -99}, REACHED, None, REACHED),
    ],
)
def test_how_a_date_is_known(stored: dict, known: str, days_left: int | None, latest_known: str) -> None:
    world = build_world()
    days = {"calendar": 10, "season": 0}.get(stored["governing"], 3)
    point(world, done_on=TODAY, latest_on=TODAY + dt.timedelta(days=days), **stored)
    (row,) = due_rows(due_points(today=TODAY, soon_days=SOON), today=TODAY)
    assert (row.known, row.days_left, row.latest_known) == (known, days_left, latest_known)


def test_those_without_a_date_come_first_then_the_soonest() -> None:
    world = build_world(aircraft=4)
    check = world.recurring(world.forward)
    for aircraft, days in zip(world.fleet, (9, None, 3, 9), strict=True):
        due = days and TODAY + dt.timedelta(days=days)
        DuePoint.objects.create(aircraft=aircraft, check_due=check, due_on=due, computed_at=timezone.now())
    rows = list(due_rows(due_points(today=TODAY, soon_days=SOON), today=TODAY))
    assert [row.days_left for row in rows] == [None, 3, 9, 9]
    assert rows[2].point_id < rows[3].point_id
