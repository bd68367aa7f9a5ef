"""Work packages as pages and paper show them: held against the due list, with what their checks share."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from uuid import UUID

from django.db.models import QuerySet

from checks.models import CheckEvent, DuePoint, PackageCheck, Preparation, WorkPackage
from checks.selectors.due import due_points
from checks.selectors.package_plan import LATE, done_since, free_days, hands, interval_of, preparations_of
from fleet.models import Aircraft

DONE, CHANGED, LOCKED, PINNED = "package done", "due list differs", "accepted, locked", "pinned"
ESTIMATE_MOVES = 7  # days by which an estimated date may move without a word


@dataclass(frozen=True)
class Line:
    """One check of a package. given_days and share: interval given away on the package's day; says: where
    the due list differs from what the package was made for."""

    row: PackageCheck
    task: str
    code: str
    hours: Decimal
    due_on: dt.date | None
    estimated: bool
    late: bool
    given_days: int
    share: float
    done: bool
    says: str
    point_id: int | None
    event_id: UUID | None


@dataclass(frozen=True)
class Ready:
    """Access or equipment of a package, made ready once: minutes, and for how many of its checks."""

    name: str
    kind: str
    minutes: float
    serves: int


@dataclass(frozen=True)
class Shown:
    """A package with its checks. minutes: what it takes; saved: what making ready once saves."""

    package: WorkPackage
    lines: tuple[Line, ...]
    ready: tuple[Ready, ...]
    minutes: float
    says: tuple[str, ...]

    @property
    def saved(self) -> float:
        return sum(one.minutes * (one.serves - 1) for one in self.ready)

    @property
    def hours(self) -> float:
        return self.minutes / 60

    @property
    def state(self) -> str:
        """The key of its state in fleet.shapes."""
        package = self.package
        if package.state == WorkPackage.State.WITHDRAWN:
            return "withdrawn"
        if self.lines and all(line.done for line in self.lines):
            return DONE
        if package.state == WorkPackage.State.PROPOSED:
            return PINNED if package.pinned else "proposed"
        return LOCKED if package.locked else "accepted"

    @property
    def differs(self) -> bool:
        """Whether the due list, which rules, says otherwise than the package."""
        return bool(self.says) or any(line.says for line in self.lines if not line.done)

    @property
    def late(self) -> bool:
        return any(line.late for line in self.lines)

    @property
    def most_given(self) -> float:
        return max((line.share for line in self.lines), default=0.0)


def packages() -> QuerySet[WorkPackage]:
    """Packages with what `shown` needs of them."""
    related = ("aircraft__base", "aircraft__variant", "base", "accepted_by", "joins")
    return WorkPackage.objects.select_related(*related).prefetch_related("checks__check_due__procedure")


def shown(found: Iterable[WorkPackage], today: dt.date) -> list[Shown]:
    """Packages of `packages` held against the due list. Six queries, however many."""
    listed = list(found)
    points = due_points(today=today, soon_days=0).filter(aircraft__in={one.aircraft_id for one in listed})
    known = {(p.aircraft_id, p.check_due_id): p for p in points.select_related("check_due").order_by()}
    needed, minutes = preparations_of()
    names = _names()
    return [_shown(one, known, needed, minutes, names, today) for one in listed]


def _names() -> dict[int, tuple[str, str]]:
    return {pk: (name, kind) for pk, name, kind in Preparation.objects.values_list("pk", "name", "kind")}


def _shown(
    package: WorkPackage,
    known: dict[tuple[int, int], DuePoint],
    needed: dict[int, tuple[int, ...]],
    minutes: dict[int, float],
    names: dict[int, tuple[str, str]],
    today: dt.date,
) -> Shown:
    rows = sorted(package.checks.all(), key=lambda one: (one.due_on or dt.date.max, one.pk))
    lines = tuple(_line(package, one, known.get((package.aircraft_id, one.check_due_id))) for one in rows)
    serves: dict[int, int] = {}
    for one in rows:
        for key in needed.get(one.check_due.procedure_id, ()):
            serves[key] = serves.get(key, 0) + 1
    ready = tuple(Ready(*names[key], minutes[key], number) for key, number in sorted(serves.items()))
    work = sum(hands(one.check_due, needed, minutes) for one in rows) + sum(one.minutes for one in ready)
    return Shown(package, lines, ready, work, tuple(_says(package, lines, today)))


def _line(package: WorkPackage, row: PackageCheck, point: DuePoint | None) -> Line:
    task = row.check_due
    due = point.due_on if point else row.due_on
    done = point is not None and done_since(row.done_on, point.done_on)
    late = point is not None and point.state in LATE
    early = (due - package.on).days if due and not done and not late else 0
    interval = interval_of(point) if point else None
    counts = interval is not None and early > free_days(task)
    return Line(
        row=row,
        task=str(task),
        code=task.procedure.code,
        hours=task.work_hours,
        due_on=row.due_on if done else due,
        estimated=bool(point and point.estimated and not done),
        late=late and not done,
        given_days=max(0, early),
        share=early / max(interval, 1.0) if counts else 0.0,
        done=done,
        says=_differs(package, row, point, done),
        point_id=point.pk if point else None,
        event_id=point.last_event_id if point and done else None,
    )


def _differs(package: WorkPackage, row: PackageCheck, point: DuePoint | None, done: bool) -> str:
    """What the due list says of a check otherwise than the package; empty where they agree."""
    if point is None:
        return "The due list no longer has this check for the aircraft."
    if done:
        return f"Done meanwhile, on {point.done_on:%d %b %Y}."
    if point.due_on is None:
        return "" if row.due_on is None else "The due list can tell no date any more."
    if point.state not in LATE and point.due_on < package.on:
        return f"The due list says {point.due_on:%d %b %Y}, before the day of the package. Move it."
    moved = abs((point.due_on - row.due_on).days) if row.due_on else 0
    if moved > (ESTIMATE_MOVES if point.estimated else 0):
        return f"The due date moved from {row.due_on:%d %b %Y} to {point.due_on:%d %b %Y}."
    return ""


def _says(package: WorkPackage, lines: tuple[Line, ...], today: dt.date) -> Iterable[str]:
    """What is to be said of the whole package."""
    if package.state == WorkPackage.State.WITHDRAWN or all(line.done for line in lines):
        return
    if package.on < today:
        yield "Its day is past and not all of it is done. Move it or withdraw it."
    if package.aircraft.state != Aircraft.State.IN_SERVICE:
        yield f"The aircraft is {package.aircraft.get_state_display()}."
    if package.aircraft.base_id != package.base_id:
        yield f"The aircraft is based at {package.aircraft.base}: it has to come to {package.base}."


def drafts_of(package: WorkPackage) -> dict[int, UUID]:
    """Checks of the package that are begun and not signed: procedure -> event. One query."""
    drafts = CheckEvent.objects.filter(aircraft=package.aircraft_id, state=CheckEvent.State.DRAFT)
    procedures = [one.check_due.procedure_id for one in package.checks.all()]
    drafts = drafts.filter(revision__procedure__in=procedures).order_by("started_at")
    return dict(drafts.values_list("revision__procedure_id", "pk"))
