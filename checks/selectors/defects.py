"""Defects with their state on a day, told in SQL so that lists filter and count without a second pass."""

import datetime as dt
from dataclasses import dataclass

from django.db.models import Case, CharField, Exists, OuterRef, QuerySet, Subquery, Value, When
from django.db.models.functions import Coalesce, Least

from checks.engine.outcome import ESCALATE
from checks.models import CheckEvent, Defect, Deferral, ExtensionAnswer, Rectification
from checks.selectors.due_counting import counting_events
from checks.selectors.release import WITHIN, deferral_day

OPEN, DEFERRED, EXPIRED, CLOSED = "open", "deferred", "deferral expired", "closed"
NOT_KNOWN = "deferral limit not known"
STATES = (OPEN, EXPIRED, NOT_KNOWN, DEFERRED, CLOSED)
RETESTS = 12
NEVER = dt.date(9999, 12, 31)


@dataclass(frozen=True)
class DefectShown:
    """A defect with its state, and its newest deferral where it has one."""

    defect: Defect
    state: str
    deferral: Deferral | None


def with_last_day(deferrals: QuerySet[Deferral]) -> QuerySet[Deferral]:
    """Adds `last_on` and `told_until`: the last day on which it holds, extension and recorded use counted,
    and the day after which the recorded use can't tell; NEVER where there is none."""
    approved = ExtensionAnswer.objects.filter(extension__deferral=OuterRef("pk"), approved=True)
    never = Value(NEVER)
    by_day = Coalesce(Subquery(approved.values("extension__expires_on")[:1]), "expires_on", never)
    return deferrals.annotate(
        last_on=Least(by_day, Coalesce("use__last_on", never)),
        told_until=Coalesce("use__known_until", never),
    )


def with_states(defects: QuerySet[Defect], today: dt.date) -> QuerySet[Defect]:
    """Adds `now_is`, one of STATES: the words of Defect.state, today in the deferral time base. Of several
    deferrals the newest governs."""
    newest = with_last_day(Deferral.objects.filter(defect=OuterRef("pk"))).order_by("-pk")
    state = Case(
        When(Exists(Rectification.objects.filter(defect=OuterRef("pk"))), then=Value(CLOSED)),
        When(holds_until=None, then=Value(OPEN)),
        When(holds_until__lt=today, then=Value(EXPIRED)),
        When(use_told_until__lt=today, then=Value(NOT_KNOWN)),
        default=Value(DEFERRED),
        output_field=CharField(),
    )
    return defects.annotate(
        holds_until=Subquery(newest.values("last_on")[:1]),
        use_told_until=Subquery(newest.values("told_until")[:1]),
        now_is=state,
    )


def recorded_day(defect: Defect) -> dt.date:
    """The day from which its deferrals count, in the operator's time base. One query at most."""
    return defect.recorded_on or deferral_day(defect.raised_at)


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
    return [
        shown(defect) for defect in listed.prefetch_related(*Deferral.WHOLE).order_by("-raised_at", "-pk")
    ]


def shown(defect: Defect) -> DefectShown:
    """One defect of with_states. One query unless the deferrals were fetched with it."""
    return DefectShown(defect, defect.now_is, defect.newest_deferral)


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
