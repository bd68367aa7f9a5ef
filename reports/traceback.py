"""What the traceback of an instrument out of calibration says: the finding, and every check touched."""

import datetime as dt
from dataclasses import dataclass

from django.utils import timezone

from checks.models import InstrumentFinding
from checks.selectors.doubt import Doubt, drafts_with, traceback
from checks.views.doubt_words import error_words, shift_words
from fleet.models import Operator
from reports.record_story import references, signatory_words


@dataclass(frozen=True)
class TracedCheck:
    """One check: as recorded, with the error corrected, and what a person made of it.

    shifts: the measuring points that the error moves, in words. review: empty while it is in doubt.
    """

    record: str
    on: dt.date
    registration: str
    base: str
    task: str
    recorded: str
    corrected: str
    would_change: bool
    shifts: tuple[str, ...]
    state: str
    review: str


@dataclass(frozen=True)
class InstrumentTraceback:
    """One finding as it stood at `made_at`. begins_on: None where no good calibration is on file."""

    operator: str
    is_demo: bool
    made_at: dt.datetime
    record: str
    instrument_code: str
    instrument: str
    serial_number: str
    owner: str
    found_on: dt.date
    begins_on: dt.date | None
    certificate: str
    error: str
    error_known: bool
    text: str
    reported: str
    replaced_by: str
    checks: tuple[TracedCheck, ...]
    drafts: int

    @property
    def would_change(self) -> int:
        return sum(check.would_change for check in self.checks)

    @property
    def in_doubt(self) -> int:
        return sum(check.state == "in doubt" for check in self.checks)


def instrument_traceback(
    finding: InstrumentFinding, *, now: dt.datetime | None = None
) -> InstrumentTraceback:
    """The traceback of a finding. A fixed number of queries, however many checks it touched."""
    operator, doubts = Operator.current(), traceback(finding)
    known = references(doubt.event.pk for doubt in doubts)
    good, instrument = finding.calibration, finding.instrument
    later = getattr(finding, "replaced_by", None)
    return InstrumentTraceback(
        operator=operator.name,
        is_demo=operator.is_demo,
        made_at=timezone.localtime(now),
        record=finding.record.reference,
        instrument_code=instrument.code,
        instrument=f"{instrument}, {instrument.description}".rstrip(", "),
        serial_number=instrument.serial_number,
        owner=instrument.owner,
        found_on=finding.found_on,
        begins_on=finding.begins_on,
        certificate=good.certificate_number if good else "",
        error=error_words(finding),
        error_known=finding.error is not None,
        text=finding.text,
        reported=f"{finding.reported_by}, {finding.reported_at:%d %b %Y}",
        replaced_by=later.record.reference if later else "",
        checks=tuple(_traced(doubt, known.get(doubt.event.pk, "")) for doubt in doubts),
        drafts=drafts_with(finding),
    )


def _traced(doubt: Doubt, record: str) -> TracedCheck:
    event, review = doubt.event, doubt.review
    said = ""
    if review:
        by = signatory_words(review.record) or str(review.reviewed_by)
        said = f"{review.text} {by}, {review.reviewed_at:%d %b %Y}, record {review.record.reference}"
    return TracedCheck(
        record=record,
        on=event.work_date,
        registration=event.aircraft.registration,
        base=event.base.name,
        task=event.revision.procedure.title,
        recorded=event.outcome,
        corrected=doubt.outcome,
        would_change=doubt.would_change,
        shifts=tuple(shift_words(shift) for shift in doubt.shifts),
        state=doubt.state,
        review=said,
    )
