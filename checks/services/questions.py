"""Questions about implausible readings: what to ask of a draft and what was answered. Reads, never writes."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Protocol

from checks.engine.entry import Expected, Taken, ask, expected_at, reading_words, temperature_words
from checks.engine.point import MEASURED
from checks.engine.settle import Sample, settle
from checks.engine.units import canonical_unit, collected_flow, difference_to_canonical, unit_of
from checks.models import CheckEvent, EntryQuestion, FirstReading, Reading, Step
from checks.services.errors import Problem
from checks.services.expected import Expectation, expectations
from checks.services.temperatures import Temperatures
from fleet.models import MeasuringPoint

REPEATED, KEPT = EntryQuestion.Answer.REPEATED, EntryQuestion.Answer.KEPT
#: suggestions beside the field for the reason; anything else may be typed
REASONS = (
    "Read twice with the same result",
    "Checked with another instrument",
    "Fluid temperature taken again, the same",
    "Work was done on the system since the last check",
    "Damage or blockage was seen",
)


@dataclass(frozen=True)
class Question:
    """One question; answer '' while it is open. words: why it is asked, '' where nothing is asked (any more).

    read, expected: what it is about, canonical; expected None of a temperature. step: the measuring step.
    """

    step: Step
    words: str
    answer: str = ""
    reason: str = ""
    read: Decimal | None = None
    expected: Expected | None = None
    run: int | None = None

    @property
    def open(self) -> bool:
        return bool(self.words) and not self.answer

    @property
    def name(self) -> str:
        """The form field that answers it."""
        return f"first-{self.step.pk}-reason"


@dataclass(frozen=True)
class Held:
    """Values held against what their points' histories foretell: what to ask, and what was expected of each
    point whose value could be held against anything."""

    questions: tuple[Question, ...] = ()
    expected: Mapping[int, Expected] = field(default_factory=dict)


class Line(Protocol):
    """What is asked about: evaluate.PointLine."""

    step: Step
    point: MeasuringPoint
    taken: Decimal | None
    unit: str | None


@dataclass(frozen=True)
class _Answers:
    """What a draft holds by step: first readings, and rows of questions."""

    first: Mapping[int, list[FirstReading]]
    given: Mapping[int, EntryQuestion]

    def of(self, step: Step) -> tuple[str, str]:
        row = self.given.get(step.pk)
        return (row.answer, row.reason) if row else ("", "")


def questions_of(
    event: CheckEvent,
    lines: Sequence[Line],
    steps: Iterable[Step],
    temperatures: Temperatures,
    sds: Decimal,
) -> Held:
    """Questions about the settled, collected and single values of a draft, in the order of its steps, and
    what was expected of them.

    What is expected of a value goes by the fluid temperature read last before it. Three queries, three more
    where something is expected.
    """
    steps = list(steps)
    answers = _answers(event)
    expected = expectations(event, [line.point.pk for line in lines], sds)
    asked = _asked(lines, expected, answers, temperatures)
    asked |= _temperature(lines, expected, steps, answers, temperatures)
    for step in steps:
        answer, reason = answers.of(step)
        if answer and step.pk not in asked:  # answered, and no more to be asked: the answer stays on record
            asked[step.pk] = Question(step, "", answer, reason)
    told = {
        line.point.pk: one.expected
        for line in lines
        if line.taken is not None
        and (one := _taken(line, line.taken, expected, _measured(temperatures, line))).expected is not None
    }
    return Held(tuple(asked[step.pk] for step in steps if step.pk in asked), told)


def open_problems(questions: Iterable[Question]) -> list[Problem]:
    """What bars signing until it is answered: read again, or a reason."""
    return [
        Problem(
            f"Step {one.step.number}: {one.words}. Read it again, or say why it stands as read.", one.name
        )
        for one in questions
        if one.open
    ]


def _answers(event: CheckEvent) -> _Answers:
    first: dict[int, list[FirstReading]] = defaultdict(list)
    for row in event.first_readings.select_related("instrument").order_by("step", "sequence"):
        first[row.step_id].append(row)
    return _Answers(first, {row.step_id: row for row in event.questions.all()})


def _asked(
    lines: Sequence[Line], expected: Mapping[int, Expectation], answers: _Answers, temperatures: Temperatures
) -> dict[int, Question]:
    """Questions about single points: implausible now, or implausible when first read."""
    read = [(line, line.taken) for line in lines if line.taken is not None]
    taken = [_taken(line, value, expected, _measured(temperatures, line)) for line, value in read]
    now = {read[n][0].step.pk for n in ask(taken).readings}
    found = {}
    for line, value in ((line, line.taken) for line in lines):
        first = _first_value(line.step, answers.first.get(line.step.pk, []))
        if first is not None:
            value = first
        if value is None or (first is None and line.step.pk not in now):
            continue
        one = _taken(line, value, expected, _measured(temperatures, line))
        if not one.implausible:
            continue
        answer, reason = answers.of(line.step)
        unit = line.unit or canonical_unit(line.point.quantity)
        found[line.step.pk] = Question(
            line.step,
            reading_words(one, unit),
            answer,
            reason,
            value,
            one.expected,
            expected[line.point.pk].run,
        )
    return found


def _temperature(
    lines: Sequence[Line],
    expected: Mapping[int, Expectation],
    steps: Iterable[Step],
    answers: _Answers,
    temperatures: Temperatures,
) -> dict[int, Question]:
    """The one question about the fluid temperature, where all points that follow the fluid stray together: at
    the step that measured it for the first of them."""

    def at(line: Line) -> Decimal | None:
        """Once measured again: as it was when it was asked about."""
        now = _measured(temperatures, line)
        rows = now is not None and answers.first.get(temperatures.before(line.step).reading.step_id)
        return rows[-1].value if rows else now

    read = [(line, line.taken) for line in lines if line.taken is not None]
    asked = ask([_taken(line, value, expected, at(line)) for line, value in read])
    if not asked.together:
        return {}
    line = read[asked.together[0]][0]
    key = temperatures.before(line.step).reading.step_id
    step = next(step for step in steps if step.pk == key)
    answer, reason = answers.of(step)
    words = temperature_words(len(asked.together), asked.direction, at(line))
    return {key: Question(step, words, answer, reason, at(line), None, expected[line.point.pk].run)}


def _measured(temperatures: Temperatures, line: Line) -> Decimal | None:
    """The fluid temperature that was measured last before a line's value; None where it is from memory."""
    found = temperatures.before(line.step)
    return found.value if found.source == MEASURED else None


