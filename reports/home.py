"""What each role's home says: the next work here, what is pressing, what waits for a person.

One function a section; each costs a fixed number of queries, however large the fleet and its history.
"""

import datetime as dt
import uuid as uuids
from dataclasses import dataclass

from django.db.models import Case, Exists, F, IntegerField, OuterRef, Q, QuerySet, Sum, Value, When
from django.utils import timezone

from checks.engine.due import DUE_SOON, IN_TOLERANCE, NO_RECORD, OVERDUE
from checks.engine.outcome import DECIDE_IN_WRITING
from checks.models import (
    ChainHead,
    CheckEvent,
    Defect,
    DuePoint,
    Extension,
    Handover,
    MelItem,
    Record,
    Signature,
)
from checks.selectors.aircraft import still_disturbed
from checks.selectors.check_start import open_drafts
from checks.selectors.defects import DEFERRED, EXPIRED, NOT_KNOWN, OPEN, DefectShown, shown_of, with_states
from checks.selectors.doubt import with_findings
from checks.selectors.due import ORDER, DueRow, StateCount, count_states, due_points, due_rows
from checks.selectors.handover import held_by, holders, offered_to
from checks.selectors.icing import IcingStatus, icing_statuses
from checks.selectors.release import deferral_day
from fleet.models import Base, Instrument, Operator, User
from fleet.models.instruments import DUE_SOON as CALIBRATION_SOON
from fleet.models.instruments import OUT_OF_CALIBRATION

HEAD = 8  # lines of each list; the page that the list belongs to shows all
PRESSING = (OVERDUE, IN_TOLERANCE, DUE_SOON, NO_RECORD)
DEFERRAL_DAYS = 14
RELEASE_DAYS = 60  # older work without a release stays among the records
HEADS = 40  # chains whose heads the auditor's home lists


@dataclass(frozen=True)
class Work:
    """One due check with all that a tap needs to start it."""

    row: DueRow
    procedure_id: int
    base_id: int
    work_date: dt.date
    uuid: uuids.UUID


@dataclass(frozen=True)
class Draft:
    """A check begun and not signed, with what it left disturbed and who holds it."""

    event: CheckEvent
    disturbed: tuple[str, ...]
    holder: User


@dataclass(frozen=True)
class Technician:
    """The next work at a base (None: everywhere). `pressing` counts all of the work, `work` is its head."""

    base: Base | None
    offered: tuple[Handover, ...]
    drafts: tuple[Draft, ...]
    defects: tuple[DefectShown, ...]
    work: tuple[Work, ...]
    pressing: int


def technician(user: User, at: dt.datetime) -> Technician:
    """What is handed to the person; drafts, open defects and pressing checks at the own base. Ten queries."""
    base = user.home_base
    today = timezone.localdate(at, base.zone if base else None)
    at_base = Q(aircraft__base=base) if base else Q()
    own = Q(started_by=user) | Q(pk__in=held_by(user).values("pk"))
    drafts = list(open_drafts().filter(at_base | own)[:HEAD])
    disturbed, holder = still_disturbed(drafts), holders(drafts)
    points = due_points(today=today, soon_days=Operator.current().due_soon_days)
    points = points.filter(at_base, state__in=PRESSING)
    return Technician(
        base=base,
        offered=tuple(offered_to(user)),
        drafts=tuple(
            Draft(one, tuple(disturbed.get(one.pk, ())), holder.get(one.pk, one.started_by)) for one in drafts
        ),
        defects=tuple(open_defects(Defect.objects.filter(at_base), at)),
        work=tuple(work_of(points, today)),
        pressing=points.count(),
    )


