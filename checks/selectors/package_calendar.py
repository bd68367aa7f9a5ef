"""The plan of one base as a calendar: weeks of days, each with its hours of work and its packages."""

import datetime as dt
from dataclasses import dataclass

from checks.models import WorkDay, WorkPackage
from checks.selectors.package_plan import minutes_of_work
from checks.selectors.packages import Shown, packages, shown
from fleet.models import Base

WEEKS = 5
OVER, CLOSED = "over the hours", "base closed"


@dataclass(frozen=True)
class Day:
    """hours: what the base works; taken: what its packages take, proposals included."""

    on: dt.date
    hours: float
    taken: float
    packages: tuple[Shown, ...]
    other: WorkDay | None
    past: bool
    today: bool

    @property
    def state(self) -> str:
        """OVER where more is planned than worked, CLOSED without hours, '' otherwise."""
        if self.taken > self.hours + 0.01:
            return OVER
        return CLOSED if self.hours == 0 else ""


@dataclass(frozen=True)
class Week:
    number: int
    days: tuple[Day, ...]


def monday_of(day: dt.date) -> dt.date:
    return day - dt.timedelta(days=day.weekday())


def weeks_of(base: Base, first: dt.date, today: dt.date, number: int = WEEKS) -> list[Week]:
    """So many weeks from the Monday `first`. Nine queries, however many packages."""
    last = first + dt.timedelta(days=7 * number - 1)
    found = packages().filter(base=base, on__range=(first, last))
    found = found.exclude(state=WorkPackage.State.WITHDRAWN).order_by("on", "aircraft__registration")
    by_day: dict[dt.date, list[Shown]] = {}
    for one in shown(found, today):
        by_day.setdefault(one.package.on, []).append(one)
    others = {row.on: row for row in WorkDay.objects.filter(base=base, on__range=(first, last))}
    hours = minutes_of_work(
        base, first, 7 * number, {(base.pk, on): float(row.hours) for on, row in others.items()}
    )
    days = [
        _day(first + dt.timedelta(days=k), hours[k] / 60, by_day, others, today) for k in range(7 * number)
    ]
    return [Week(days[7 * k].on.isocalendar().week, tuple(days[7 * k : 7 * k + 7])) for k in range(number)]


def _day(
    on: dt.date,
    hours: float,
    by_day: dict[dt.date, list[Shown]],
    others: dict[dt.date, WorkDay],
    today: dt.date,
) -> Day:
    there = tuple(by_day.get(on, ()))
    taken = sum(one.hours for one in there)
    return Day(on, hours, taken, there, others.get(on), on < today, on == today)
