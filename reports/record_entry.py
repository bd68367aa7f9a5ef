"""The entry itself: aircraft, work and procedure, where it came from, what corrects it, what was approved."""

import datetime as dt
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from uuid import UUID

from checks.models import CheckEvent, Record, Signature
from checks.services.evaluate import blind_spots
from fleet.models import Operator
from reports.record_lines import PointLine, Seen


@dataclass(frozen=True)
class Work:
    """What was done, on which aircraft, by which revision: names as they were when it was signed."""

    registration: str
    serial_number: str
    aircraft_type: str
    variant: str
    base: str
    task: str
    task_code: str
    revision: str
    source_reference: str
    effective_on: dt.date
    jasc: str
    done_on: dt.date
    signed_at: dt.datetime
    hours: Decimal | None
    landings: int | None
    remarks: str
    resets: tuple[str, ...]


@dataclass(frozen=True)
class Conclusion:
    """What the readings said when it was signed, and what the method can't see."""

    outcome: str
    next_action: str
    reasons: tuple[str, ...]
    blind_spots: tuple[str, ...]


@dataclass(frozen=True)
class Inspection:
    """What an inspection record states besides: a person's approval, or that there is none."""

    extent: str
    statement: str
    discrepancies: tuple[str, ...]


@dataclass(frozen=True)
class Paper:
    """Where an entry from paper records came from."""

    source: str
    imported_by: str
    imported_at: dt.datetime
    accepted_by: str


@dataclass(frozen=True)
class Change:
    """A correction seen from one side: the record on the other, signed when, and why it was corrected."""

    record: str
    at: dt.datetime
    reason: str


def work_of(event: CheckEvent, first: Record) -> Work:
    """first: the link that carries the whole event. One query, for the series that start anew."""
    names, procedure = json.loads(first.canonical)["names"], event.revision.procedure
    resets = event.resets.select_related("point").order_by("point__order", "point__code")
    return Work(
        registration=names["aircraft"],
        serial_number=names["serial_number"],
        aircraft_type=event.aircraft.type_name,
        variant=event.aircraft.variant.name,
        base=names["base"],
        task=names["procedure"],
        task_code=procedure.code,
        revision=names["revision"],
        source_reference=names["source_reference"],
        effective_on=event.revision.effective_on,
        jasc=procedure.jasc,
        done_on=event.work_date,
        signed_at=event.signed_at,
        hours=event.hours,
        landings=event.landings,
        remarks=event.remarks,
        resets=tuple(f"{one.point.name} ({one.get_why_display()})" for one in resets),
    )


def conclusion_of(event: CheckEvent, points: Sequence[PointLine]) -> Conclusion:
    """points: those that were judged. No query."""
    feels_panels = any(point.feels_panels for point in points)
    return Conclusion(
        outcome=event.outcome,
        next_action=event.next_action,
        reasons=tuple(event.outcome_reason.splitlines()),
        blind_spots=blind_spots(event.aircraft.variant, feels_panels=feels_panels),
    )


def paper_of(event: CheckEvent) -> Paper | None:
    """None for a check that was entered here. No query."""
    batch = event.import_batch
    if batch is None:
        return None
    source = f"{batch.file_name}, line {event.import_line}"
    return Paper(source, str(batch.imported_by), batch.imported_at, str(batch.accepted_by))


def superseded_by(event: CheckEvent, known: Mapping[UUID, str]) -> Change | None:
    """The signed correction that took its place. No query."""
    later = getattr(event, "superseded_by", None)
    if later is None or later.is_draft:
        return None
    return Change(known[later.pk], later.signed_at, later.correction_reason)


def supersedes(event: CheckEvent, known: Mapping[UUID, str]) -> Change | None:
    """The entry whose place it took. No query."""
    earlier = event.supersedes
    return earlier and Change(known[earlier.pk], earlier.signed_at, event.correction_reason)


def inspection_of(
    event: CheckEvent,
    operator: Operator,
    release: Signature | None,
    points: Sequence[PointLine],
    seen: Sequence[Seen],
) -> Inspection | None:
    """What 14 CFR 43.11(a) asks besides; None where the task is no inspection or no such record is kept."""
    procedure = event.revision.procedure
    if not (procedure.is_inspection and operator.inspection_records):
        return None
    over = [one for one in points if one.outcome == CheckEvent.Outcome.OVER]
    found = [f"{one.name}: {reason}" for one in over for reason in one.reasons]
    found += [f"{one.where}: {one.remark or 'not satisfactory'}" for one in seen if not one.satisfactory]
    return Inspection(procedure.extent or procedure.title, _statement(event, release), tuple(found))


def _statement(event: CheckEvent, release: Signature | None) -> str:
    if release:
        who = f"{release.name}, {release.certificate_kind} {release.certificate_number}"
        return f"Approved for return to service as far as this work goes: {who}."
    if event.source == CheckEvent.Source.IMPORTED:
        return "Approved or disapproved: as the paper record states; nothing was taken over."
    return (
        "Approved or disapproved: neither. No person has approved the aircraft for return to service in this "
        "record, and an outcome is no approval and no disapproval."
    )
