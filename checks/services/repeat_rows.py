"""What was read first and why a reading stands, typed -> model rows of a draft."""

from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal

from checks.engine.units import parse_decimal, to_canonical, units_for
from checks.models import CheckEvent, EntryQuestion, FirstReading, Step
from checks.services.errors import Problem
from checks.services.inputs import RepeatInput
from fleet.models import Instrument

LONGEST_REASON = EntryQuestion._meta.get_field("reason").max_length
_LONGEST_TYPED = FirstReading._meta.get_field("typed").max_length
Seconds = Callable[[str], Decimal]


def repeats_of(
    event: CheckEvent,
    given: Iterable[RepeatInput],
    steps: Mapping[int, Step],
    instruments: Mapping[int, Instrument],
    *,
    role: Callable[[Step], str],
    seconds: Seconds,
) -> tuple[list[FirstReading], list[EntryQuestion], list[Problem]]:
    """Rows and what is wrong with them. No query: steps and instruments were looked up."""
    first: list[FirstReading] = []
    questions: list[EntryQuestion] = []
    problems: list[Problem] = []
    for one in given:
        step = steps.get(one.step)
        if step is None:
            continue
        reason, name = one.reason.strip(), one.name("reason")
        if len(reason) > LONGEST_REASON:
            problems.append(
                Problem(f"Step {step.number}: shorten the reason to {LONGEST_REASON} characters.", name)
            )
            reason = reason[:LONGEST_REASON]
        try:
            rows = list(_first(event, one, step, instruments, role(step), seconds))
        except ValueError as error:
            problems.append(Problem(f"Step {step.number}, read first: {error}.", name))
            rows = []
        first += rows
        if rows or reason:
            answer = EntryQuestion.Answer.REPEATED if rows else EntryQuestion.Answer.KEPT
            questions.append(EntryQuestion(event=event, step=step, answer=answer, reason=reason))
    return first, questions, problems


def _first(
    event: CheckEvent,
    one: RepeatInput,
    step: Step,
    instruments: Mapping[int, Instrument],
    role: str,
    seconds: Seconds,
) -> Iterable[FirstReading]:
    """Rows of 'typed; typed' or '1:00 typed; 2:00 typed'. ValueError says what is wrong."""
    unit = one.unit or step.unit
    if one.first.strip() and unit not in {u.code for u in units_for(step.quantity)}:
        raise ValueError(f"“{unit}” is no unit of {step.quantity}")
    parts = (part.split() for part in one.first.split(";") if part.strip())
    for number, part in enumerate(parts):
        *at, typed = part
        if len(at) > 1 or len(typed) > _LONGEST_TYPED:
            raise ValueError(f"{' '.join(part)!r} is not a time and a value")
        key = int(one.instrument) if one.instrument.isascii() and one.instrument.isdecimal() else 0
        yield FirstReading(
            event=event,
            step=step,
            role=role,
            sequence=number,
            typed=typed,
            unit=unit,
            value=to_canonical(parse_decimal(typed), unit),
            elapsed_seconds=seconds(at[0]) if at else None,
            instrument=instruments.get(key),
        )
