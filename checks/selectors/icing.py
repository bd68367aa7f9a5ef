"""Icing status: what the records hold against flight in icing; that nothing is held is no permission."""

import datetime as dt
import zoneinfo
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import chain, groupby
from typing import Any
from uuid import UUID

from django.db.models import CharField, Exists, F, OuterRef, Q, QuerySet, Subquery, Value
from django.db.models.functions import Cast
from django.utils import timezone

from checks.engine.due import NO_RECORD, OVERDUE
from checks.engine.units import plain
from checks.models import CautionFollowed, CheckEvent, Defect
from checks.selectors.defects import EXPIRED as RUN_OUT
from checks.selectors.defects import NEVER, NOT_KNOWN, OPEN, escalated, with_states
from checks.selectors.dormancy import standing_deactivations
from checks.selectors.doubt import against_icing
from checks.selectors.due import due_points
from fleet.models import Aircraft, Operator, UtilisationEntry

NOTHING = "nothing recorded against"
AGAINST = "recorded against"
Row = dict[str, Any]
#: Keys of aircraft; a queryset of them stands for a large part of the fleet.
Ids = list[int] | QuerySet
# Kinds of reasons, the gravest first.
KINDS = (
    "open defect",
    "deferral expired",
    "deferral limit not known",
    "deactivated",
    "left disturbed",
    "not valid check",
    "check in doubt",
    "deferral limits",
    "overdue check",
    "no valid record",
    "stale utilisation",
    "stored",
)
(
    DEFECT,
    EXPIRED,
    LIMIT_UNKNOWN,
    DEACTIVATED,
    DISTURBED,
    NOT_VALID,
    DOUBT,
    LIMITED,
    LATE,
    UNKNOWN,
    STALE,
    STORED,
) = KINDS


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

    @property
    def gravity(self) -> tuple[int, int]:
        """For sorting, the gravest first: the kind of its gravest reason, then how many there are."""
        return (KINDS.index(self.reasons[0].kind), -len(self.reasons)) if self.reasons else (len(KINDS), 0)


def icing_statuses(*, at: dt.datetime, aircraft_ids: Iterable[int] | None = None) -> list[IcingStatus]:
    """The status of the aircraft (None: every one that has not left), by registration.

    Six queries for any number of aircraft, and a fixed number more where an instrument was found out of
    calibration. Days are counted in the operator's one time base.
    """
    used = UtilisationEntry.objects.standing().filter(aircraft=OuterRef("pk")).order_by("-on")
    fleet = Aircraft.objects.exclude(state=Aircraft.State.LEFT).select_related("base", "variant")
    fleet = fleet.annotate(used_on=Subquery(used.values("on")[:1]))
    if aircraft_ids is not None:
        fleet = fleet.filter(pk__in=list(aircraft_ids))
    aircraft = list(fleet.order_by("registration"))
    ids = [one.pk for one in aircraft]
    operator = Operator.current()
    today = day_of(at, operator)
    reasons: dict[int, list[Reason]] = defaultdict(list)
    for found in (of_other_records(ids, today), of_due_points(ids, today, operator)):
        for aircraft_id, reason in found:
            reasons[aircraft_id].append(reason)
    return [status_of(one, reasons[one.pk] + of_the_aircraft(one, today, operator)) for one in aircraft]


def day_of(at: dt.datetime, operator: Operator) -> dt.date:
    """The day in the operator's one time base."""
    return timezone.localdate(at, zoneinfo.ZoneInfo(operator.deferral_time_zone))


def status_of(aircraft: Aircraft, reasons: Iterable[Reason]) -> IcingStatus:
    """The status with its reasons in order, the gravest first."""
    return IcingStatus(aircraft, tuple(sorted(reasons, key=lambda reason: KINDS.index(reason.kind))))


def of_other_records(ids: Ids, today: dt.date) -> Iterator[tuple[int, Reason]]:
    """What defects, checks and instruments hold against the aircraft. Three queries, or a fixed number more
    where an instrument was found out of calibration. Of a large part of the fleet it may tell of aircraft
    besides: such records are few, and found along indexes of their own, not aircraft by aircraft."""
    return chain(_defects(ids, today), _checks(ids), _doubts(ids))


