"""Due points of a whole fleet counted in arrays, from the same records as due_counting and as many queries.

services.due stores what comes out; nothing here explains itself, which due_counting does for one aircraft.
"""

import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any
from uuid import UUID

import numpy as np

from checks.engine.due_arrays import (
    COUNTINGS,
    FIRSTS,
    UNKNOWN,
    Fleet,
    History,
    Ints,
    Points,
    Tasks,
    due_points,
)
from checks.engine.due_dates import Projected, project
from checks.engine.intervals import DAYS, HOURS, LANDINGS, MONTHS
from checks.engine.use_season import Season
from checks.models import RecurringCheck, Terms
from checks.selectors.due_counting import COUNTED_STATES, Totals, history, totals_of
from checks.selectors.effectivity import active_tasks, effectivity
from checks.selectors.use_season import seasons
from fleet.models import Aircraft

EPOCH = dt.date(1970, 1, 1)


@dataclass(frozen=True)
class Known:
    """What due points are counted from, in arrays: a series is a task on an aircraft, by their places.

    events: by row of the history. last: by series, its row of the history that counts last, -1 for none.
    """

    tasks: Tasks
    fleet: Fleet
    history: History
    seasons: Mapping[str, Season]
    events: Sequence[UUID]
    task_ids: Ints
    aircraft_ids: Ints
    task: Ints
    aircraft: Ints
    last: Ints


@dataclass(frozen=True)
class CountedFleet:
    """Every series as counted: what it was counted from, where its limbs stand, the dates they come to."""

    known: Known
    points: Points
    dates: Projected


def count_fleet(*, aircraft_ids: Iterable[int] | None = None, today: dt.date) -> CountedFleet:
    """The active tasks of the aircraft (None: the whole fleet) today, one-time ones that were done too."""
    return counted(read(aircraft_ids=aircraft_ids, today=today), today=today)


def counted(known: Known, *, today: dt.date) -> CountedFleet:
    """The counting alone, without a query."""
    of = {"task": known.task, "aircraft": known.aircraft}
    points = due_points(known.tasks, known.fleet, known.history, **of)
    dates = project(points, known.tasks, known.fleet, now=number(today), seasons=known.seasons, **of)
    return CountedFleet(known, points, dates)


def read(*, aircraft_ids: Iterable[int] | None = None, today: dt.date) -> Known:
    """What due points are counted from. At most eight queries."""
    fleet = Aircraft.objects.filter(state__in=COUNTED_STATES).select_related("base").order_by("pk")
    if aircraft_ids is not None:
        fleet = fleet.filter(pk__in=list(aircraft_ids))
    aircraft = list(fleet)
    ids = None if aircraft_ids is None else [one.pk for one in aircraft]
    tasks = active_tasks()
    task, craft = _series(tasks, aircraft, today)
    rows = list(history(ids, tasks))
    kept, series = _of_series(rows, tasks, aircraft, task, craft)
    last = np.full(len(task), -1)
    last[series] = np.arange(len(series))  # by series, then oldest first: the last one stays
    return Known(
        tasks=_tasks(tasks),
        fleet=_fleet(aircraft, totals_of(ids, today)),
        history=History(series, *(_column(rows, place)[kept] for place in (3, 4, 5))),
        seasons=seasons(today),
        events=[rows[place][2] for place in kept],
        task_ids=_ints(task.pk for task in tasks),
        aircraft_ids=_ints(one.pk for one in aircraft),
        task=task,
        aircraft=craft,
        last=last,
    )


def number(value: dt.date | Decimal | int | None, steps: int = 1) -> int:
    """A value as the arrays hold it: days since 1970, or so many steps."""
    if value is None:
        return UNKNOWN
    return (value - EPOCH).days if isinstance(value, dt.date) else int(value * steps)


def _ints(values: Iterable[int]) -> Ints:
    return np.fromiter(values, np.int64)


def _column(rows: Sequence[tuple], place: int) -> Ints:
    """One column of the history as integers."""
    if rows and isinstance(rows[0][place], dt.date):
        return np.array([row[place] for row in rows], "datetime64[D]").astype(np.int64)
    return _ints(UNKNOWN if row[place] is None else row[place] for row in rows)


