"""Typed rows of a draft -> model rows. What can't be read becomes a problem naming row, field and way out."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from decimal import Decimal

from django.core.exceptions import ValidationError

from checks.engine.areas import FLAT, UPRIGHT, joined, split
from checks.engine.units import (
    NEVER_NEGATIVE,
    canonical_unit,
    parse_decimal,
    to_canonical,
    unit_of,
    units_for,
)
from checks.models import (
    CautionFollowed,
    CheckEvent,
    EntryQuestion,
    FirstReading,
    Observation,
    Reading,
    Step,
)
from checks.services.errors import Problem, from_validation
from checks.services.inputs import CautionInput, DraftInput, ObservationInput, ReadingInput
from checks.services.instruments import JUDGED_BY, choice_for, of_codes, out_of_range
from checks.services.repeat_rows import repeats_of
from fleet.models import Instrument, Position

MEASURING = (Step.Kind.MEASURE, Step.Kind.TIMED_SERIES, Step.Kind.TIMED_COLLECTION)
ACKNOWLEDGED = (Step.Kind.WARNING, Step.Kind.CAUTION, Step.Kind.CONFIRM)
# Second row of a timed collection: when it began, on the clock that started with the pump.
STARTED_SEQUENCE = 1


@dataclass
class DraftRows:
    """What could be read, and what could not."""

    readings: list[Reading] = field(default_factory=list)
    observations: list[Observation] = field(default_factory=list)
    cautions: list[CautionFollowed] = field(default_factory=list)
    first: list[FirstReading] = field(default_factory=list)
    questions: list[EntryQuestion] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


def rows_of(event: CheckEvent, given: DraftInput) -> DraftRows:
    """Read a whole form against the event's revision. Four queries, however many rows; three more with codes
    that were typed and chose nothing."""
    steps = {step.pk: step for step in event.revision.steps.select_related("point")}
    positions = {p.pk: p for p in Position.objects.filter(variant_id=event.aircraft.variant_id)}
    named = (*given.readings, *given.repeats)
    keys = {int(r.instrument) for r in named if r.instrument.isdecimal()}
    instruments = Instrument.objects.prefetch_related(*JUDGED_BY).in_bulk(keys)
    codes = of_codes(r.code for r in given.readings)
    rows = DraftRows()
    _each(given.readings, rows, lambda r: _readings(event, r, steps, instruments, codes, rows))
    _each(given.observations, rows, lambda o: _observation(event, o, steps, positions, rows))
    _each(given.cautions, rows, lambda c: _caution(event, c, steps, rows))
    _once_per_place(rows)
    rows.first, rows.questions, problems = repeats_of(
        event, given.repeats, steps, instruments, role=role_of, seconds=parse_seconds
    )
    rows.problems += problems
    return rows


def role_of(step: Step) -> str:
    """What a value of this step is."""
    if step.kind == Step.Kind.TIMED_SERIES:
        return Reading.Role.SERIES
    if step.kind == Step.Kind.TIMED_COLLECTION:
        return Reading.Role.COLLECTION
    return Reading.Role.TEMPERATURE if step.quantity == "temperature" else Reading.Role.SINGLE


def is_start(reading: Reading) -> bool:
    """Whether a row is the start of a timed collection, on the clock that started with the pump."""
    return reading.role == Reading.Role.SINGLE and reading.step.kind == Step.Kind.TIMED_COLLECTION


def parse_seconds(text: str) -> Decimal:
    """'2:30' or '150' -> 150 s. ValueError says what is wrong."""
    minutes, colon, seconds = text.strip().partition(":")
    if not colon:
        value = parse_decimal(minutes)
    elif minutes.isdecimal() and len(seconds) == 2 and seconds.isdecimal() and int(seconds) < 60:
        value = Decimal(int(minutes) * 60 + int(seconds))
    else:
        raise ValueError(
            f"{text.strip()!r} is not a time; write minutes and seconds as 2:30, or seconds as 150"
        )
    if value < 0 or value > 99_999:
        raise ValueError(f"{text.strip()!r} is not a time after the start of the pump; write it as 2:30")
    return value.quantize(Decimal("0.1"))


def _each(given: Iterable, rows: DraftRows, read: Callable) -> None:
    """Read every row; one that fails doesn't keep the others from being read."""
    for one in given:
        try:
            read(one)
        except _Unreadable as error:
            rows.problems.append(error.problem)


