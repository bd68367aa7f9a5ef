"""Starting a check, and keeping its draft while it is being carried out.

Whoever may record may write in a draft. Who holds it (services/handover.py) alone signs it as performed.
"""

import datetime as dt
import uuid as uuids
from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from checks.engine.units import parse_decimal
from checks.models import (
    CautionFollowed,
    CheckEvent,
    EntryQuestion,
    FirstReading,
    Observation,
    Procedure,
    Reading,
    Revision,
)
from checks.selectors.copies import heeded_today
from checks.services.errors import Conflict, Problem, RecordError, from_validation, refuse_if
from checks.services.inputs import EVENT_FIELDS, DraftInput
from checks.services.persons import may
from checks.services.photo_files import drop_afterwards
from checks.services.rows import DraftRows, rows_of
from fleet.models import Aircraft, Base, FluidBatch, User, UtilisationEntry

PERFORM = "checks.record_check"


@dataclass(frozen=True)
class Saved:
    """A draft as kept, and what of the form could not be kept. The form shows its own text again."""

    event: CheckEvent
    problems: tuple[Problem, ...]


@transaction.atomic
def start_check(
    *,
    aircraft: Aircraft,
    procedure: Procedure,
    by: User,
    work_date: dt.date,
    uuid: uuids.UUID | None = None,
    base: Base | None = None,
    follows: CheckEvent | None = None,
) -> CheckEvent:
    """A new draft on the revision in force on the day of work; the same call with the same uuid returns it.

    Raises Conflict where the uuid stands for another check (both stay: start anew with a uuid of its own),
    RecordError where nobody may work so: no permission, no revision in force, another variant, a day to come.
    """
    may(by, PERFORM)
    return begin(
        aircraft=aircraft,
        procedure=procedure,
        by=by,
        work_date=work_date,
        uuid=uuid,
        base=base,
        follows=follows,
    )


@transaction.atomic
def begin(
    *,
    aircraft: Aircraft,
    procedure: Procedure,
    by: User,
    work_date: dt.date,
    uuid: uuids.UUID | None = None,
    base: Base | None = None,
    follows: CheckEvent | None = None,
) -> CheckEvent:
    """What start_check does, for a caller that has looked at who may: work may be begun for somebody else."""
    if uuid:
        # The same draft sent twice at once: the second one waits here until the first is kept.
        Aircraft.objects.select_for_update(no_key=True).get(pk=aircraft.pk)
        existing = CheckEvent.objects.filter(pk=uuid).first()
        if existing:
            return _same(existing, aircraft, procedure, work_date)
    base = base or aircraft.base
    _startable(aircraft, procedure, work_date, base, follows)
    totals = UtilisationEntry.objects.standing().filter(aircraft=aircraft, on__lte=work_date)
    latest = totals.order_by("-on", "-pk").first()
    event = CheckEvent(
        uuid=uuid or uuids.uuid4(),
        aircraft=aircraft,
        revision=revision_in_force(procedure, work_date),
        base=base,
        work_date=work_date,
        started_by=by,
        follows=follows,
        hours=latest.hours if latest else None,
        landings=latest.landings if latest else None,
    )
    event.full_clean()
    event.save(force_insert=True)
    # On a retest of the same day the warnings that the person acknowledged are shown, not asked again.
    CautionFollowed.objects.bulk_create(
        CautionFollowed(event=event, step_id=step) for step in sorted(heeded_today(event, by))
    )
    return event


def revision_in_force(procedure: Procedure, on: dt.date) -> Revision:
    """The revision that a check on the day follows. RecordError names what stands in the way."""
    revision = Revision.objects.in_force(on).filter(procedure=procedure).first()
    if revision is None:
        raise RecordError(
            f"{procedure} has no approved revision in force on {on:%d %b %Y}. "
            "Ask the director of maintenance to approve one, or correct the date of work.",
            field="work_date",
        )
    return revision


@transaction.atomic
def save_draft(*, event: CheckEvent, by: User, given: DraftInput) -> Saved:
    """Keep what could be read of the form; the rest comes back as problems by name of form field.

    The rows of the form replace all rows of the draft. A fixed number of queries, however many rows.
    RecordError where it is no draft any more.
    """
    may(by, PERFORM)
    event = locked_draft(event)
    rows = rows_of(event, given)
    problems = [*_set_fields(event, given), *rows.problems]
    event.save(update_fields=[*EVENT_FIELDS])
    _replace(event, rows)
    return Saved(event, tuple(problems))


@transaction.atomic
def discard_draft(*, event: CheckEvent, by: User) -> None:
    """Throw a draft away. A signed check stays for ever, and a draft as long as something that it disturbed
    is not recorded as put back: the only word of that would go with it."""
    may(by, PERFORM)
    event = locked_draft(event)
    left = event.cautions_followed.filter(restored=False).exclude(step__restore_text="")
    refuse_if(
        f"Not thrown away: step {step} is not recorded as put back ({words}). Record that and save first."
        for step, words in left.order_by("step__number").values_list("step__number", "step__restore_text")
    )
    names = list(event.photos.values_list("stored", flat=True))
    event.delete()
    drop_afterwards(names)