def of_the_aircraft(aircraft: Aircraft, today: dt.date, operator: Operator) -> list[Reason]:
    """What follows from its own state and its `used_on`, the day of the latest utilisation. No query."""
    found = (_stored(aircraft), _stale(aircraft, today, operator.stale_use_days))
    return [reason for reason in found if reason]


def _stored(aircraft: Aircraft) -> Reason | None:
    if aircraft.state != Aircraft.State.STORED:
        return None
    since = f" since {aircraft.state_since:%d %b %Y}" if aircraft.state_since else ""
    return Reason(STORED, f"The aircraft is stored{since}.")


def _stale(aircraft: Aircraft, today: dt.date, days: int) -> Reason | None:
    """No utilisation for longer than the operator's number of days; of a stored aircraft none is expected."""
    if aircraft.state == Aircraft.State.STORED:
        return None
    if aircraft.used_on is None:
        return Reason(STALE, "No utilisation was ever entered: what counts hours or landings is not known.")
    if (today - aircraft.used_on).days <= days:
        return None
    return Reason(
        STALE, f"No utilisation since {aircraft.used_on:%d %b %Y}, {(today - aircraft.used_on).days} days."
    )


def _defects(ids: Ids, today: dt.date) -> Iterator[tuple[int, Reason]]:
    """Open defects: undeferred, with a deferral that ran out or of which the recorded use can't tell, or with
    one that limits flight in icing. One query."""
    rows = (
        with_states(_of(Defect.objects.open(), ids), today)
        .order_by("raised_at", "pk", "-deferrals__pk")
        .annotate(escalated=escalated())
        .values(
            "pk",
            "escalated",
            "aircraft",
            "event",
            "raised_at",
            "description",
            "now_is",
            "holds_until",
            "deferrals__limits_icing",
            "deferrals__mel_item",
            "deferrals__limitation",
            "deferrals__limit_hours",
            "deferrals__limit_flight_days",
            "deferrals__use__left",
        )
    )
    for _, same in groupby(rows, key=lambda row: row["pk"]):
        newest = next(same)
        reason = _of_defect(newest)
        if reason:
            yield newest["aircraft"], reason


def _of_defect(row: Row) -> Reason | None:
    """The reason that a defect is, given its row with the newest deferral."""
    key = {"event_id": row["event"], "defect_id": row["pk"]}
    what = ("escalated after repeated purges: " if row["escalated"] else "") + row[
        "description"
    ].splitlines()[0]
    item, limitation = row["deferrals__mel_item"], row["deferrals__limitation"]
    if row["now_is"] == OPEN:
        return Reason(DEFECT, f"Open defect since {row['raised_at']:%d %b %Y}: {what}", **key)
    if row["now_is"] == RUN_OUT:
        return Reason(EXPIRED, f"Deferral expired after {row['holds_until']:%d %b %Y}: {what}", **key)
    if row["now_is"] == NOT_KNOWN:
        words = (
            f"Whether the deferral under {item} still holds is not known, no utilisation is entered: {what}"
        )
        return Reason(LIMIT_UNKNOWN, words, **key)
    if not row["deferrals__limits_icing"]:
        return None
    until = f" until {row['holds_until']:%d %b %Y}" if row["holds_until"] != NEVER else _by_use(row)
    return Reason(LIMITED, f"Deferred under {item}{until}: {limitation}", **key)


def _by_use(row: Row) -> str:
    """How long a deferral holds that is limited by flight hours or flight days and not used up."""
    hours, days = row["deferrals__limit_hours"], row["deferrals__limit_flight_days"]
    stated = f"{hours} flight hours" if hours is not None else f"{days} flight days"
    return f" for {stated}, {plain(row['deferrals__use__left'])} left by what is entered"


def _checks(ids: Ids) -> Iterator[tuple[int, Reason]]:
    """Checks begun that left something disturbed, those whose last word is not valid, and systems that were
    deactivated and not returned to use. One query."""
    rows = _not_valid(ids).union(_disturbed(ids), _deactivated(ids), all=True)
    # Put in order here: a database asked to do it may read every check there is in the order of their days.
    for row in sorted(rows, key=lambda row: (row["day"], row["of"], row["number"])):
        day = f"{row['day']:%d %b %Y}"
        if row["kind"] == DISTURBED:
            text = f"{row['task']} begun on {day} is not signed, and not recorded as put back: {row['words']}"
        elif row["kind"] == DEACTIVATED:
            text = f"{row['task']} of {day} is signed, and no return to use since."
        else:
            text = f"{row['task']} of {day} is not valid: {row['words'].removeprefix('not valid: ')}"
        yield row["of"], Reason(row["kind"], text, event_id=row["event_key"])


