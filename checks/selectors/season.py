"""The season plan: what every base still has to do before its season date, and how it goes.

An aircraft is complete when every task of the programme that is due before the season was done within its
window, and its system is in use. Which tasks apply to which aircraft is what the due points say.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from uuid import UUID

from checks.engine.season import Forecast, Season, forecast
from checks.models import DuePoint, Procedure
from checks.selectors.dormancy import Dryness, Work, deactivated, dryness
from checks.selectors.due_counting import counting_events
from fleet.models import Aircraft, Base, Operator, PlannedMove

DONE, OPEN, LATE = "done", "to do", "late"
#: seasons that can be looked at: so many years back and ahead
YEARS_BACK, YEARS_AHEAD = 2, 1


@dataclass(frozen=True)
class Task:
    """One task of one aircraft before a season. point_id: its due point; None for a return to use.

    opens: the first day that counts. hours, litres: of doing it once; None: not stated.
    """

    title: str
    point_id: int | None
    opens: dt.date
    done_on: dt.date | None
    event_id: UUID | None
    due_on: dt.date | None
    hours: Decimal | None
    litres: Decimal | None

    @property
    def open(self) -> bool:
        return self.done_on is None


@dataclass(frozen=True)
class Line:
    """One aircraft in the plan of a base. by: the day by which its tasks are wanted. comes: a planned move
    that brings it. down: its deactivation, where its system is not returned to use."""

    aircraft: Aircraft
    tasks: tuple[Task, ...]
    by: dt.date
    comes: PlannedMove | None
    down: Work | None
    dry: Dryness

    @property
    def counts(self) -> bool:
        """A stored aircraft is shown beside the others."""
        return self.aircraft.state == Aircraft.State.IN_SERVICE

    @property
    def open_tasks(self) -> tuple[Task, ...]:
        return tuple(task for task in self.tasks if task.open)

    @property
    def complete_on(self) -> dt.date | None:
        """The day of the last task; None while any is open or there is none."""
        days = [task.done_on for task in self.tasks]
        return max((day for day in days if day), default=None) if days and all(days) else None

    def state(self, today: dt.date) -> str:
        if not self.open_tasks:
            return DONE
        return LATE if today > self.by else OPEN


@dataclass(frozen=True)
class Plan:
    """The plan of one base for one season. lines: aircraft that count; stored and leaving ones beside them.

    date: the season date; opens: the first day on which a task counts; outlook: how it goes.
    """

    base: Base
    date: dt.date
    today: dt.date
    opens: dt.date
    lines: tuple[Line, ...]
    stored: tuple[Line, ...]
    leaving: tuple[PlannedMove, ...]
    outlook: Forecast

    @property
    def open_lines(self) -> tuple[Line, ...]:
        return tuple(line for line in self.lines if line.open_tasks)

    @property
    def open_first(self) -> tuple[Line, ...]:
        """The lines in the order in which a person looks at them."""
        return tuple(sorted(self.lines, key=lambda line: not line.open_tasks))

    @property
    def done(self) -> int:
        return len(self.lines) - len(self.open_lines)

    @property
    def late(self) -> int:
        return sum(line.state(self.today) == LATE for line in self.lines)

    @property
    def open_tasks(self) -> tuple[Task, ...]:
        return tuple(task for line in self.lines for task in line.open_tasks)

    @property
    def hours(self) -> Decimal:
        """Hours of work of the open tasks, as far as stated."""
        return sum((task.hours for task in self.open_tasks if task.hours is not None), Decimal(0))

    @property
    def litres(self) -> Decimal:
        return sum((task.litres for task in self.open_tasks if task.litres is not None), Decimal(0))

    @property
    def unstated(self) -> int:
        """Open tasks of which hours or litres are not stated, so that the sums leave them out."""
        return sum(task.hours is None or task.litres is None for task in self.open_tasks)


def season_of(base: Base) -> Season:
    return Season(base.season_month, base.season_day, base.season_days)


def season_plans(*, today: dt.date, base: Base | None = None, year: int | None = None) -> list[Plan]:
    """The plans of every base (or one) for its season of a year. Without a year: the season that runs, while
    an aircraft is open there, and the next one. A fixed number of queries for any number of aircraft."""
    return plans_of(Facts.read(today), [base] if base else list(Base.objects.all()), year)


def plans_of(facts: "Facts", bases: Iterable[Base], year: int | None = None) -> list[Plan]:
    """The same from facts that were read. No query."""
    return [_plan(facts, one, date) for one in bases for date in _dates(facts, one, year)]


@dataclass(frozen=True)
class Facts:
    """All that the plans rest on, read once for the whole fleet."""

    today: dt.date
    aircraft: list[Aircraft]
    moves: dict[int, list[PlannedMove]]  # of an aircraft, in order of day
    points: dict[int, list[DuePoint]]  # of an aircraft: those due before a season
    done: dict[tuple[int, int], list[tuple[dt.date, UUID]]]  # (aircraft, procedure), oldest first
    down: dict[int, Work]
    dry: dict[int, Dryness]
    back: dict[int, Procedure]  # of a variant: what returns its system to use

    @classmethod
    def read(cls, today: dt.date) -> "Facts":
        known = Aircraft.objects.exclude(state=Aircraft.State.LEFT).select_related("base", "variant")
        fleet = list(known)
        moves = defaultdict(list)
        for move in PlannedMove.objects.planned().select_related("base", "aircraft__base"):
            moves[move.aircraft_id].append(move)
        points = defaultdict(list)
        wanted = DuePoint.objects.filter(check_due__active=True, check_due__before_season=True)
        for point in wanted.select_related("check_due__procedure").order_by("check_due__title", "pk"):
            points[point.aircraft_id].append(point)
        back = Procedure.objects.filter(use_after=Procedure.UseAfter.IN_USE).order_by("-pk")
        return cls(
            today,
            fleet,
            moves,
            points,
            _done(points, today.replace(month=1, day=1, year=today.year - YEARS_BACK - 1)),
            deactivated(),
            dryness(fleet, today=today, operator_days=Operator.current().dry_days),
            {procedure.variant_id: procedure for procedure in back},
        )

    def base_on(self, aircraft: Aircraft, day: dt.date) -> int:
        """The base where an aircraft is planned to be at the beginning of a day."""
        at = aircraft.base_id
        for move in self.moves.get(aircraft.pk, ()):
            if move.on <= day:
                at = move.base_id
        return at


def _done(
    points: dict[int, list[DuePoint]], since: dt.date
) -> dict[tuple[int, int], list[tuple[dt.date, UUID]]]:
    """What counts as done of the tasks that are due before a season. One query."""
    procedures = {point.check_due.procedure_id for some in points.values() for point in some}
    events = counting_events().filter(revision__procedure__in=procedures, work_date__gte=since)
    found = defaultdict(list)
    for aircraft, procedure, on, event in events.order_by("work_date", "signed_at", "pk").values_list(
        "aircraft_id", "revision__procedure_id", "work_date", "pk"
    ):
        found[aircraft, procedure].append((on, event))
    return found


def _dates(facts: Facts, base: Base, year: int | None) -> list[dt.date]:
    season = season_of(base)
    if year is not None:
        return [season.starting_in(year)]
    running = season.running_on(facts.today)
    lines = _lines(facts, base, running) if running else ()
    # The next one is a day ahead at least: on the season date itself the season runs.
    ahead = season.next_from(facts.today + dt.timedelta(days=1)) if running else season.next_from(facts.today)
    return [running, ahead] if running and any(line.counts and line.open_tasks for line in lines) else [ahead]


def _plan(facts: Facts, base: Base, date: dt.date) -> Plan:
    every = list(_lines(facts, base, date))
    lines = tuple(line for line in every if line.counts)
    opened = min((task.opens for line in lines for task in line.tasks if task.point_id), default=date)
    complete = [line.complete_on for line in lines if not line.open_tasks and line.complete_on]
    leaving = tuple(
        move
        for one in facts.aircraft
        if one.base_id == base.pk and facts.base_on(one, max(date, facts.today)) != base.pk
        for move in facts.moves[one.pk][:1]
    )
    left = sum(bool(line.open_tasks) for line in lines)
    return Plan(
        base,
        date,
        facts.today,
        opened,
        lines,
        tuple(line for line in every if not line.counts),
        leaving,
        forecast(complete, left, opened=opened, today=facts.today, by=date),
    )


def _lines(facts: Facts, base: Base, date: dt.date) -> Iterator[Line]:
    """The aircraft that are at the base on the season date, and those that come while the season runs."""
    met = max(date, facts.today)
    ends = date + dt.timedelta(days=base.season_days)
    for one in facts.aircraft:
        arrival = next((m for m in facts.moves.get(one.pk, ()) if m.base_id == base.pk), None)
        if facts.base_on(one, met) == base.pk:
            yield _line(facts, one, base, date, date, arrival if one.base_id != base.pk else None)
        elif arrival and met < arrival.on < ends:
            yield _line(facts, one, base, date, arrival.on, arrival)


def _line(
    facts: Facts, one: Aircraft, base: Base, date: dt.date, by: dt.date, comes: PlannedMove | None
) -> Line:
    tasks = [_task(facts, point, base, date) for point in facts.points.get(one.pk, ())]
    down = facts.down.get(one.pk)
    if down:
        tasks.append(_return_to_use(facts, one, down))
    return Line(one, tuple(tasks), by, comes, down, facts.dry[one.pk])


def _task(facts: Facts, point: DuePoint, base: Base, date: dt.date) -> Task:
    """One task: done by its first carrying out from the first day that counts to that of the next year."""
    check = point.check_due
    window = dt.timedelta(days=check.season_window_days)
    opens, closes = date - window, season_of(base).starting_in(date.year + 1) - window
    events = facts.done.get((point.aircraft_id, check.procedure_id), ())
    done_on, event = next(((on, key) for on, key in events if opens <= on < closes), (None, None))
    return Task(
        check.title,
        point.pk,
        opens,
        done_on,
        event,
        point.due_on,
        check.work_hours,
        check.procedure.fluid_litres,
    )


def _return_to_use(facts: Facts, one: Aircraft, down: Work) -> Task:
    procedure = facts.back.get(one.variant_id)
    title = procedure.title if procedure else "Return to use"
    litres = procedure.fluid_litres if procedure else None
    return Task(title, None, down.on, None, down.event_id, None, None, litres)


def line_for(facts: Facts, one: Aircraft, base: Base, date: dt.date) -> Line:
    """One aircraft as it would stand in the plan of a base."""
    return _line(facts, one, base, date, date, None)
