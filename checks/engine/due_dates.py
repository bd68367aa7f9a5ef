"""Due points in arrays brought to dates: what due.project says of one, for many."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from checks.engine.due_arrays import KINDS, UNKNOWN, Flags, Fleet, Ints, Points, Tasks, toleranced
from checks.engine.intervals import HOURS, LANDINGS, SEASON
from checks.engine.use_season import FARTHEST_DAYS
from checks.engine.use_season import Season as UseSeason

_NUMBERS = (HOURS, LANDINGS)
_RATE_STEPS = {HOURS: 100, LANDINGS: 10_000}  # what brings a remainder to the steps of the rate
_NEVER = np.iinfo(np.int64).max


@dataclass(frozen=True)
class Projected:
    """By series: remaining, date and last date of each limb (UNKNOWN: none), and whichever occurs first.

    governing: place in KINDS, -1 for none. untold: no limb, or one that cannot be told.
    """

    remaining: dict[str, Ints]
    remaining_latest: dict[str, Ints]
    on: dict[str, Ints]
    latest_on: dict[str, Ints]
    governing: Ints
    due_on: Ints
    first_latest: Ints
    untold: Flags


def project(
    points: Points,
    tasks: Tasks,
    fleet: Fleet,
    *,
    task: Ints,
    aircraft: Ints,
    now: int,
    seasons: Mapping[str, UseSeason] | None = None,
) -> Projected:
    """Every due point brought to a date, as due.project does for one."""
    totals_on = fleet.totals_on[aircraft]
    since = np.where(totals_on == UNKNOWN, now, totals_on)
    remaining, late, on, latest_on = {}, {}, {}, {}
    for kind in KINDS:
        at = np.where(points.has[kind], points.at[kind], UNKNOWN)
        tolerance = 0 if kind == SEASON else tasks.tolerances[toleranced(kind)][task]
        total = getattr(fleet, kind)[aircraft] if kind in _NUMBERS else np.full(len(task), now)
        known = (at != UNKNOWN) & (total != UNKNOWN)
        remaining[kind] = np.where(known, at - total, UNKNOWN)
        late[kind] = np.where(known, at + tolerance - total, UNKNOWN)
        if kind in _NUMBERS:
            rate = getattr(fleet, f"{kind}_per_day")[aircraft]
            on[kind], latest_on[kind] = (
                _day(since, left[kind], rate, _RATE_STEPS[kind], (seasons or {}).get(kind))
                for left in (remaining, late)
            )
        else:
            on[kind], latest_on[kind] = at, np.where(known, at + tolerance, UNKNOWN)
    dates = np.stack([_or_never(on[kind]) for kind in KINDS])
    first = dates.argmin(axis=0)
    due_on = dates.min(axis=0)
    none = due_on == _NEVER
    latest = np.stack([_or_never(latest_on[kind]) for kind in KINDS]).min(axis=0)
    there = np.stack([points.has[kind] for kind in KINDS])
    told = np.stack([remaining[kind] != UNKNOWN for kind in KINDS])
    return Projected(
        remaining,
        late,
        on,
        latest_on,
        np.where(none, -1, first),
        np.where(none, UNKNOWN, due_on),
        np.where(latest == _NEVER, UNKNOWN, latest),
        ~there.any(axis=0) | (there & ~told).any(axis=0),
    )


def _or_never(days: Ints) -> Ints:
    return np.where(days == UNKNOWN, _NEVER, days)


def _day(since: Ints, left: Ints, rate: Ints, steps: int, season: UseSeason | None) -> Ints:
    """The day on which what is left is used up, rounded to the earlier one; today where it is."""
    usable = (left != UNKNOWN) & (rate != UNKNOWN) & (rate > 0)
    left_steps, rates = np.where(usable, left, 0) * steps, np.where(usable, rate, 1)
    if season is None:
        days = left_steps // rates
    else:
        days = _days_of(season, since, left_steps * season.recent // (rates * season.recent_days))
    told = np.where(usable & (days <= FARTHEST_DAYS), since + days, UNKNOWN)
    return np.where((left != UNKNOWN) & (left <= 0), since, told)


def _days_of(season: UseSeason, since: Ints, share: Ints) -> Ints:
    """How many whole days after `since` the share lasts, found in the running sum of the days' factors."""
    if not len(since):
        return since
    first = int(since.min())
    days = np.arange(first, int(since.max()) + FARTHEST_DAYS + 2).astype("datetime64[D]")
    month = days.astype("datetime64[M]").astype(np.int64) % 12
    running = np.cumsum(np.array(season.months)[month])
    place = since - first
    return np.searchsorted(running, running[place] + share, side="right") - 1 - place