def _of(records: QuerySet, ids: Ids, aircraft: str = "aircraft") -> QuerySet:
    """Those of the aircraft; all of them where the aircraft are a large part of the fleet."""
    return records if isinstance(ids, QuerySet) else records.filter(**{f"{aircraft}__in": ids})


def _disturbed(ids: Ids) -> QuerySet:
    """What drafts disturbed and do not record as put back: the words of how, one row for each step."""
    left = CautionFollowed.objects.filter(event__state=CheckEvent.State.DRAFT, restored=False)
    return (
        _of(left, ids, "event__aircraft")
        .exclude(step__restore_text="")
        .order_by()
        .values(
            event_key=F("event"),
            of=F("event__aircraft"),
            task=F("event__revision__procedure__title"),
            day=F("event__work_date"),
            words=Cast("step__restore_text", CharField()),
            number=F("step__number"),
            kind=Value(DISTURBED),
        )
    )


def _not_valid(ids: Ids) -> QuerySet:
    """The newest signed check of a task, where it is not valid and nobody accepted it in writing."""
    kept = CheckEvent.objects.signed().exclude(superseded_by__state=CheckEvent.State.SIGNED)
    newer = kept.filter(
        Q(work_date__gt=OuterRef("work_date"))
        | Q(work_date=OuterRef("work_date"), signed_at__gt=OuterRef("signed_at")),
        aircraft=OuterRef("aircraft"),
        revision__procedure=OuterRef("revision__procedure"),
    )
    return (
        _of(kept.filter(outcome=CheckEvent.Outcome.NOT_VALID), ids)
        .exclude(decision__accepted=True)
        .filter(~Exists(newer))
        .order_by()
        .values(
            event_key=F("pk"),
            of=F("aircraft"),
            task=F("revision__procedure__title"),
            day=F("work_date"),
            words=Cast("next_action", CharField()),
            number=Value(0),
            kind=Value(NOT_VALID),
        )
    )


def _deactivated(ids: Ids) -> QuerySet:
    """Systems that were deactivated and not returned to use, one row for each aircraft."""
    return (
        _of(standing_deactivations(), ids)
        .order_by()
        .values(
            event_key=F("pk"),
            of=F("aircraft"),
            task=F("revision__procedure__title"),
            day=F("work_date"),
            words=Cast(Value(""), CharField()),
            number=Value(0),
            kind=Value(DEACTIVATED),
        )
    )


def _doubts(ids: Ids) -> Iterator[tuple[int, Reason]]:
    """The latest accepted check of a task, where an instrument found out of calibration would change it."""
    for doubt in against_icing(ids):
        event = doubt.event
        what = f"{event.revision.procedure.title} of {event.work_date:%d %b %Y}"
        state = "is in doubt" if doubt.is_open else "is to be repeated after its review"
        yield event.aircraft_id, Reason(DOUBT, f"{what} {state}: {doubt.words}.", event_id=event.pk)


def of_due_points(ids: Ids, today: dt.date, operator: Operator) -> Iterator[tuple[int, Reason]]:
    """Checks past their tolerance, and checks of which no record counts."""
    points = due_points(today=today, soon_days=operator.due_soon_days).filter(aircraft__in=ids)
    points = points.filter(state__in=(OVERDUE, NO_RECORD))
    columns = ("pk", "aircraft_id", "last_event_id", "state", "due_on", "check_due__title")
    for key, aircraft_id, event_id, state, due_on, task in points.values_list(*columns):
        where = {"due_point_id": key, "event_id": event_id}
        if state == OVERDUE:
            since = f": it was due on {due_on:%d %b %Y}" if due_on else ""
            yield aircraft_id, Reason(LATE, f"{task} is overdue{since}.", **where)
        else:
            yield aircraft_id, Reason(UNKNOWN, f"No valid record of {task}.", **where)
