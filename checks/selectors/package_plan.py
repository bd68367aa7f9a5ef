"""What the planner of work packages is given: due points, hours of work, what is shared, what stands."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from checks.engine.due import IN_TOLERANCE, OVERDUE
from checks.engine.packages_data import Base as Problem
from checks.engine.packages_data import Check
from checks.models import DuePoint, Preparation, RecurringCheck, WorkDay, WorkPackage
from checks.selectors.due import STORED, due_points
from fleet.models import Base

LATE = (OVERDUE, IN_TOLERANCE)
DAYS_OF_A_MONTH = 30.4
Key = tuple[int, int]  # aircraft, task


@dataclass(frozen=True)
class ToPlan:
    """A base with its problem for the engine. Keys of checks are (aircraft, task); due: what was read of
    each; standing: (aircraft, day) -> the accepted package there that is open to more; untold: so many
    checks have no date and are not planned."""

    base: Base
    problem: Problem
    due: Mapping[Key, tuple[dt.date | None, dt.date | None]]
    standing: Mapping[tuple[int, int], int]
    pinned: frozenset[tuple[int, int]]
    untold: int


def minutes_of_work(
    base: Base, first: dt.date, days: int, others: Mapping[tuple[int, dt.date], float]
) -> list[float]:
    """Minutes of work of a base on each day from `first`; others: hours of single days. No query."""
    found = []
    for number in range(days):
        day = first + dt.timedelta(days=number)
        usual = float(base.work_hours) if str(day.isoweekday()) in base.work_days else 0.0
        found.append(60 * others.get((base.pk, day), usual))
    return found


def other_hours(first: dt.date, last: dt.date) -> dict[tuple[int, dt.date], float]:
    """Hours of the days that are not as usual, by base and day. One query."""
    rows = WorkDay.objects.filter(on__range=(first, last)).values_list("base_id", "on", "hours")
    return {(base, on): float(hours) for base, on, hours in rows}


def preparations_of() -> tuple[dict[int, tuple[int, ...]], dict[int, float]]:
    """What each procedure needs made ready, and the minutes of each. Two queries."""
    needed = defaultdict(list)
    through = Preparation.procedures.through.objects.order_by("preparation_id")
    for procedure, one in through.values_list("procedure_id", "preparation_id"):
        needed[procedure].append(one)
    minutes = {pk: float(value) for pk, value in Preparation.objects.values_list("pk", "minutes")}
    return {procedure: tuple(keys) for procedure, keys in needed.items()}, minutes


def to_plan(*, today: dt.date, days: int, forward_days: int) -> list[ToPlan]:
    """Every base with work in the days ahead. Twelve queries, however many aircraft.

    Planned are checks of aircraft in service that fall due by then or are late; those of an accepted
    package whose day is still to come stay where they are.
    """
    last = today + dt.timedelta(days=days)
    needed, minutes = preparations_of()
    standing = list(
        WorkPackage.objects.accepted().filter(on__range=(today, last)).prefetch_related("checks__check_due")
    )
    pinned = WorkPackage.objects.proposed().filter(pinned=True, on__range=(today, last))
    only_on = {
        (one.aircraft_id, each.check_due_id): (one.on - today).days
        for one in pinned.prefetch_related("checks")
        for each in one.checks.all()
    }
    points = list(_points(today, last))
    known = DuePoint.objects.filter(aircraft__in={one.aircraft_id for one in standing}).order_by()
    done = {
        (aircraft, task): on
        for aircraft, task, on in known.values_list("aircraft_id", "check_due_id", "done_on")
    }
    bases, others = list(Base.objects.all()), other_hours(today, last)
    read = _Read(today, days, forward_days, needed, minutes, standing, only_on, others, points, done)
    return [found for found in map(read.base, bases) if found.problem.checks or found.untold]


def _points(today: dt.date, last: dt.date) -> Iterator[DuePoint]:
    points = due_points(today=today, soon_days=0).exclude(state=STORED)
    for point in points.select_related("aircraft", "check_due"):
        if point.state in LATE or point.due_on is None or point.due_on <= last:
            yield point


@dataclass(frozen=True)
class _Read:
    today: dt.date
    days: int
    forward_days: int
    needed: Mapping[int, tuple[int, ...]]
    minutes: Mapping[int, float]
    packages: list[WorkPackage]
    only_on: Mapping[Key, int]
    others: Mapping[tuple[int, dt.date], float]
    points: list[DuePoint]
    done: Mapping[Key, dt.date | None]

    def base(self, base: Base) -> ToPlan:
        packages = [one for one in self.packages if one.base_id == base.pk]
        held = {key for one in self.packages for key, _ in self._waiting(one)}
        here = [
            p
            for p in self.points
            if p.aircraft.base_id == base.pk and (p.aircraft_id, p.check_due_id) not in held
        ]
        dated = [p for p in here if p.due_on is not None]
        taken, standing, joins = self._standing(packages)
        problem = Problem(
            minutes=minutes_of_work(base, self.today, self.days + 1, self.others),
            checks=tuple(map(self._check, dated)),
            preparations=self.minutes,
            taken=taken,
            standing=standing,
        )
        due = {(p.aircraft_id, p.check_due_id): (p.due_on, p.done_on) for p in dated}
        places = {(key[0], on) for key, on in self.only_on.items() if key in due}
        return ToPlan(base, problem, due, joins, frozenset(places), len(here) - len(dated))

    def _waiting(self, package: WorkPackage) -> Iterator[tuple[Key, RecurringCheck]]:
        """The checks of an accepted package that were not done since."""
        for each in package.checks.all():
            key = (package.aircraft_id, each.check_due_id)
            if not done_since(each.done_on, self.done.get(key, each.done_on)):
                yield key, each.check_due

    def _standing(self, packages: list[WorkPackage]) -> tuple:
        """Minutes that accepted packages take of each day, and those open to more."""
        taken, standing, joins = [0.0] * (self.days + 1), {}, {}
        for one in packages:
            on, tasks = (one.on - self.today).days, [task for _, task in self._waiting(one)]
            made = {s for task in tasks for s in self.needed.get(task.procedure_id, ())}
            taken[on] += sum(self.minutes[s] for s in made)
            taken[on] += sum(hands(task, self.needed, self.minutes) for task in tasks)
            if not one.locked:
                standing[one.aircraft_id, on] = frozenset(made)
                joins[one.aircraft_id, on] = one.pk
        return tuple(taken), standing, joins

    def _check(self, point: DuePoint) -> Check:
        task, key = point.check_due, (point.aircraft_id, point.check_due_id)
        due, late = (point.due_on - self.today).days, point.state in LATE
        season = point.governing == DuePoint.Governing.SEASON
        # A check done before the season's window does not serve that season.
        forward = min(self.forward_days, task.season_window_days) if season else self.forward_days
        held = self.only_on.get(key)
        return Check(
            key=key,
            aircraft=point.aircraft_id,
            hands=hands(task, self.needed, self.minutes),
            preparations=self.needed.get(task.procedure_id, ()),
            work=60 * float(task.work_hours),
            due=due,
            earliest=max(0, due - forward),
            interval=interval_of(point),
            free_days=free_days(task),
            late=late,
            only_on=held if held is not None and (late or held <= due) else None,
        )


def hands(task: RecurringCheck, needed: Mapping[int, tuple[int, ...]], minutes: Mapping[int, float]) -> float:
    """Minutes of a task besides what is made ready for it; its hours of work hold both."""
    return max(0.0, 60 * float(task.work_hours) - sum(minutes[s] for s in needed.get(task.procedure_id, ())))


def interval_of(point: Any) -> float | None:
    """Days from last done to due, or the interval's own; None where doing it early gives nothing away."""
    task = point.check_due
    if task.once or point.governing == DuePoint.Governing.SEASON:
        return None
    if point.done_on and point.due_on and point.due_on > point.done_on:
        return float((point.due_on - point.done_on).days)
    return float(task.interval_days or 0) or DAYS_OF_A_MONTH * (task.interval_months or 0) or None


def free_days(task: RecurringCheck) -> int:
    """So many days before due nothing is given away: a kept grid counts on from the due date."""
    return task.tolerance_days if task.counting == RecurringCheck.Counting.KEEP_GRID else 0


def done_since(then: dt.date | None, now: dt.date | None) -> bool:
    """Whether a check was done after it was put into a package."""
    return now is not None and (then is None or now > then)