def locked_draft(event: CheckEvent) -> CheckEvent:
    """The event as it is now, its row locked. RecordError where it was signed meanwhile. One query."""
    fetched = CheckEvent.objects.select_for_update(of=("self",)).select_related(
        "aircraft__variant", "revision__procedure", "base"
    )
    event = fetched.get(pk=event.pk)
    if not event.is_draft:
        raise RecordError(
            "This check is signed and can't change. Correct it by a new signed entry that supersedes it."
        )
    return event


def _same(existing: CheckEvent, aircraft: Aircraft, procedure: Procedure, work_date: dt.date) -> CheckEvent:
    kept = (existing.aircraft_id, existing.revision.procedure_id, existing.work_date)
    if kept == (aircraft.pk, procedure.pk, work_date):
        return existing
    raise Conflict(
        f"This check's key already stands for “{existing}”. Both are kept: start this one anew.",
        existing=existing,
    )


def _startable(
    aircraft: Aircraft, procedure: Procedure, work_date: dt.date, base: Base, follows: CheckEvent | None
) -> None:
    problems = []
    if procedure.variant_id != aircraft.variant_id:
        problems.append(
            Problem(
                f"“{procedure}” does not serve {aircraft} ({aircraft.variant}). Choose that variant's task.",
                "procedure",
            )
        )
    if work_date > timezone.localdate(timezone=base.zone):
        problems.append(Problem("The date of work is still to come. Enter the day of the work.", "work_date"))
    if follows and (follows.aircraft_id != aircraft.pk or follows.is_draft):
        problems.append(
            Problem("A check follows a signed check of the same aircraft. Sign that one first.", "follows")
        )
    if problems:
        raise RecordError(*problems)


def _set_fields(event: CheckEvent, given: DraftInput) -> list[Problem]:
    """Put the typed fields into the event; one that can't be read keeps its earlier value."""
    problems: list[Problem] = []
    for name, text in given.fields.items():
        if name not in EVENT_FIELDS:
            continue
        before = getattr(event, _attribute(name))
        try:
            setattr(event, _attribute(name), _field_value(name, text.strip()))
            event.clean_fields(exclude={f.name for f in event._meta.fields} - {name})
        except ValueError as error:
            problems.append(Problem(f"{_label(name)}: {error}.", name))
            setattr(event, _attribute(name), before)
        except ValidationError as error:
            problems += from_validation(error, f"{_label(name)}: ")
            setattr(event, _attribute(name), before)
    return problems


def _attribute(name: str) -> str:
    return CheckEvent._meta.get_field(name).attname


def _label(name: str) -> str:
    return str(CheckEvent._meta.get_field(name).verbose_name).capitalize()


def _field_value(name: str, text: str) -> object:
    """The value of one event field. ValueError says what is wrong."""
    if name in ("hours", "supply_voltage") and text:
        number = parse_decimal(text)
        return number if name == "hours" else text
    if name == "landings" and text and not text.isdecimal():
        raise ValueError(f"{text!r} is not a whole number; write digits only, as 1520")
    if name in ("hours", "landings"):
        return int(text) if text else None
    if name == "temperature_from_memory":
        return text in ("yes", "on", "true")
    if name == "hose_bled":
        return {"yes": True, "no": False}.get(text)
    if name in ("base", "fluid_batch"):
        return _key(name, text)
    return text


def _key(name: str, text: str) -> int | None:
    model = {"base": Base, "fluid_batch": FluidBatch}[name]
    if not text and name == "fluid_batch":
        return None
    if not text.isdecimal() or not model.objects.filter(pk=int(text)).exists():
        raise ValueError("it is not on file; choose one from the list")
    return int(text)


def _replace(event: CheckEvent, rows: DraftRows) -> None:
    Reading.objects.filter(event=event).delete()
    Reading.objects.bulk_create(rows.readings)
    Observation.objects.filter(event=event).delete()
    Observation.objects.bulk_create(rows.observations)
    # An acknowledgement that stays keeps the time at which it was given.
    kept = {row.step_id: row for row in event.cautions_followed.all()}
    wanted = {row.step_id: row for row in rows.cautions}
    CautionFollowed.objects.filter(event=event).exclude(step__in=list(wanted)).delete()
    CautionFollowed.objects.bulk_create(row for step, row in wanted.items() if step not in kept)
    changed = [kept[s] for s, row in wanted.items() if s in kept and kept[s].restored != row.restored]
    for row in changed:
        row.restored = wanted[row.step_id].restored
    CautionFollowed.objects.bulk_update(changed, ["restored"])
    FirstReading.objects.filter(event=event).delete()
    FirstReading.objects.bulk_create(rows.first)
    EntryQuestion.objects.filter(event=event).delete()
    EntryQuestion.objects.bulk_create(rows.questions)
