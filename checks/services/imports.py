"""Checks from paper records: kept as events of their own kind, under the signature of who accepts them.

What was read on paper is judged by the limits of the revision in force on the day. That it had settled and
how long was collected is taken from the paper. It counts for due points and drift, and says so.
"""

import datetime as dt
import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction
from django.utils import timezone

from checks.engine.units import to_canonical
from checks.models import CheckEvent, ImportBatch, Procedure, Reading, Signature, Step
from checks.services.errors import RecordError
from checks.services.evaluate import evaluate
from checks.services.freeze import freeze, write_signature
from checks.services.instruments import choice_for
from checks.services.persons import Signatory, may
from checks.services.record import revision_in_force
from checks.services.rows import MEASURING, role_of
from fleet.models import Aircraft, Instrument, User

STATEMENT = "I accept this entry as a true copy of the paper record that it was taken from."


@dataclass(frozen=True)
class PaperReading:
    """One value as written on paper. name: code of a measuring point, or 'temperature'."""

    name: str
    typed: str
    unit: str
    value: Decimal
    instrument: Instrument | None = None


@dataclass(frozen=True)
class PaperCheck:
    """One check as it stands on paper. hours: total flight hours."""

    aircraft: Aircraft
    procedure: Procedure
    work_date: dt.date
    readings: tuple[PaperReading, ...] = ()
    hours: Decimal | None = None
    landings: int | None = None
    remarks: str = ""


@transaction.atomic
def accept_check(*, check: PaperCheck, batch: ImportBatch, line: int, key: str) -> CheckEvent:
    """Keep one check from paper, signed as accepted. key: by which it comes in only once.

    RecordError by field where no revision was in force, the day is still to come, or a value has no step.
    Due points and drift are refreshed by the caller, once for a whole file.
    """
    at = timezone.now()
    signatory = acceptor(batch.accepted_by)
    if check.work_date > timezone.localdate(timezone=check.aircraft.base.zone):
        raise RecordError("The day is still to come. Enter the day of the work.", field="date")
    event = CheckEvent(
        uuid=uuid.uuid4(),
        aircraft=check.aircraft,
        revision=revision_in_force(check.procedure, check.work_date),
        base=check.aircraft.base,
        source=CheckEvent.Source.IMPORTED,
        work_date=check.work_date,
        started_by=batch.imported_by,
        hours=check.hours,
        landings=check.landings,
        temperature_place="as on paper" if check.readings else "",
        remarks=check.remarks,
        import_batch=batch,
        import_line=line,
        import_key=key,
    )
    event.full_clean()
    event.save(force_insert=True)
    Reading.objects.bulk_create(_readings(event, check.readings))
    freeze(event=event, evaluation=evaluate(event), at=at)
    write_signature(event=event, act=Signature.Act.ACCEPTED, signatory=signatory, statement=STATEMENT, at=at)
    return event


def acceptor(person: User) -> Signatory:
    """Who accepts records; a certificate is named where one is on file."""
    may(person, "checks.accept_import")
    none = "none on file"
    return Signatory(
        person,
        person.get_full_name() or person.username,
        person.certificate_number or none,
        person.certificate_kind or none,
        "accepts records from paper",
    )


def _readings(event: CheckEvent, given: Iterable[PaperReading]) -> list[Reading]:
    read = [step for step in event.revision.steps.select_related("point") if step.kind in MEASURING]
    # Paper holds one temperature: it is that of the first step that asks for one.
    steps = {_name(step): step for step in reversed(read)}
    return [_reading(event, steps.get(one.name), one) for one in given]


def _name(step: Step) -> str:
    return step.point.code if step.point else step.quantity


def _reading(event: CheckEvent, step: Step | None, one: PaperReading) -> Reading:
    if step is None:
        raise RecordError(
            f"{event.revision.procedure} reads no such value. Empty the cell, or correct the task.",
            field=one.name,
        )
    calibration = None
    if one.instrument:
        choice = choice_for(step, one.instrument, event.work_date)
        if not choice.ok:
            raise RecordError(f"{choice.why_not} Correct the code, or leave the cell empty.", field=one.name)
        calibration = choice.calibration
    collected = step.kind == Step.Kind.TIMED_COLLECTION
    reading = Reading(
        event=event,
        step=step,
        point=step.point,
        role=role_of(step),
        typed=one.typed,
        unit=one.unit,
        value=to_canonical(one.value, one.unit),
        elapsed_seconds=step.duration_seconds if collected else None,
        instrument=one.instrument,
        calibration=calibration,
        mark="from paper",
    )
    reading.full_clean(exclude=["event"])
    return reading
