"""What a technician may start: aircraft of the own base first, tasks in order of their due state."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Case, IntegerField, QuerySet, Value, When

from checks.models import CheckEvent, Revision
from checks.selectors.due import STATES, DueRow, due_points, due_rows
from fleet.models import Aircraft, Base, Operator


@dataclass(frozen=True)
class Task:
    """A task of a variant with the revision in force, and its line of the due list where it recurs."""

    revision: Revision
    due: DueRow | None

    @property
    def state(self) -> str:
        return self.due.state if self.due else ""


def aircraft_for(*, home: Base | None, text: str = "", base: Base | None = None) -> QuerySet[Aircraft]:
    """The fleet as filtered, the own base first."""
    found = Aircraft.objects.exclude(state=Aircraft.State.LEFT).select_related("base", "variant")
    if text:
        found = found.filter(registration__icontains=text)
    if base:
        found = found.filter(base=base)
    own = Case(When(base=home, then=Value(0)), default=Value(1), output_field=IntegerField())
    return found.annotate(own=own).order_by("own", "base__name", "registration")


def most_pressing(aircraft: Iterable[Aircraft], today: dt.date) -> dict[int, str]:
    """The most pressing due state of each aircraft. Two queries."""
    points = due_points(today=today, soon_days=Operator.current().due_soon_days)
    worst: dict[int, str] = {}
    for key, state in points.filter(aircraft__in=list(aircraft)).order_by().values_list("aircraft", "state"):
        worst[key] = min(worst.get(key, state), state, key=STATES.index)
    return worst


def tasks_for(aircraft: Aircraft, on: dt.date, today: dt.date) -> list[Task]:
    """Every task with a revision in force on the day, those due first, those that never recur last.

    Three queries.
    """
    points = due_points(today=today, soon_days=Operator.current().due_soon_days).filter(aircraft=aircraft)
    rows = {row.point_id: row for row in due_rows(points, today=today)}
    keys = dict(points.order_by().values_list("check_due__procedure", "pk"))
    revisions = Revision.objects.in_force(on).filter(procedure__variant=aircraft.variant_id)
    tasks = [
        Task(revision, rows.get(keys.get(revision.procedure_id)))
        for revision in revisions.select_related("procedure")
    ]
    last = len(STATES)
    return sorted(
        tasks,
        key=lambda task: (
            STATES.index(task.state) if task.due else last,
            (task.due.due_on if task.due else None) or dt.date.min,
            task.revision.procedure.title,
        ),
    )


def open_drafts(aircraft: Aircraft | None = None) -> QuerySet[CheckEvent]:
    """Checks begun and not signed, newest first: of one aircraft, or of the fleet."""
    drafts = CheckEvent.objects.filter(state=CheckEvent.State.DRAFT)
    if aircraft:
        drafts = drafts.filter(aircraft=aircraft)
    return drafts.select_related("aircraft", "revision__procedure", "started_by").order_by("-started_at")
