"""How long a deferral holds, by repair category: calendar days, flight hours or flight days.

Categories B 3, C 10, D 120 consecutive calendar days, the day of recording excluded; A as the MEL states
(Transport Canada TP 9155 3.11; FAA MMEL policy letter PL-25 definition 22 as quoted by others, which says
too that a flight day runs from midnight to midnight, UTC or local as the operator sets). The operator
sets one time base for what 'day' means. An interval may run out in flight (TP 9155).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

CATEGORY_DAYS = {"B": 3, "C": 10, "D": 120}
#: Only these may be extended, once (that it is B and C alone: from memory, not verified; see the tests).
EXTENDABLE = ("B", "C")


@dataclass(frozen=True)
class Total:
    """An aircraft's totals at the end of a day."""

    on: date
    hours: Decimal
    landings: int


@dataclass(frozen=True)
class UseCount:
    """What is used up of a limit in flight hours or flight days, and what that says of its last day.

    last_on: the last day on which the deferral holds; None: the limit is not reached by what is recorded.
    known_until: while it is not reached, the day after which the records can't tell any more.
    """

    used: Decimal
    left: Decimal
    counted_to: date | None
    last_on: date | None
    known_until: date | None


def deferral_expiry(category: str, recorded_on: date, *, stated_days: int | None = None) -> date:
    """The last day on which the deferral holds; it has expired on any later day.

    ValueError where category A states no days, another category states some, or the category is unknown.
    """
    if category == "A":
        if stated_days is None or stated_days < 0:
            raise ValueError("category A runs for the days stated in the MEL item; state them")
        return recorded_on + timedelta(days=stated_days)
    if category not in CATEGORY_DAYS:
        raise ValueError(f"repair category {category!r} is not known; use A, B, C or D")
    if stated_days is not None:
        raise ValueError(f"category {category} has its own number of days; state days for category A only")
    return recorded_on + timedelta(days=CATEGORY_DAYS[category])


def deferral_expired(expiry: date, today: date) -> bool:
    """Whether a deferral with this last day has run out today (both by the operator's time base)."""
    return today > expiry


def latest_extension(category: str, last_day: date) -> date:
    """The latest day to which a deferral may be extended: its own interval once more.

    That an extension is no longer than the interval itself is from memory, not verified. ValueError for A, D.
    """
    if category not in EXTENDABLE:
        raise ValueError(f"category {category} can't be extended; only B and C can, once")
    return last_day + timedelta(days=CATEGORY_DAYS[category])


def count_hours(
    allowed: int, from_hours: Decimal, totals: Sequence[Total], *, recorded_on: date, known_days: int
) -> UseCount:
    """Flight hours used since from_hours. Used up exactly, it holds through that day; beyond, not on it.

    totals: by day. known_days: so long after the newest total the records still tell; without any they tell
    from the recorded date on.
    """
    limit = from_hours + allowed
    newest = totals[-1] if totals else None
    used = max(newest.hours - from_hours, Decimal(0)) if newest else Decimal(0)
    reached = next((one for one in totals if one.hours >= limit), None)
    last_on = None
    if reached:
        last_on = reached.on if reached.hours == limit else reached.on - timedelta(days=1)
    counted_to = newest.on if newest else None
    known = max(counted_to or recorded_on, recorded_on) + timedelta(days=known_days)
    left = max(Decimal(allowed) - used, Decimal(0))
    return UseCount(used, left, counted_to, last_on, None if last_on else known)


def count_flight_days(allowed: int, totals: Sequence[Total], *, recorded_on: date) -> UseCount:
    """Flight days used since the recorded date, that day excluded; where totals lie days apart, the most
    there may have been: every day between, but no more than flights were landed.

    Used up, it holds through the earliest day that may have been the last flight day; until then the records
    tell for as many days after the newest total as flight days are left.
    """
    used, last_on = 0, recorded_on if allowed == 0 else None
    before: Total | None = None
    for one in totals:
        since = max(before.on, recorded_on) if before else recorded_on
        if one.on > since:
            days = _flight_days(before, one, (one.on - since).days)
            if last_on is None and used + days >= allowed:
                last_on = since + timedelta(days=allowed - used)
            used += days
        before = one
    newest = totals[-1].on if totals else None
    left = max(allowed - used, 0)
    known = max(newest or recorded_on, recorded_on) + timedelta(days=left)
    return UseCount(Decimal(used), Decimal(left), newest, last_on, None if last_on else known)


def _flight_days(before: Total | None, now: Total, days: int) -> int:
    """At most so many of the days had a flight."""
    if before is None:
        return days
    landings = now.landings - before.landings
    if landings <= 0 and now.hours == before.hours:
        return 0
    return min(days, max(landings, 1))
