"""Due points of a whole fleet at once, in arrays: what intervals, first_due and due say of one, for many.

Days are counted from 1970-01-01, hours in hundredths, rates of use in ten-thousandths a day: integers, so
that nothing is rounded. UNKNOWN stands where a value is not recorded or a task has no such limb. A test holds
every answer equal to that of the one-aircraft way, which also explains itself.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from checks.engine.first_due import FROM_ENTRY, GIVEN, NO_FIRST
from checks.engine.intervals import COUNTINGS, DAYS, HOURS, LANDINGS, MONTHS, SEASON

Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]
UNKNOWN = np.iinfo(np.int64).min
KINDS = (DAYS, HOURS, LANDINGS, MONTHS, SEASON)  # in the order in which the engine writes limbs
FIRSTS = (NO_FIRST, FROM_ENTRY, GIVEN)
FROM_DONE, EXCESS_COUNTS, KEEP_GRID = range(len(COUNTINGS))


@dataclass(frozen=True)
class Tasks:
    """Terms by task. intervals and first by limb kind, UNKNOWN where a task has none; tolerances by kind.

    counting and first_kind: places in COUNTINGS and FIRSTS.
    """

    intervals: dict[str, Ints]
    tolerances: dict[str, Ints]
    first: dict[str, Ints]
    first_kind: Ints
    counting: Ints
    to_month_end: Flags
    before_season: Flags
    season_window: Ints
    once: Flags


@dataclass(frozen=True)
class Fleet:
    """By aircraft: entry into service, season date of its base, latest totals and use a day."""

    entry: Ints
    season_month: Ints
    season_day: Ints
    totals_on: Ints
    hours: Ints
    landings: Ints
    hours_per_day: Ints
    landings_per_day: Ints


@dataclass(frozen=True)
class History:
    """What counts as done: place of the series, day, totals; by series, then oldest first, one a day."""

    series: Ints
    on: Ints
    hours: Ints
    landings: Ints


@dataclass
class Points:
    """By series: which limbs there are and where they stand; anchor and steps of the months."""

    has: dict[str, Flags]
    at: dict[str, Ints]
    anchor: Ints
    steps: Ints
    finished: Flags


def due_points(tasks: Tasks, fleet: Fleet, history: History, *, task: Ints, aircraft: Ints) -> Points:
    """The due point of each series (a task on an aircraft, by their places) after all that was done."""
    points = _first(tasks, fleet, task, aircraft)
    for rows in _rounds(history.series):
        series = history.series[rows]
        _roll(points, tasks, fleet, history, rows, series, task[series], aircraft[series])
    return points


def _rounds(series: Ints) -> Iterator[Ints]:
    """Rows of the history, in rounds: the first of every series, then the second, and so on."""
    if not len(series):
        return
    place = np.arange(len(series))
    starts = np.flatnonzero(np.r_[True, series[1:] != series[:-1]])
    nth = place - np.repeat(starts, np.diff(np.r_[starts, len(series)]))
    order = np.argsort(nth, kind="stable")
    yield from np.split(order, np.cumsum(np.bincount(nth))[:-1])


def _first(tasks: Tasks, fleet: Fleet, task: Ints, aircraft: Ints) -> Points:
    """Before anything was done: limbs of an interval from entry into service, those given, or none."""
    n = len(task)
    unknown = np.full(n, UNKNOWN)
    points = Points(
        {kind: np.zeros(n, bool) for kind in KINDS},
        {kind: unknown.copy() for kind in KINDS},
        unknown.copy(),
        np.zeros(n, np.int64),
        np.zeros(n, bool),
    )
    from_entry = np.flatnonzero(tasks.first_kind[task] == FIRSTS.index(FROM_ENTRY))
    if len(from_entry):
        entry, zero = fleet.entry[aircraft[from_entry]], np.zeros(len(from_entry), np.int64)
        whole = History(from_entry, entry, zero, zero)
        rows = np.arange(len(from_entry))
        _roll(points, tasks, fleet, whole, rows, from_entry, task[from_entry], aircraft[from_entry])
        points.finished[:] = False
    given = tasks.first_kind[task] == FIRSTS.index(GIVEN)
    by_months = tasks.intervals[MONTHS][task] != UNKNOWN
    by_days = tasks.intervals[DAYS][task] != UNKNOWN
    for kind in (DAYS, HOURS, LANDINGS, MONTHS):
        value = tasks.first[toleranced(kind)][task]
        wanted = {DAYS: by_days | ~by_months, MONTHS: by_months}.get(kind, True)
        here = given & wanted & (value != UNKNOWN)
        points.has[kind] |= here
        points.at[kind] = np.where(here, value, points.at[kind])
        if kind == MONTHS:
            points.anchor = np.where(here, value, points.anchor)
    return points


def _roll(
    points: Points,
    tasks: Tasks,
    fleet: Fleet,
    history: History,
    rows: Ints,
    series: Ints,
    task: Ints,
    aircraft: Ints,
) -> None:
    """Move the points of the series on: each was done as the row of the history says."""
    counting, on = tasks.counting[task], history.on[rows]
    for kind in (DAYS, HOURS, LANDINGS):
        done = {DAYS: on, HOURS: history.hours[rows], LANDINGS: history.landings[rows]}[kind]
        interval = tasks.intervals[kind][task]
        has = interval != UNKNOWN
        base = _base(done, points.at[kind][series], tasks.tolerances[kind][task], counting)
        told = has & (done != UNKNOWN)
        points.at[kind][series] = np.where(told, base + np.where(has, interval, 0), UNKNOWN)
        points.has[kind][series] = has
    _roll_months(points, tasks, series, task, on)
    has = tasks.before_season[task]
    season = _next_season(
        fleet.season_month[aircraft], fleet.season_day[aircraft], on, tasks.season_window[task]
    )
    points.at[SEASON][series] = np.where(has, season, UNKNOWN)
    points.has[SEASON][series] = has
    points.finished[series] = tasks.once[task]


def _roll_months(points: Points, tasks: Tasks, series: Ints, task: Ints, on: Ints) -> None:
    months, to_end = tasks.intervals[MONTHS][task], tasks.to_month_end[task]
    has = months != UNKNOWN
    months = np.where(has, months, 0)
    at, anchor, steps = points.at[MONTHS][series], points.anchor[series], points.steps[series]
    counting = tasks.counting[task]
    base = _base(on, at, tasks.tolerances[DAYS][task], counting)
    goes_on = (at != UNKNOWN) & (base == at) & (counting != FROM_DONE)
    since = np.where(anchor == UNKNOWN, on, anchor)
    on_grid = goes_on & (anchor != UNKNOWN) & (add_months(since, months * steps, to_end) == at)
    anchor = np.where(on_grid, anchor, np.where(goes_on, at, on))
    steps = np.where(on_grid, steps + 1, 1)
    points.at[MONTHS][series] = np.where(has, add_months(anchor, months * steps, to_end), UNKNOWN)
    points.anchor[series] = np.where(has, anchor, UNKNOWN)
    points.steps[series] = steps
    points.has[MONTHS][series] = has


def toleranced(kind: str) -> str:
    """The kind whose tolerance a limb takes: the one in days holds for months too."""
    return DAYS if kind == MONTHS else kind


def _base(done: Ints, previous: Ints, tolerance: Ints, counting: Ints) -> Ints:
    """The point that the next interval is counted from, as intervals has it."""
    gap = np.where((previous == UNKNOWN) | (done == UNKNOWN), 0, done - previous)
    excess = np.where(gap > 0, previous, done)
    grid = np.where(np.abs(gap) <= tolerance, previous, done)
    base = np.where(counting == EXCESS_COUNTS, excess, np.where(counting == KEEP_GRID, grid, done))
    return np.where(previous == UNKNOWN, done, base)


def add_months(on: Ints, months: Ints, to_month_end: Flags) -> Ints:
    """Calendar months on from days, clipped to the month's length or moved to its end."""
    days = on.astype("datetime64[D]")
    month = days.astype("datetime64[M]")
    day = (days - month.astype("datetime64[D]")).astype(np.int64)
    target = month + months.astype("timedelta64[M]")
    first = target.astype("datetime64[D]").astype(np.int64)
    last = (target + np.timedelta64(1, "M")).astype("datetime64[D]").astype(np.int64) - 1
    return np.where(to_month_end, last, np.minimum(first + day, last))


def _next_season(month: Ints, day: Ints, on: Ints, window: Ints) -> Ints:
    year = on.astype("datetime64[D]").astype("datetime64[Y]").astype(np.int64)
    this = _in_year(year, month, day)
    year = np.where(this < on, year + 1, year)
    first = _in_year(year, month, day)
    return np.where(first - on <= window, _in_year(year + 1, month, day), first)


def _in_year(year: Ints, month: Ints, day: Ints) -> Ints:
    """The season date in years counted from 1970; 29 Feb reads as 28."""
    first = (year * 12 + month - 1).astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    return first + np.where((month == 2) & (day == 29), 28, day) - 1
