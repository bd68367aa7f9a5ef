"""The fleet counted in arrays gives every answer that counting one aircraft gives."""

import datetime as dt
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from checks.engine.due import project as project_one
from checks.engine.due_arrays import FIRSTS, KINDS, UNKNOWN, Fleet, History, Tasks, due_points
from checks.engine.due_dates import project
from checks.engine.first_due import GIVEN, First, due_after
from checks.engine.intervals import COUNTINGS, DAYS, HOURS, LANDINGS, MONTHS, Done, Interval, SeasonDate
from checks.engine.use_rate import RECENT_DAYS
from checks.engine.use_season import season_as_of

EPOCH = dt.date(1970, 1, 1)
NOW = dt.date(2026, 11, 25)
days = st.dates(dt.date(2015, 1, 1), dt.date(2026, 11, 1))
numbers = st.none() | st.integers(0, 500)
hours = st.integers(0, 500_000).map(lambda hundredths: Decimal(hundredths) / 100)


@st.composite
def intervals(draw) -> tuple[Interval, First]:
    """Any mix of limbs, way of counting, tolerance and first due point."""
    first = First(draw(st.sampled_from(FIRSTS[:2])))
    if draw(st.booleans()):
        given_first = (
            draw(st.none() | days),
            draw(st.none() | hours),
            draw(st.none() | st.integers(0, 9000)),
        )
        if any(value is not None for value in given_first):
            first = First(GIVEN, *given_first)
    limbs = {
        "days": draw(st.none() | st.integers(1, 400)),
        "months": draw(st.none() | st.integers(1, 25)),
        "hours": draw(st.none() | st.integers(1, 90_000).map(lambda n: Decimal(n) / 100)),
        "landings": draw(st.none() | st.integers(1, 900)),
        "season": draw(st.none() | st.builds(SeasonDate, st.just(2), st.integers(1, 29))),
    }
    if all(value is None for value in limbs.values()):
        limbs["months"] = 1
    interval = Interval(
        **limbs,
        to_month_end=draw(st.booleans()),
        tolerance_days=draw(st.integers(0, 40)),
        tolerance_hours=Decimal(draw(st.integers(0, 5000))) / 100,
        tolerance_landings=draw(st.integers(0, 40)),
        counting=draw(st.sampled_from(COUNTINGS)),
        season_window_days=draw(st.integers(0, 120)),
        once=draw(st.integers(0, 4)) == 0,
    )
    return interval, first


@dataclass(frozen=True)
class Plane:
    """One aircraft with one task and what was done."""

    terms: tuple[Interval, First]
    entry: dt.date
    history: list[Done]
    totals: tuple[dt.date, Decimal, int] | None
    rates: tuple[Decimal | None, Decimal | None]


@st.composite
def planes(draw) -> Plane:
    on = sorted(draw(st.sets(days, max_size=5)))
    done = [Done(day, draw(st.none() | hours), draw(st.none() | st.integers(0, 9000))) for day in on]
    rate = st.none() | st.integers(0, 200_000).map(lambda n: Decimal(n) / 10_000)
    totals = draw(st.none() | st.tuples(days, hours, st.integers(0, 9000)))
    return Plane(draw(intervals()), draw(days), done, totals, (draw(rate), draw(rate)))


def number(value: object, steps: int = 1) -> int:
    if value is None:
        return UNKNOWN
    return (value - EPOCH).days if isinstance(value, dt.date) else int(value * steps)


def ints(values) -> np.ndarray:
    return np.array(list(values), np.int64)