class _Unreadable(Exception):
    def __init__(self, message: str, name: str) -> None:
        self.problem = Problem(message, name)
        super().__init__(message)


def _step(steps: dict[int, Step], key: int, kinds: tuple[str, ...], name: str) -> Step:
    step = steps.get(key)
    if step is None or step.kind not in kinds:
        raise _Unreadable("This revision has no such step. Load the page again; what is typed stays.", name)
    return step


def _read(parse: Callable[[str], Decimal], text: str, where: str, name: str) -> Decimal:
    try:
        return parse(text)
    except ValueError as error:
        raise _Unreadable(f"{where}: {error}.", name) from None


def _readings(
    event: CheckEvent,
    given: ReadingInput,
    steps: dict[int, Step],
    instruments: dict[int, Instrument],
    codes: dict[str, Instrument],
    rows: DraftRows,
) -> None:
    if given.code:
        step = _step(steps, given.step, MEASURING, given.name("code"))
        words = _code_words(event, step, given.code, codes.get(given.code.lower()))
        raise _Unreadable(f"Step {step.number}: {words}", given.name("code"))
    if not given.typed.strip():
        return  # times and instrument are filled in beforehand; without a value there is no reading
    step = _step(steps, given.step, MEASURING, given.name("typed"))
    where = f"Step {step.number}" + (
        f", reading {given.sequence + 1}" if step.kind == Step.Kind.TIMED_SERIES else ""
    )
    unit = given.unit or step.unit
    if unit not in {u.code for u in units_for(step.quantity)}:
        labels = ", ".join(u.label for u in units_for(step.quantity))
        raise _Unreadable(
            f"{where}: “{unit}” is no unit of {step.quantity}; use {labels}.", given.name("unit")
        )
    number = _read(parse_decimal, given.typed, where, given.name("typed"))
    value = to_canonical(number, unit)
    if value < 0 and unit_of(unit).quantity in NEVER_NEGATIVE:
        words = f"{where}: {given.typed.strip()} is less than nothing; write what was read, without a minus."
        raise _Unreadable(words, given.name("typed"))
    reading = Reading(
        event=event,
        step=step,
        point=step.point,
        role=role_of(step),
        sequence=given.sequence,
        typed=given.typed.strip(),
        unit=unit,
        value=value,
    )
    if step.kind != Step.Kind.MEASURE:
        reading.elapsed_seconds = _read(parse_seconds, given.elapsed, where, given.name("elapsed"))
    _instrument(event, given, step, value, reading, instruments, where)
    _clean(reading, f"{where}: ", given.name, {"value": "typed", "elapsed_seconds": "elapsed"})
    rows.readings.append(reading)
    if step.kind == Step.Kind.TIMED_COLLECTION and given.started.strip():
        rows.readings.append(_started(event, given, step, where))


def _started(event: CheckEvent, given: ReadingInput, step: Step, where: str) -> Reading:
    seconds = _read(parse_seconds, given.started, f"{where}, start", given.name("started"))
    return Reading(
        event=event,
        step=step,
        point=step.point,
        role=Reading.Role.SINGLE,
        sequence=STARTED_SEQUENCE,
        typed=given.started.strip(),
        unit=canonical_unit("time"),
        value=seconds,
    )


def _instrument(
    event: CheckEvent,
    given: ReadingInput,
    step: Step,
    value: Decimal,
    reading: Reading,
    instruments: dict[int, Instrument],
    where: str,
) -> None:
    if not given.instrument:
        return  # it may be chosen later; without one the reading is never valid
    name = given.name("instrument")
    instrument = instruments.get(int(given.instrument)) if given.instrument.isdecimal() else None
    if instrument is None:
        raise _Unreadable(f"{where}: this instrument is not on file; choose one from the list.", name)
    choice = choice_for(step, instrument, event.work_date)
    if not choice.ok:
        raise _Unreadable(f"{where}: {choice.why_not}", name)
    outside = out_of_range(instrument, value)
    if outside:
        raise _Unreadable(f"{where}: {outside}", given.name("typed"))
    reading.instrument, reading.calibration = instrument, choice.calibration


