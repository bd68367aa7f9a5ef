"""Questions about the programme: its tasks, their revisions, and what a revision would move."""

import datetime as dt
from dataclasses import dataclass

from django.db.models import Case, CharField, Exists, OuterRef, QuerySet, Value, When

from checks.engine.due import OVERDUE
from checks.engine.due import state as state_of
from checks.models import IntervalRevision, RecurringCheck, Terms
from checks.selectors.due import ABOUT, COUNTED, REACHED, STORED
from checks.selectors.due_counting import COUNTED_STATES, Counted, count_due
from checks.selectors.effectivity import Effectivity, embodied_by
from checks.selectors.revisions import AWAITING
from fleet.models import Aircraft, Operator

IN_FORCE, LEFT = "in the programme", "not in the programme"
STATES = (IN_FORCE, AWAITING, LEFT)


def with_states(tasks: QuerySet[RecurringCheck]) -> QuerySet[RecurringCheck]:
    """Adds `now_is`, one of STATES, and `waits`: whether a revision waits for approval."""
    waiting = IntervalRevision.objects.filter(check_revised=OuterRef("pk"), approved_at=None)
    approved = IntervalRevision.objects.filter(check_revised=OuterRef("pk"), approved_at__isnull=False)
    state = Case(
        When(active=True, then=Value(IN_FORCE)),
        When(Exists(waiting) & ~Exists(approved), then=Value(AWAITING)),
        default=Value(LEFT),
        output_field=CharField(),
    )
    return tasks.annotate(now_is=state, waits=Exists(waiting))


def revisions_waiting() -> QuerySet[IntervalRevision]:
    """Revisions of intervals that wait for approval, the oldest first."""
    waiting = IntervalRevision.objects.filter(approved_at=None)
    return waiting.select_related("check_revised__procedure__variant", "typed_by").order_by("typed_at", "pk")


@dataclass(frozen=True)
class Standing:
    """Where a task stands on one aircraft. due_on None with a state: no date can be told."""

    due_on: dt.date | None
    known: str
    governing: str
    latest_on: dt.date | None
    state: str
    done_on: dt.date | None


@dataclass(frozen=True)
class Effect:
    """One aircraft before and after a revision; None: the task is not due on it."""

    aircraft: Aircraft
    old: Standing | None
    new: Standing | None

    @property
    def becomes_overdue(self) -> bool:
        was = self.old is not None and self.old.state == OVERDUE
        return self.new is not None and self.new.state == OVERDUE and not was

    @property
    def days_moved(self) -> int | None:
        """Days by which the date moves, negative: earlier; None where one of them has no date."""
        if self.old is None or self.new is None or self.old.due_on is None or self.new.due_on is None:
            return None
        return (self.new.due_on - self.old.due_on).days

    @property
    def is_moved(self) -> bool:
        return self.old != self.new


def standings(
    task: RecurringCheck, *, today: dt.date, fits: Effectivity | None = None
) -> dict[int, Standing]:
    """Where the task, with its terms as they are in memory, stands on each aircraft. A fixed number of
    queries."""
    aircraft = {one.pk: one for one in _fleet(task)}
    counted = count_due(aircraft_ids=list(aircraft), today=today, tasks=[task], fits=fits, finished=True)
    soon = Operator.current().due_soon_days
    return {one.aircraft_id: _standing(one, aircraft[one.aircraft_id], today, soon) for one in counted}


def effect_of(revision: IntervalRevision, *, today: dt.date) -> list[Effect]:
    """What the revision would do to every aircraft, by registration. A fixed number of queries."""
    task = revision.check_revised
    new = RecurringCheck(pk=task.pk, procedure=task.procedure)
    for field in Terms._meta.local_fields:
        setattr(new, field.name, getattr(revision, field.name))
    named = set(revision.only_on.values_list("pk", flat=True))
    fits = Effectivity({task.pk: named}, embodied_by({new.modification_id}, today))
    old = standings(task, today=today) if task.active else {}
    moved = standings(new, today=today, fits=fits) if new.active else {}
    touched = [one for one in _fleet(task) if one.pk in old or one.pk in moved]
    return [Effect(one, old.get(one.pk), moved.get(one.pk)) for one in touched]


def _fleet(task: RecurringCheck) -> QuerySet[Aircraft]:
    fleet = Aircraft.objects.filter(variant=task.procedure.variant_id, state__in=COUNTED_STATES)
    return fleet.select_related("base").order_by("registration")


def _standing(one: Counted, aircraft: Aircraft, today: dt.date, soon: int) -> Standing:
    projection = one.projection
    governing = projection.governing
    first = next((limb for limb in projection.limbs if limb.limb is governing), None)
    use = first is not None and not isinstance(first.limb.at, dt.date)
    known = "" if projection.on is None else COUNTED
    if use and first is not None and first.remaining is not None:
        known = ABOUT if first.remaining > 0 else REACHED
    state = state_of(projection, now=today, soon_days=soon)
    if one.finished:
        state = "done"
    elif aircraft.state == Aircraft.State.STORED:
        state = STORED
    return Standing(
        due_on=projection.on,
        known=known,
        governing=governing.kind if governing else "",
        latest_on=projection.latest_on,
        state=state,
        done_on=one.done.on if one.done else None,
    )