def in_arrays(fleet: list[Plane]):
    """The planes as the array way takes them: a task each, so that all kinds of terms meet."""
    terms = [plane.terms for plane in fleet]
    tasks = Tasks(
        intervals={
            DAYS: ints(number(i.days) for i, _ in terms),
            HOURS: ints(number(i.hours, 100) for i, _ in terms),
            LANDINGS: ints(number(i.landings) for i, _ in terms),
            MONTHS: ints(number(i.months) for i, _ in terms),
        },
        tolerances={
            DAYS: ints(i.tolerance_days for i, _ in terms),
            HOURS: ints(number(i.tolerance_hours, 100) for i, _ in terms),
            LANDINGS: ints(i.tolerance_landings for i, _ in terms),
        },
        first={
            DAYS: ints(number(f.on) for _, f in terms),
            HOURS: ints(number(f.hours, 100) for _, f in terms),
            LANDINGS: ints(number(f.landings) for _, f in terms),
        },
        first_kind=ints(FIRSTS.index(f.kind) for _, f in terms),
        counting=ints(COUNTINGS.index(i.counting) for i, _ in terms),
        to_month_end=np.array([i.to_month_end for i, _ in terms]),
        before_season=np.array([i.season is not None for i, _ in terms]),
        season_window=ints(i.season_window_days for i, _ in terms),
        once=np.array([i.once for i, _ in terms]),
    )
    seasons = [i.season or SeasonDate(1, 1) for i, _ in terms]
    totals = [plane.totals or (None, None, None) for plane in fleet]
    craft = Fleet(
        entry=ints(number(plane.entry) for plane in fleet),
        season_month=ints(season.month for season in seasons),
        season_day=ints(season.day for season in seasons),
        totals_on=ints(number(on) for on, _, _ in totals),
        hours=ints(number(value, 100) for _, value, _ in totals),
        landings=ints(number(value) for _, _, value in totals),
        hours_per_day=ints(number(plane.rates[0], 10_000) for plane in fleet),
        landings_per_day=ints(number(plane.rates[1], 10_000) for plane in fleet),
    )
    rows = [(place, done) for place, plane in enumerate(fleet) for done in plane.history]
    history = History(
        ints(place for place, _ in rows),
        ints(number(done.on) for _, done in rows),
        ints(number(done.hours, 100) for _, done in rows),
        ints(number(done.landings) for _, done in rows),
    )
    return tasks, craft, history


def told(value: object, steps: int = 1) -> int | None:
    return None if value is None else number(value, steps)


@st.composite
def busy(draw) -> dict:
    """A season of hours, of landings, of both or of none."""
    months = st.tuples(*[st.integers(200, 3000)] * 12)
    kinds = draw(st.sets(st.sampled_from([HOURS, LANDINGS])))
    return {kind: season_as_of(draw(months), NOW, RECENT_DAYS) for kind in kinds}


@settings(max_examples=300, deadline=None)
@given(st.lists(planes(), min_size=1, max_size=8), busy())
def test_arrays_say_what_counting_one_by_one_says(fleet: list[Plane], seasons: dict) -> None:
    tasks, craft, history = in_arrays(fleet)
    each = np.arange(len(fleet))
    points = due_points(tasks, craft, history, task=each, aircraft=each)
    found = project(points, tasks, craft, task=each, aircraft=each, now=number(NOW), seasons=seasons)
    for place, plane in enumerate(fleet):
        interval, first = plane.terms
        due = due_after(interval, first, plane.history, entry=plane.entry)
        on, total_hours, total_landings = plane.totals or (None, None, None)
        projection = project_one(
            due,
            now=NOW,
            hours_now=total_hours,
            landings_now=total_landings,
            hours_per_day=plane.rates[0],
            landings_per_day=plane.rates[1],
            totals_on=on,
            seasons=seasons,
        )
        assert bool(points.finished[place]) == (interval.once and bool(plane.history))
        if points.finished[place]:
            assert due.limbs == ()
            continue
        limbs = {limb.limb.kind: limb for limb in projection.limbs}
        assert {kind for kind in KINDS if points.has[kind][place]} == set(limbs)
        for kind, limb in limbs.items():
            steps = 100 if kind == HOURS else 1
            for array, value in (
                (points.at, told(limb.limb.at, steps)),
                (found.remaining, told(limb.remaining, steps)),
                (found.remaining_latest, told(limb.remaining_latest, steps)),
                (found.on, told(limb.on)),
                (found.latest_on, told(limb.latest_on)),
            ):
                assert array[kind][place] == (UNKNOWN if value is None else value), kind
        assert found.due_on[place] == number(projection.on)
        assert found.first_latest[place] == number(projection.latest_on)
        governs = -1 if projection.governing is None else KINDS.index(projection.governing.kind)
        assert found.governing[place] == governs
        assert found.untold[place] == (not limbs or any(one.remaining is None for one in limbs.values()))