def _taken(line: Line, value: Decimal, expected: Mapping[int, Expectation], t: Decimal | None) -> Taken:
    known = expected.get(line.point.pk)
    if known is None or t is None:
        return Taken(value, None, follows=False)
    return Taken(value, expected_at(known.rows, t), known.follows)


def _first_value(step: Step, rows: Sequence[FirstReading]) -> Decimal | None:
    """What was first made of a step's rows, canonical: the settled value of a series, else its last one."""
    if not rows:
        return None
    last = rows[-1]
    if step.kind == Step.Kind.TIMED_COLLECTION and last.elapsed_seconds:
        return collected_flow(last.value, last.elapsed_seconds)
    if step.kind == Step.Kind.TIMED_SERIES and last.instrument:
        gauge = last.instrument
        samples = [Sample(row.elapsed_seconds, row.value) for row in rows if row.elapsed_seconds is not None]
        settled = settle(
            samples,
            cadence_s=step.cadence_seconds or 60,
            resolution=difference_to_canonical(gauge.resolution, gauge.unit),
        )
        return settled.value if settled.settled else last.value
    return last.value


def first_words(rows: Iterable[FirstReading | Reading]) -> str:
    """'1:00 126, 2:00 131 kPa': rows as typed, of one step."""
    told, unit = [], ""
    for row in rows:
        unit = unit_of(row.unit).label
        seconds = row.elapsed_seconds
        at = "" if seconds is None else f"{int(seconds) // 60}:{int(seconds) % 60:02d} "
        told.append(f"{at}{row.typed}")
    return f"{', '.join(told)} {unit}" if told else ""