def _code_words(event: CheckEvent, step: Step, code: str, instrument: Instrument | None) -> str:
    """Why a typed code chose no instrument, with the way out."""
    if instrument is None:
        return f"no instrument has the code “{code}”. Type it as on its label, or choose from the list."
    why_not = choice_for(step, instrument, event.work_date).why_not
    return why_not or f"{instrument.code} may serve; save once more to choose it."


def _observation(
    event: CheckEvent,
    given: ObservationInput,
    steps: dict[int, Step],
    positions: dict[int, Position],
    rows: DraftRows,
) -> None:
    if not (given.satisfactory or given.remark.strip() or given.areas):
        return
    name = given.name("satisfactory")
    step = _step(steps, given.step, (Step.Kind.OBSERVE,), name)
    position = positions.get(given.position) if given.position else None
    kind = position.kind if position else ""
    if kind != step.position_kind:
        raise _Unreadable(f"Step {step.number}: this position is not looked at in this step.", name)
    where = f"Step {step.number}" + (f", {position}" if position else "")
    if given.satisfactory not in ("yes", "no"):
        raise _Unreadable(f"{where}: choose satisfactory or not satisfactory.", name)
    remark = _remark(given, position)
    if given.satisfactory == "no" and not remark:
        how = "mark where, or say in the remark what was seen" if sides_of(position) else ""
        raise _Unreadable(f"{where}: {how or 'say in the remark what was seen'}.", given.name("remark"))
    if given.satisfactory == "yes" and sides_of(position) and split(remark)[0]:
        words = f"{where}: areas are marked, but it is said to be satisfactory. Choose No, or unmark them."
        raise _Unreadable(words, name)
    observation = Observation(
        event=event,
        step=step,
        position=position,
        satisfactory=given.satisfactory == "yes",
        remark=remark,
    )
    _clean(observation, f"{where}: ", given.name, {})
    rows.observations.append(observation)


def sides_of(position: Position | None) -> tuple[str, ...]:
    """The sides of the outline on which a look at this position may be marked; none but for a panel.

    One that is higher than wide on the plan stands upright, as on a fin.
    """
    if position is None or position.kind != Position.Kind.PANEL:
        return ()
    return UPRIGHT if position.plan_height > position.plan_width else FLAT


def _remark(given: ObservationInput, position: Position | None) -> str:
    """The remark as kept: what is marked on the panel's outline, in words, before what was typed."""
    sides = sides_of(position)
    return joined(given.areas, sides, given.remark) if sides else given.remark.strip()


def _caution(event: CheckEvent, given: CautionInput, steps: dict[int, Step], rows: DraftRows) -> None:
    step = _step(steps, given.step, ACKNOWLEDGED, given.name("acknowledged"))
    if given.restored and not given.acknowledged:
        raise _Unreadable(
            f"Step {step.number}: put back, but not confirmed; confirm the step too.",
            given.name("acknowledged"),
        )
    if given.acknowledged:
        restored = given.restored and bool(step.restore_text)
        rows.cautions.append(CautionFollowed(event=event, step=step, restored=restored))


def _clean(row: Reading | Observation, where: str, name: Callable, parts: dict) -> None:
    """The model's own field checks, without a query for each foreign key: those were looked up."""
    try:
        row.clean_fields(exclude=["event", "step", "point", "position", "instrument", "calibration"])
    except ValidationError as error:
        problem = from_validation(error, where)[0]
        part = parts.get(problem.field, problem.field)
        raise _Unreadable(problem.message, name(part)) from None


def _once_per_place(rows: DraftRows) -> None:
    """Keep the first of two rows for the same place and say so of the second."""
    for kept, place in (
        (rows.readings, lambda r: (r.step_id, r.sequence)),
        (rows.observations, lambda o: (o.step_id, o.position_id)),
        (rows.cautions, lambda c: c.step_id),
    ):
        seen: set = set()
        for row in list(kept):
            if place(row) in seen:
                kept.remove(row)
                rows.problems.append(Problem(f"Step {row.step.number} is there twice; the first one counts."))
            seen.add(place(row))