def _series(tasks: list[RecurringCheck], aircraft: list[Aircraft], today: dt.date) -> tuple[Ints, Ints]:
    """Which task on which aircraft, by their places, task by task."""
    fits = effectivity(tasks, today=today)
    places: dict[int, list[int]] = {}
    for place, one in enumerate(aircraft):
        places.setdefault(one.variant_id, []).append(place)
    task, craft = [], []
    for number_of, one in enumerate(tasks):
        here = places.get(one.procedure.variant_id, [])
        if one.modification_id or fits.named.get(one.pk):
            here = [place for place in here if fits.fits(one, aircraft[place].pk)]
        task.append(np.full(len(here), number_of))
        craft.append(np.array(here, np.int64))
    return tuple(np.concatenate([*parts, np.zeros(0, np.int64)]).astype(np.int64) for parts in (task, craft))


def _of_series(
    rows: list[tuple], tasks: list[RecurringCheck], aircraft: list[Aircraft], task: Ints, craft: Ints
) -> tuple[Ints, Ints]:
    """Rows of the history that count, by series and oldest first, and the series of each.

    A row counts for every task of its procedure, from the day on from which the task counts; of several on
    one day the last; and the last of all where a task counts from done.
    """
    width = max(len(aircraft), 1)
    at = np.full((len(tasks) + 1) * width, -1)
    at[task * width + craft] = np.arange(len(task))
    place_of = {one.pk: place for place, one in enumerate(aircraft)}
    of_aircraft = _ints(place_of.get(row[0], -1) for row in rows)
    procedure, on = _ints(row[1] for row in rows), _column(rows, 3)
    kept, series = [], []
    for place, one in enumerate(tasks):
        counts = (procedure == one.procedure_id) & (of_aircraft >= 0)
        if one.counts_from:
            counts &= on >= number(one.counts_from)
        here = np.flatnonzero(counts)
        found = at[place * width + of_aircraft[here]]
        here, found = here[found >= 0], found[found >= 0]
        order = np.argsort(found, kind="stable")  # the rows come oldest first
        here, found = here[order], found[order]
        same = found[:-1] == found[1:]
        if one.counting != Terms.Counting.FROM_DONE:
            same &= on[here[:-1]] == on[here[1:]]
        newest = np.r_[~same, np.ones(min(len(here), 1), bool)]
        kept.append(here[newest])
        series.append(found[newest])
    return tuple(np.concatenate([*parts, np.zeros(0, np.int64)]).astype(np.int64) for parts in (kept, series))


def _tasks(tasks: list[RecurringCheck]) -> Tasks:
    def of(value: Callable[[RecurringCheck], Any], steps: int = 1) -> Ints:
        return _ints(number(value(task), steps) for task in tasks)

    return Tasks(
        intervals={
            DAYS: of(lambda task: task.interval_days),
            HOURS: of(lambda task: task.interval_hours, 100),
            LANDINGS: of(lambda task: task.interval_landings),
            MONTHS: of(lambda task: task.interval_months),
        },
        tolerances={
            DAYS: of(lambda task: task.tolerance_days),
            HOURS: of(lambda task: task.tolerance_hours, 100),
            LANDINGS: of(lambda task: task.tolerance_landings),
        },
        first={
            DAYS: of(lambda task: task.first_on),
            HOURS: of(lambda task: task.first_hours, 100),
            LANDINGS: of(lambda task: task.first_landings),
        },
        first_kind=of(lambda task: FIRSTS.index(task.first_due)),
        counting=of(lambda task: COUNTINGS.index(task.counting)),
        to_month_end=of(lambda task: task.to_month_end).astype(bool),
        before_season=of(lambda task: task.before_season).astype(bool),
        season_window=of(lambda task: task.season_window_days),
        once=of(lambda task: task.once).astype(bool),
    )


def _fleet(aircraft: list[Aircraft], totals: dict[int, Totals]) -> Fleet:
    each = [totals.get(one.pk, Totals()) for one in aircraft]
    in_use = [one.state == Aircraft.State.IN_SERVICE for one in aircraft]
    rates = [
        (one.hours_per_day, one.landings_per_day) if used else (None, None)
        for one, used in zip(each, in_use, strict=True)
    ]
    return Fleet(
        entry=_ints(number(one.entered_service_on) for one in aircraft),
        season_month=_ints(one.base.season_month for one in aircraft),
        season_day=_ints(one.base.season_day for one in aircraft),
        totals_on=_ints(number(one.on) for one in each),
        hours=_ints(number(one.hours, 100) for one in each),
        landings=_ints(number(one.landings) for one in each),
        hours_per_day=_ints(number(hours, 10_000) for hours, _ in rates),
        landings_per_day=_ints(number(landings, 10_000) for _, landings in rates),
    )
