"""What an instrument found out of calibration puts in doubt: the traceback of every check that it touched.

A finding touches each signed check that holds a reading of the instrument taken from its last good
calibration to the day of the finding, both days included; that is asked anew each time, so a draft signed
after the finding is among them. What each outcome would have been is judged by the engine, with every value
of the instrument shifted by the error found; nothing that was signed changes. The error is taken as one
difference over the whole range, and as there from the first day: where it grew, this errs on the safe side.

A check is in doubt until an authorised person has reviewed it in writing.
"""

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from uuid import UUID

from django.db.models import Case, Exists, F, OuterRef, Prefetch, Q, QuerySet, Value, When

from checks.engine.units import difference_to_canonical
from checks.models import CheckEvent, DoubtReview, InstrumentFinding, Result
from checks.selectors.due_counting import usable_events
from checks.services.evaluate import Evaluation, Grounds, evaluate
from checks.services.what_if import grounds_of_many
from fleet.models import Calibration, Instrument
from fleet.models.instruments import OUT_OF_CALIBRATION

NOT_KNOWN = "not known"
IN_DOUBT, STANDS, TO_BE_REPEATED = "in doubt", "reviewed: stands", "reviewed: to be repeated"
SUPERSEDED = "superseded"


@dataclass(frozen=True)
class Shift:
    """One measuring point as recorded and with the error corrected; canonical units."""

    recorded: Result
    value: Decimal | None
    outcome: str


@dataclass(frozen=True)
class Doubt:
    """One check that a finding touches. corrected: None where the error is not known."""

    finding: InstrumentFinding
    event: CheckEvent
    corrected: Evaluation | None
    shifts: tuple[Shift, ...]
    review: DoubtReview | None
    superseded: bool

    @property
    def state(self) -> str:
        if self.review:
            return STANDS if self.review.accepted else TO_BE_REPEATED
        return SUPERSEDED if self.superseded else IN_DOUBT

    @property
    def outcome(self) -> str:
        """The outcome with the error corrected; what was signed stays as it is."""
        return self.corrected.outcome if self.corrected else NOT_KNOWN

    @property
    def would_change(self) -> bool:
        """Whether the outcome would have been another one, or nobody can say."""
        return self.corrected is None or self.corrected.outcome != self.event.outcome

    @property
    def is_open(self) -> bool:
        return self.state == IN_DOUBT

    @property
    def against(self) -> bool:
        """Whether nobody may rely on the check: it would have changed, or a person said so."""
        return self.state == TO_BE_REPEATED or (self.is_open and self.would_change)

    @property
    def words(self) -> str:
        """Why the check is in doubt, in one sentence."""
        found = (
            f"{self.finding.instrument.code} was found out of calibration on {self.finding.found_on:%d %b %Y}"
        )
        if self.corrected is None:
            return f"{found}, by how much is not known"
        if not self.would_change:
            return f"{found}; with the error corrected it would still be {self.outcome}"
        return f"{found}; with the error corrected it would be {self.outcome}"


def standing_findings() -> QuerySet[InstrumentFinding]:
    """The findings that no later one took the place of."""
    related = ("instrument", "calibration", "reported_by", "record__chain__aircraft")
    return InstrumentFinding.objects.filter(replaced_by=None).select_related(*related)


def with_findings(instruments: QuerySet[Instrument], on: dt.date) -> QuerySet[Instrument]:
    """Instruments of with_calibration, where `calibration_state` also knows of findings by the day: an
    instrument found out of calibration is so until it is calibrated anew, whatever its due date says."""
    since = Calibration.objects.filter(
        instrument=OuterRef("instrument"), calibrated_on__gte=OuterRef("found_on"), calibrated_on__lte=on
    )
    found = InstrumentFinding.objects.filter(instrument=OuterRef("pk"), found_on__lte=on)
    out = When(Exists(found.filter(~Exists(since))), then=Value(OUT_OF_CALIBRATION))
    return instruments.annotate(calibration_state=Case(out, default=F("calibration_state")))


def _touching() -> QuerySet[InstrumentFinding]:
    """The standing findings that touch the event of an outer query."""
    begun = Q(calibration=None) | Q(calibration__calibrated_on__lte=OuterRef("work_date"))
    return InstrumentFinding.objects.filter(
        begun,
        replaced_by=None,
        found_on__gte=OuterRef("work_date"),
        instrument__readings__event=OuterRef("pk"),
    )


def touched(events: QuerySet[CheckEvent] | None = None) -> QuerySet[CheckEvent]:
    """Those of the events (None: all) that are signed and touched by a standing finding."""
    signed = CheckEvent.objects.signed() if events is None else events.filter(state=CheckEvent.State.SIGNED)
    return signed.filter(Exists(_touching()))