def work_of(points: QuerySet[DuePoint], today: dt.date) -> list[Work]:
    """The head of the points, the most pressing state first. Two queries."""
    rank = Case(
        *(When(state=state, then=Value(place)) for place, state in enumerate(PRESSING)),
        output_field=IntegerField(),
    )
    rows = list(due_rows(points.order_by(rank, *ORDER)[:HEAD], today=today))
    keys = DuePoint.objects.filter(pk__in=[row.point_id for row in rows])
    found = {
        key: (procedure, base)
        for key, procedure, base in keys.values_list("pk", "check_due__procedure", "aircraft__base")
    }
    return [Work(row, *found[row.point_id], today, uuids.uuid4()) for row in rows]


def open_defects(defects: QuerySet[Defect], at: dt.datetime) -> list[DefectShown]:
    """The newest defects that nobody deferred, or whose deferral ran out. Three queries."""
    today = deferral_day(at)
    pressing = with_states(defects, today).filter(now_is__in=(OPEN, EXPIRED, NOT_KNOWN))
    keys = list(pressing.order_by("-raised_at").values_list("pk", flat=True)[:HEAD])
    return shown_of(Defect.objects.filter(pk__in=keys), today)


@dataclass(frozen=True)
class Signer:
    """What awaits a second signature, a written decision, a release, a rectification. Lists are heads."""

    inspections: tuple[CheckEvent, ...]
    decisions: tuple[CheckEvent, ...]
    releases: tuple[CheckEvent, ...]
    releases_in_all: int
    defects: tuple[DefectShown, ...]
    days: int = RELEASE_DAYS


def signer(user: User, at: dt.datetime) -> Signer:
    """By what the person's role may sign. Eight queries at most."""
    inspects, releases = user.has_perm("checks.inspect_check"), user.has_perm("checks.release_check")
    decides, rectifies = user.has_perm("checks.decide_reading"), user.has_perm("checks.rectify_defect")
    since = timezone.localdate(at) - dt.timedelta(days=RELEASE_DAYS)
    awaiting = awaiting_release().filter(work_date__gte=since)
    return Signer(
        inspections=tuple(_head(awaiting_inspection(user))) if inspects else (),
        decisions=tuple(_head(awaiting_decision())) if decides else (),
        releases=tuple(_head(awaiting)) if releases else (),
        releases_in_all=awaiting.count() if releases else 0,
        defects=tuple(open_defects(Defect.objects.all(), at)) if rectifies else (),
    )


def standing_entries() -> QuerySet[CheckEvent]:
    """Signed checks entered here that nobody corrected, with `inspected` and `released` (bool)."""
    given = Signature.objects.filter(event=OuterRef("pk"))
    return (
        CheckEvent.objects.signed()
        .filter(source=CheckEvent.Source.ENTERED)
        .exclude(superseded_by__state=CheckEvent.State.SIGNED)
        .annotate(
            inspected=Exists(given.filter(act=Signature.Act.INSPECTED)),
            released=Exists(given.filter(act=Signature.Act.RELEASED)),
        )
    )


def awaiting_inspection(user: User) -> QuerySet[CheckEvent]:
    """Checks that lack the second signature and that this person did not sign."""
    own = Signature.objects.filter(event=OuterRef("pk"), person=user)
    lacking = standing_entries().filter(revision__procedure__needs_inspection=True, inspected=False)
    return lacking.filter(~Exists(own))


def awaiting_release() -> QuerySet[CheckEvent]:
    """The newest attempt of each occasion where it is not released and lacks no second signature.

    A check that a later signed one follows (purge, test again) is not released by itself.
    """
    later = CheckEvent.objects.signed().filter(follows=OuterRef("pk"))
    lacking = Q(revision__procedure__needs_inspection=True, inspected=False)
    return standing_entries().filter(~lacking, ~Exists(later), released=False)


def awaiting_decision() -> QuerySet[CheckEvent]:
    """Checks in which too low a reading is all that is not valid, and nobody decided yet."""
    only = ~Q(outcome=CheckEvent.Outcome.NOT_VALID) | Q(next_action=DECIDE_IN_WRITING)
    return standing_entries().filter(only, too_low=True, decision=None)


