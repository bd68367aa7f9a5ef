"""When the demo's aircraft fly and when their checks are done: a little before they are due."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from dateutil.relativedelta import relativedelta

from checks.models import RecurringCheck
from fleet.models import Base

YEARS = 6
WEEKLY_DAYS = 365  # the last year is kept by the week, what lies before by the month
LEAST_GAP_DAYS = 20


@dataclass(frozen=True)
class Use:
    """Utilisation of one aircraft: totals at the end of each day kept. days are date ordinals, rising."""

    days: np.ndarray
    hours: np.ndarray
    landings: np.ndarray

    def at(self, day: float) -> tuple[float, int]:
        """Hours and landings on a day, between two entries by proportion."""
        hours, landings = (float(np.interp(day, self.days, kept)) for kept in (self.hours, self.landings))
        return round(hours, 1), int(landings)

    def day_of_hours(self, hours: float) -> float:
        """Day on which the total reaches `hours`; inf where it has not."""
        return _reached(hours, self.hours, self.days)

    def day_of_landings(self, landings: float) -> float:
        """Day on which the total reaches `landings`; inf where it has not."""
        return _reached(landings, self.landings, self.days)


def _reached(total: float, totals: np.ndarray, days: np.ndarray) -> float:
    return float(np.interp(total, totals, days)) if total <= totals[-1] else np.inf


def fly(rng: np.random.Generator, today: dt.date, *, stored: bool) -> Use:
    """Six years of use up to yesterday, busier in the light half of the year; a stored aircraft stands still
    for the last half year."""
    last = today.toordinal() - 1
    monthly = np.arange(last - YEARS * 365, last - WEEKLY_DAYS, 30)
    days = np.append(monthly, np.arange(last - WEEKLY_DAYS, last + 1, 7))
    days[-1] = last
    a_day = rng.uniform(1.6, 3.0)
    season = 1 + 0.25 * np.sin(2 * np.pi * (days[1:] % 365.25 - 100) / 365.25)
    flown = np.diff(days) * a_day * season * rng.uniform(0.7, 1.3, len(days) - 1)
    if stored:
        flown[days[1:] > last - 180] = 0
    hours = rng.uniform(400, 5000) + np.append(0, np.cumsum(flown))
    per_hour = rng.uniform(1.1, 1.9)
    return Use(days, np.round(hours, 1), np.floor(hours * per_hour))


def due_day(check: RecurringCheck, done: float, use: Use, base: Base) -> float:
    """Day on which the check is due after `done` (ordinal), whichever occurs first."""
    on = dt.date.fromordinal(int(done))
    limbs = [np.inf]
    if check.interval_days:
        limbs.append(done + check.interval_days)
    if check.interval_months:
        limbs.append((on + relativedelta(months=check.interval_months)).toordinal())
    hours, landings = use.at(done)
    if check.interval_hours:
        limbs.append(use.day_of_hours(hours + float(check.interval_hours)))
    if check.interval_landings:
        limbs.append(use.day_of_landings(landings + check.interval_landings))
    if check.before_season:
        limbs.append(_season(on, base, check.season_window_days).toordinal())
    return min(limbs)


def _season(done: dt.date, base: Base, window: int) -> dt.date:
    """The first season date that a check on `done` does not serve."""
    date = dt.date(done.year, base.season_month, base.season_day)
    while done >= date - dt.timedelta(days=window):
        date = date.replace(year=date.year + 1)
    return date


def check_days(
    rng: np.random.Generator, check: RecurringCheck, use: Use, base: Base, last: int
) -> Iterator[int]:
    """Ordinals of the days on which it was done, up to `last`: 2 to 18 days before it was due."""
    day = float(use.days[0] + rng.uniform(5, 120))
    while day <= last:
        yield int(day)
        due = due_day(check, day, use, base)
        day = max(due - rng.uniform(2, 18), day + LEAST_GAP_DAYS)