def with_doubt(events: QuerySet[CheckEvent]) -> QuerySet[CheckEvent]:
    """Adds `in_doubt` (bool): signed, touched, not superseded and not reviewed. No query of its own."""
    reviewed = DoubtReview.objects.filter(finding=OuterRef("pk"), event=OuterRef(OuterRef("pk")))
    later = CheckEvent.objects.signed().filter(supersedes=OuterRef("pk"))
    unreviewed = Exists(_touching().filter(~Exists(reviewed)))
    signed = Q(state=CheckEvent.State.SIGNED)
    return events.annotate(in_doubt=Q(signed & Q(unreviewed) & ~Q(Exists(later))))


def traceback(finding: InstrumentFinding) -> list[Doubt]:
    """Every check that the finding touches, the newest work first. A fixed number of queries."""
    own = Q(readings__instrument=finding.instrument_id, work_date__lte=finding.found_on)
    if finding.begins_on:
        own &= Q(work_date__gte=finding.begins_on)
    return _doubts(CheckEvent.objects.signed().filter(own).distinct(), [finding])


def drafts_with(finding: InstrumentFinding) -> int:
    """How many drafts hold readings that would be in doubt as soon as they are signed. One query."""
    drafts = CheckEvent.objects.filter(
        state=CheckEvent.State.DRAFT,
        readings__instrument=finding.instrument_id,
        work_date__lte=finding.found_on,
    )
    return drafts.distinct().count()


def doubts_of(event: CheckEvent) -> list[Doubt]:
    """What stands in doubt, or stood before its review, about one check. One query where nothing does."""
    findings = list(standing_findings())
    if not findings or event.is_draft:
        return []
    return _doubts(touched(CheckEvent.objects.filter(pk=event.pk)), findings)


def against_icing(aircraft_ids: Iterable[int] | QuerySet) -> list[Doubt]:
    """The doubts that count against flight in icing: about the latest accepted check of an aircraft and task.

    A later one that is accepted takes its place: with another instrument it ends the matter, with the same
    one it is in doubt itself. One query where there is no finding, else a fixed number.
    """
    findings = list(standing_findings())
    if not findings:
        return []
    usable = usable_events().filter(aircraft__in=aircraft_ids)
    newer = usable_events().filter(
        Q(work_date__gt=OuterRef("work_date"))
        | Q(work_date=OuterRef("work_date"), signed_at__gt=OuterRef("signed_at")),
        aircraft=OuterRef("aircraft"),
        revision__procedure=OuterRef("revision__procedure"),
    )
    latest = touched(usable).filter(~Exists(newer))
    return [doubt for doubt in _doubts(latest, findings) if doubt.against]


def _doubts(events: QuerySet[CheckEvent], findings: list[InstrumentFinding]) -> list[Doubt]:
    """Each pair of an event and a finding that touches it."""
    results = Prefetch("results", Result.objects.select_related("point"))
    related = ("aircraft__variant", "base", "revision__procedure", "superseded_by")
    fetched = events.select_related(*related).prefetch_related(results, "observations", "cautions_followed")
    known = list(fetched.order_by(F("work_date").desc(), F("signed_at").desc(), "pk"))
    if not known:
        return []
    reviews = {
        (review.finding_id, review.event_id): review
        for review in DoubtReview.objects.filter(event__in=known).select_related(
            "reviewed_by", "record__chain"
        )
    }
    grounds = grounds_of_many(known)
    return [
        _doubt(finding, event, grounds, reviews.get((finding.pk, event.pk)))
        for event in known
        for finding in findings
        if finding.covers(event.work_date) and _reads(grounds[event.pk], finding.instrument_id)
    ]


def _reads(grounds: Grounds, instrument_id: int) -> bool:
    return any(one.instrument_id == instrument_id for rows in grounds.readings.values() for one in rows)


def _doubt(
    finding: InstrumentFinding,
    event: CheckEvent,
    grounds: Mapping[UUID, Grounds],
    review: DoubtReview | None,
) -> Doubt:
    later = getattr(event, "superseded_by", None)
    corrected = None
    if finding.error is not None:
        amount = -difference_to_canonical(finding.error, finding.instrument.unit)
        corrections = {finding.instrument_id: amount}
        corrected = evaluate(event, corrections=corrections, grounds=grounds[event.pk])
    return Doubt(
        finding,
        event,
        corrected,
        tuple(_shifts(event, corrected)),
        review,
        superseded=later is not None and not later.is_draft,
    )


def _shifts(event: CheckEvent, corrected: Evaluation | None) -> Iterable[Shift]:
    """The points that the correction moves, in value or in limit."""
    lines = {line.point.pk: line for line in corrected.points} if corrected else {}
    for result in event.results.all():
        line = lines.get(result.point_id)
        if line is None:
            continue
        moved = (line.judged.value, line.outcome) != (result.value, result.outcome)
        if moved:
            yield Shift(result, line.judged.value, line.outcome)
