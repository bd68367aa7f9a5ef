"""The part of a check's form about readings that were asked about: what was read first, why one stands.

Fields by step: first-<step>-read ('131', of a series '1:00 126; 2:00 131'), -unit, -instrument, -reason.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from checks.engine.units import UNITS
from checks.forms.check_text import clock, rows_shown, shared_place
from checks.models import EntryQuestion, FirstReading, Step
from checks.services.inputs import RepeatInput
from checks.services.questions import REASONS, Question
from checks.services.rows import MEASURING

Text = Mapping[str, str]
PARTS = ("read", "unit", "instrument")


@dataclass(frozen=True)
class AskedShown:
    """What stands at a measuring step. words: the open or answered question; first: as read first, in words;
    hidden: (name, value) of the fields that hold it; name: of the field for the reason."""

    step: Step
    name: str
    words: str
    open: bool
    about_temperature: bool
    first: str
    reason: str
    problems: tuple[str, ...]
    hidden: tuple[tuple[str, str], ...]
    reasons: tuple[str, ...] = REASONS


def can_be_asked(step: Step) -> bool:
    """Whether a question may ever stand at the step."""
    return step.kind in MEASURING and bool(step.point_id or step.quantity == "temperature")


def asked_shown(step: Step, text: Text, question: Question | None, problems: tuple[str, ...]) -> AskedShown:
    """The question of a step with its fields, as typed."""
    hidden = tuple((f"first-{step.pk}-{part}", text.get(f"first-{step.pk}-{part}", "")) for part in PARTS)
    first = hidden[0][1]
    unit = UNITS.get(hidden[1][1])
    return AskedShown(
        step=step,
        name=f"first-{step.pk}-reason",
        words=question.words if question else "",
        open=bool(question and question.open),
        about_temperature=step.quantity == "temperature",
        first=f"{first.replace(';', ',')} {unit.label if unit else ''}".strip() if first else "",
        reason=text.get(f"first-{step.pk}-reason", ""),
        problems=problems,
        hidden=hidden,
    )


def repeat_text(first: Iterable[FirstReading], questions: Iterable[EntryQuestion]) -> dict[str, str]:
    """The rows of a draft as text of the form."""
    text: dict[str, str] = {}
    for row in first:
        place = f"first-{row.step_id}"
        at = "" if row.elapsed_seconds is None else f"{clock(row.elapsed_seconds)} "
        earlier = text.get(f"{place}-read")
        text[f"{place}-read"] = f"{earlier}; {at}{row.typed}" if earlier else f"{at}{row.typed}"
        text[f"{place}-unit"], text[f"{place}-instrument"] = row.unit, str(row.instrument_id or "")
    text |= {f"first-{one.step_id}-reason": one.reason for one in questions}
    return text


def repeat_inputs(steps: Iterable[Step], text: Text) -> tuple[RepeatInput, ...]:
    """The form's text as the service takes it."""
    return tuple(
        RepeatInput(
            step.pk,
            first=text.get(f"first-{step.pk}-read", ""),
            unit=text.get(f"first-{step.pk}-unit", ""),
            instrument=text.get(f"first-{step.pk}-instrument", ""),
            reason=text.get(f"first-{step.pk}-reason", ""),
        )
        for step in steps
        if can_be_asked(step)
    )


def read_again(step: Step, text: Text) -> dict[str, str]:
    """The text with what was read moved to what was read first, and its boxes empty for the repeat.

    Once only: what was read first stays.
    """
    shared = shared_place(step)
    rows = [f"reading-{step.pk}-{n}" for n in range(rows_shown(step, text))]
    timed = step.kind != Step.Kind.MEASURE
    read = [
        f"{text.get(f'{row}-elapsed', '')} {text[f'{row}-typed']}".strip() if timed else text[f"{row}-typed"]
        for row in rows
        if text.get(f"{row}-typed", "").strip()
    ]
    if not read or text.get(f"first-{step.pk}-read"):
        return dict(text)
    moved = {
        f"first-{step.pk}-read": "; ".join(read),
        f"first-{step.pk}-unit": text.get(f"{shared}-unit", ""),
        f"first-{step.pk}-instrument": text.get(f"{shared}-instrument", ""),
    }
    return {**text, **moved, **{f"{row}-typed": "" for row in rows}}
