"""What a check was asked about before it was signed, in words for page and paper."""

from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal

from checks.engine.entry import Expected, Taken, reading_words
from checks.engine.units import canonical_unit, plain, unit_of
from checks.models import CheckEvent, EntryQuestion, FirstReading
from checks.services.questions import first_words


@dataclass(frozen=True)
class QuestionTold:
    """One question. asked: why, '' where it was answered and asked no more; first: what was read first."""

    step: int
    of: str
    asked: str
    first: str
    answer: str
    reason: str


def questions_told(event: CheckEvent) -> tuple[QuestionTold, ...]:
    """The questions of a signed check in the order of its steps. One query, a second where there is one."""
    rows = list(event.questions.select_related("step__point").order_by("step__number"))
    if not rows:
        return ()
    first: dict[int, list[FirstReading]] = defaultdict(list)
    for read in event.first_readings.order_by("step", "sequence"):
        first[read.step_id].append(read)
    units = dict(event.readings.values_list("step", "unit"))
    return tuple(_told(row, first[row.step_id], units.get(row.step_id)) for row in rows)


def _told(row: EntryQuestion, first: list[FirstReading], unit: str | None) -> QuestionTold:
    step = row.step
    answer = f"read again; first read {first_words(first)}" if first else "kept as read"
    return QuestionTold(
        step=step.number,
        of=step.point.name if step.point else "fluid temperature",
        asked=_asked(row, first[0].unit if first else unit),
        first=first_words(first),
        answer=answer,
        reason=row.reason,
    )


def _asked(row: EntryQuestion, unit: str | None) -> str:
    if row.read is None:
        return ""
    if row.low is None or row.high is None or row.temperature is None:
        return (
            f"all readings that follow the fluid strayed the same way from what was expected at "
            f"{plain(row.read)} °C on this aircraft"
        )
    point = row.step.point
    code = unit if unit and unit_of(unit).quantity == point.quantity else canonical_unit(point.quantity)
    expected = Expected(row.temperature.normalize() + Decimal(0), row.low, row.low, row.high)
    return reading_words(Taken(row.read, expected, follows=False), code)
