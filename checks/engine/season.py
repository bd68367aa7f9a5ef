"""Seasons of a base: their dates, which one an aircraft that moves meets first, and the pace towards one.

Pace: the completions of the recent days are taken as coming by chance at an even rate (a Poisson process).
With a rate known only from n completions in T days, the number done in the next t days follows a negative
binomial distribution with r = n + 1/2 and p = T / (T + t) (Jeffreys' prior; textbook, from memory; the tests
compare it with SciPy's). The range holds 8 of 10. Where work is planned in groups it does not come by
chance, and the range is too narrow: the page says so.
"""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil, exp, log

RECENT_DAYS = 56
LEAST_DAYS = 14
LEAST_DONE = 3
FARTHEST_DAYS = 730
LOW, MIDDLE, HIGH = 0.1, 0.5, 0.9


@dataclass(frozen=True)
class Season:
    """The season of one place: the date before which its checks are done, and how long it lasts."""

    month: int
    day: int
    days: int = 180

    def starting_in(self, year: int) -> date:
        """The season date of a year."""
        return date(year, self.month, self.day)

    def next_from(self, day: date) -> date:
        """The first season date on the day or after it."""
        this = self.starting_in(day.year)
        return this if this >= day else self.starting_in(day.year + 1)

    def running_on(self, day: date) -> date | None:
        """The season date of the season that runs on the day, if one does."""
        began = self.starting_in(day.year)
        if began > day:
            began = self.starting_in(day.year - 1)
        return began if day < began + timedelta(days=self.days) else None


@dataclass(frozen=True)
class Meeting:
    """The first season that an aircraft meets: where, its date, and the day by which its checks are wanted.

    running: it has begun when the aircraft comes, so the checks are wanted by the day of the move.
    """

    place: Hashable
    season: date
    by: date
    running: bool = False


def first_meeting(
    today: date, place: Hashable, seasons: dict[Hashable, Season], moves: Sequence[tuple[date, Hashable]]
) -> Meeting:
    """The first season still to come for an aircraft at a place with planned moves (day, place), in order.

    A season that runs at the present place on `today` was met before and is not looked at.
    """
    stays = [(today, place), *sorted((max(on, today), to) for on, to in moves)]
    for n, (begins, at) in enumerate(stays):
        ends = stays[n + 1][0] if n + 1 < len(stays) else date.max
        running = seasons[at].running_on(begins) if n else None
        if running and begins < ends:
            return Meeting(at, running, begins, running=True)
        comes = seasons[at].next_from(begins)
        if comes < ends:
            return Meeting(at, comes, comes)
    raise AssertionError("the last stay has no end, so it meets a season")


@dataclass(frozen=True)
class Forecast:
    """How it goes towards a season. number done in the last `days`; a_week: that pace; needed: the pace that
    would do. on: at the present pace; early and late: 8 of 10. why_not: why none of these can be told."""

    number: int
    days: int
    a_week: float | None
    needed: float | None
    on: date | None
    early: date | None
    late: date | None
    why_not: str = ""


def forecast(done: Sequence[date], left: int, *, opened: date, today: date, by: date) -> Forecast:
    """When `left` more will be done, from the days on which others were. opened: the first day that counts.

    No pace is told from fewer than LEAST_DONE completions or less than LEAST_DAYS days.
    """
    days = min((today - opened).days, RECENT_DAYS)
    since = today - timedelta(days=days)
    number = sum(since < day <= today for day in done) if days > 0 else 0
    weeks_left = (by - today).days / 7
    needed = left / weeks_left if weeks_left > 0 else None
    if left == 0:
        return Forecast(number, max(days, 0), None, None, None, None, None, "everything is done")
    if days < LEAST_DAYS:
        why = f"too early to tell a pace: fewer than {LEAST_DAYS} days since the first day that counts"
        return Forecast(number, max(days, 0), None, needed, None, None, None, why)
    if number < LEAST_DONE:
        why = f"too few to tell a pace: {number} done in {days} days, {LEAST_DONE} are wanted"
        return Forecast(number, days, None, needed, None, None, None, why)
    on = _later(today, ceil(left * days / number))
    early, late = (_finish(number, days, left, share) for share in (LOW, HIGH))
    return Forecast(
        number, days, number / days * 7, needed, on, _later(today, early), _later(today, late), ""
    )


def further(number: int, days: int, ahead: int, share: float) -> int:
    """How many more are done within `ahead` days at most with the given chance (a quantile)."""
    total, term = 0.0, 1.0
    r, p = number + 0.5, days / (days + ahead)
    term = exp(r * log(p))
    k = 0
    while True:
        total += term
        if total >= share:
            return k
        term *= (r + k) / (k + 1) * (1 - p)
        k += 1


def at_least(number: int, days: int, ahead: int, wanted: int) -> float:
    """The chance that `wanted` or more are done within `ahead` days."""
    r, p = number + 0.5, days / (days + ahead)
    term = exp(r * log(p))
    below = 0.0
    for k in range(wanted):
        below += term
        term *= (r + k) / (k + 1) * (1 - p)
    return max(0.0, 1.0 - below)


def _finish(number: int, days: int, left: int, share: float) -> int | None:
    """Days until `left` more are done with the given chance; None: beyond FARTHEST_DAYS."""
    low, high = 0, FARTHEST_DAYS
    if at_least(number, days, high, left) < share:
        return None
    while high - low > 1:
        middle = (low + high) // 2
        if at_least(number, days, middle, left) >= share:
            high = middle
        else:
            low = middle
    return high


def _later(today: date, days: int | None) -> date | None:
    return None if days is None or days > FARTHEST_DAYS else today + timedelta(days=days)
