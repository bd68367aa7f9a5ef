"""Icing status: what the records hold against flight in icing; that nothing is held is no permission."""

import datetime as dt
import zoneinfo
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from uuid import UUID

from django.db.models import Exists, F, OuterRef, Q
from django.utils import timezone

from checks.engine.due import NO_RECORD, OVERDUE
from checks.models import CheckEvent, Defect, Deferral
from checks.selectors.doubt import against_icing
from checks.selectors.due import due_points
from fleet.models import Aircraft, Operator

NOTHING = "nothing recorded against"
AGAINST = "recorded against"
# Kinds of reasons, the gravest first.
DEFECT, EXPIRED, NOT_VALID, DOUBT, LIMITED, LATE, UNKNOWN, STORED = (
    "open defect",
    "deferral expired",
    "not valid check",
    "check in doubt",
    "deferral limits",
    "overdue check",
    "no valid record",
    "stored",
)
KINDS = (DEFECT, EXPIRED, NOT_VALID, DOUBT, LIMITED, LATE, UNKNOWN, STORED)


@dataclass(frozen=True)
class Reason:
    """One thing recorded against flight in icing, and the record that says so."""

    kind: str
    text: str
    event_id: UUID | None = None
    defect_id: int | None = None
    due_point_id: int | None = None


@dataclass(frozen=True)
class IcingStatus:
    """One aircraft with its reasons, the gravest first; none means that nothing is recorded against."""

    aircraft: Aircraft
    reasons: tuple[Reason, ...]

    @property
    def words(self) -> str:
        return AGAINST if self.reasons else NOTHING


def icing_statuses(*, at: dt.datetime, aircraft_ids: Iterable[int] | None = None) -> list[IcingStatus]:
    """The status of the aircraft (None: every one that has not left), by registration.

    Seven queries for any number of aircraft, and a fixed number more where an instrument was found out of
    calibration. Days are counted in the operator's one time base.
    """
    fleet = Aircraft.objects.exclude(state=Aircraft.State.LEFT).select_related("base", "variant")
    if aircraft_ids is not None:
        fleet = fleet.filter(pk__in=list(aircraft_ids))
    aircraft = list(fleet.order_by("registration"))
    ids = [one.pk for one in aircraft]
    operator = Operator.current()
    today = timezone.localdate(at, zoneinfo.ZoneInfo(operator.deferral_time_zone))
    reasons: dict[int, list[Reason]] = defaultdict(list)
    for found in (_defects(ids, today), _not_valid(ids), _doubts(ids), _due(ids, today, operator)):
        for aircraft_id, reason in found:
            reasons[aircraft_id].append(reason)
    for one in aircraft:
        if one.state == Aircraft.State.STORED:
            reasons[one.pk].append(Reason(STORED, "The aircraft is stored."))
    return [
        IcingStatus(one, tuple(sorted(reasons[one.pk], key=lambda r: KINDS.index(r.kind))))
        for one in aircraft
    ]


def _defects(ids: list[int], today: dt.date) -> Iterator[tuple[int, Reason]]:
    """Open defects: undeferred, with a deferral that ran out, or with one that limits flight in icing."""
    defects = Defect.objects.open().filter(aircraft__in=ids).prefetch_related("deferrals")
    for defect in defects.order_by("raised_at"):
        reason = _of_defect(defect, list(defect.deferrals.all()), today)
        if reason:
            yield defect.aircraft_id, reason


def _of_defect(defect: Defect, deferrals: list[Deferral], today: dt.date) -> Reason | None:
    what = defect.description.splitlines()[0]
    key = {"event_id": defect.event_id, "defect_id": defect.pk}
    if not deferrals:
        return Reason(DEFECT, f"Open defect since {defect.raised_at:%d %b %Y}: {what}", **key)
    in_force = [one for one in deferrals if one.expires_on >= today]
    if not in_force:
        last = max(one.expires_on for one in deferrals)
        return Reason(EXPIRED, f"Deferral expired after {last:%d %b %Y}: {what}", **key)
    limiting = [one for one in in_force if one.limits_icing]
    if not limiting:
        return None
    one = max(limiting, key=lambda deferral: deferral.expires_on)
    until = f"{one.expires_on:%d %b %Y}"
    return Reason(LIMITED, f"Deferred under {one.mel_item} until {until}: {one.limitation}", **key)


def _not_valid(ids: list[int]) -> Iterator[tuple[int, Reason]]:
    """The newest signed check of a task, where it is not valid and nobody accepted it in writing."""
    kept = CheckEvent.objects.signed().exclude(superseded_by__state=CheckEvent.State.SIGNED)
    newer = kept.filter(
        Q(work_date__gt=OuterRef("work_date"))
        | Q(work_date=OuterRef("work_date"), signed_at__gt=OuterRef("signed_at")),
        aircraft=OuterRef("aircraft"),
        revision__procedure=OuterRef("revision__procedure"),
    )
    events = (
        kept.filter(aircraft__in=ids, outcome=CheckEvent.Outcome.NOT_VALID)
        .exclude(decision__accepted=True)
        .filter(~Exists(newer))
        .annotate(task=F("revision__procedure__title"))
    )
    for event in events.order_by("work_date", "signed_at"):
        day = f"{event.work_date:%d %b %Y}"
        yield (
            event.aircraft_id,
            Reason(NOT_VALID, f"{event.task} of {day} is not valid: {event.next_action}", event_id=event.pk),
        )


def _doubts(ids: list[int]) -> Iterator[tuple[int, Reason]]:
    """The latest accepted check of a task, where an instrument found out of calibration would change it."""
    for doubt in against_icing(ids):
        event = doubt.event
        what = f"{event.revision.procedure.title} of {event.work_date:%d %b %Y}"
        state = "is in doubt" if doubt.is_open else "is to be repeated after its review"
        yield event.aircraft_id, Reason(DOUBT, f"{what} {state}: {doubt.words}.", event_id=event.pk)


def _due(ids: list[int], today: dt.date, operator: Operator) -> Iterator[tuple[int, Reason]]:
    """Checks past their tolerance, and checks of which no record counts."""
    points = due_points(today=today, soon_days=operator.due_soon_days).filter(aircraft__in=ids)
    points = points.filter(state__in=(OVERDUE, NO_RECORD)).annotate(task=F("check_due__procedure__title"))
    for point in points:
        key = {"due_point_id": point.pk, "event_id": point.last_event_id}
        if point.state == OVERDUE:
            since = f": it was due on {point.due_on:%d %b %Y}" if point.due_on else ""
            yield point.aircraft_id, Reason(LATE, f"{point.task} is overdue{since}.", **key)
        else:
            yield point.aircraft_id, Reason(UNKNOWN, f"No valid record of {point.task}.", **key)