def _head(events: QuerySet[CheckEvent]) -> QuerySet[CheckEvent]:
    related = events.select_related("aircraft", "base", "revision__procedure")
    return related.order_by("-work_date", "-signed_at")[:HEAD]


@dataclass(frozen=True)
class Controller:
    """What is due and recorded against, instruments and deferrals that run out. Lists are heads."""

    counts: tuple[StateCount, ...]
    due: tuple[DueRow, ...]
    icing: tuple[IcingStatus, ...]
    against: int
    aircraft: int
    instruments: tuple[Instrument, ...]
    instruments_in_all: int
    deferrals: tuple[DefectShown, ...]


def controller(at: dt.datetime) -> Controller:
    """Fifteen queries at most."""
    today = timezone.localdate(at)
    soon_days = Operator.current().due_soon_days
    points = due_points(today=today, soon_days=soon_days)
    statuses = icing_statuses(at=at)
    against = [status for status in statuses if status.reasons]
    instruments = (
        with_findings(Instrument.objects.with_calibration(today, soon_days), today)
        .filter(in_use=True, calibration_state__in=(OUT_OF_CALIBRATION, CALIBRATION_SOON))
        .select_related("base")
        .order_by("calibration_due", "code")
    )
    return Controller(
        counts=tuple(count_states(points)[0]),
        due=tuple(work.row for work in work_of(points.filter(state__in=PRESSING), today)),
        icing=tuple(against[:HEAD]),
        against=len(against),
        aircraft=len(statuses),
        instruments=tuple(instruments[:HEAD]),
        instruments_in_all=instruments.count(),
        deferrals=tuple(deferrals_ending(at)),
    )


def deferrals_ending(at: dt.datetime) -> list[DefectShown]:
    """Deferred defects whose last day has come or comes within a fortnight, or of which the recorded
    use can't tell; the earliest first."""
    today = deferral_day(at)
    soon = today + dt.timedelta(days=DEFERRAL_DAYS)
    ending = with_states(Defect.objects.all(), today).filter(
        Q(now_is__in=(DEFERRED, EXPIRED), holds_until__lte=soon) | Q(now_is=NOT_KNOWN)
    )
    keys = list(ending.order_by("pk").values_list("pk", flat=True))
    found = shown_of(Defect.objects.filter(pk__in=keys), today)
    return sorted(found, key=lambda one: one.deferral.last_day or today)[:HEAD]


@dataclass(frozen=True)
class Answers:
    """What waits for a person who approves: extensions asked for, items of the MEL that were typed."""

    extensions: tuple[Extension, ...]
    items: tuple[MelItem, ...]


def answers_waiting() -> Answers:
    """Two queries."""
    asked = Extension.objects.filter(answer=None, deferral__defect__rectification=None)
    return Answers(
        tuple(asked.select_related("deferral__defect__aircraft", "asked_by").order_by("asked_at")[:HEAD]),
        tuple(MelItem.objects.filter(approved_at=None).select_related("typed_by")[:HEAD]),
    )


@dataclass(frozen=True)
class Auditor:
    """Where the records are: how many, in how many chains, and the heads to compare with."""

    records: int
    chains: int
    newest: Record | None
    heads: tuple[ChainHead, ...]
    corrections: int
    imported: int


def auditor() -> Auditor:
    """Six queries."""
    heads = ChainHead.objects.filter(number__gt=0).select_related("aircraft")
    events = CheckEvent.objects.signed()
    return Auditor(
        records=heads.aggregate(number=Sum("number"))["number"] or 0,
        chains=heads.count(),
        newest=Record.objects.select_related("chain__aircraft").order_by("-written_at", "-pk").first(),
        heads=tuple(heads.order_by(F("aircraft__registration").asc(nulls_first=True))[:HEADS]),
        corrections=events.filter(supersedes__isnull=False).count(),
        imported=events.filter(source=CheckEvent.Source.IMPORTED).count(),
    )
