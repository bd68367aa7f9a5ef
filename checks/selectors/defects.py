"""Defects with their state on a day, told in SQL so that lists filter and count without a second pass."""

import datetime as dt
from dataclasses import dataclass

from django.db.models import Case, CharField, Exists, OuterRef, QuerySet, Value, When

from checks.engine.outcome import ESCALATE
from checks.models import CheckEvent, Defect, Deferral, Rectification
from checks.selectors.due_counting import counting_events
from checks.selectors.release import WITHIN

OPEN, DEFERRED, EXPIRED, CLOSED = "open", "deferred", "deferral expired", "closed"
STATES = (OPEN, EXPIRED, DEFERRED, CLOSED)
RETESTS = 12


@dataclass(frozen=True)
class DefectShown:
    """A defect with its state, and its newest deferral where it has one."""

    defect: Defect
    state: str
    deferral: Deferral | None


def with_states(defects: QuerySet[Defect], today: dt.date) -> QuerySet[Defect]:
    """Adds `now_is`, one of STATES: the words of Defect.state, today in the deferral time base."""
    deferrals = Deferral.objects.filter(defect=OuterRef("pk"))
    state = Case(
        When(Exists(Rectification.objects.filter(defect=OuterRef("pk"))), then=Value(CLOSED)),
        When(Exists(deferrals.filter(expires_on__gte=today)), then=Value(DEFERRED)),
        When(Exists(deferrals), then=Value(EXPIRED)),
        default=Value(OPEN),
        output_field=CharField(),
    )
    return defects.annotate(now_is=state)


def escalated() -> Exists:
    """Of a defect that a check found: a test of the same task since then is to be escalated, and stands."""
    tests = CheckEvent.objects.standing().filter(
        aircraft=OuterRef("aircraft"),
        revision__procedure=OuterRef("event__revision__procedure"),
        signed_at__gte=OuterRef("raised_at"),
        next_action=ESCALATE,
    )
    return Exists(tests)


def shown_of(defects: QuerySet[Defect], today: dt.date) -> list[DefectShown]:
    """The defects with state and newest deferral, the newest raised first. Two queries."""
    listed = with_states(defects, today).select_related("aircraft__base", "position")
    return [shown(defect) for defect in listed.prefetch_related("deferrals").order_by("-raised_at", "-pk")]


def shown(defect: Defect) -> DefectShown:
    """One defect of with_states. One query unless the deferrals were fetched with it."""
    newest = max(defect.deferrals.all(), key=lambda one: (one.expires_on, one.pk), default=None)
    return DefectShown(defect, defect.now_is, newest)


def retests(defect: Defect) -> list[CheckEvent]:
    """Checks that may support closing a defect: later ones of the same task, the newest first.

    Of a defect that no check found: the newest checks of the aircraft since it was raised. One query.
    """
    events = counting_events().filter(aircraft=defect.aircraft_id)
    found_by = defect.event
    if found_by:
        procedure = found_by.revision.procedure_id
        events = events.filter(revision__procedure=procedure, signed_at__gt=found_by.signed_at)
    else:
        events = events.filter(signed_at__gt=defect.raised_at)
    return list(events.select_related("revision__procedure").order_by("-signed_at")[:RETESTS])


def supports(retest: CheckEvent) -> bool:
    """Whether one of `retests` lies within its limits, or had its too low reading accepted. No query."""
    return retest.outcome in WITHIN or retest.outcome == CheckEvent.Outcome.NOT_VALID
