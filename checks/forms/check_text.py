"""Everything on the form of a check as text by field name: as stored, and as typed -> what the service takes.

Names are those of services.inputs. A timed series has its instrument and unit once for all its rows:
series-<step>-<part>, with part instrument, code (typed instead of choosing one), unit, or rows (how many
are shown).
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal

from checks.engine.areas import Area, Areas, areas_of, split
from checks.engine.units import plain
from checks.models import CautionFollowed, CheckEvent, Observation, Reading, Step
from checks.services.inputs import (
    EVENT_FIELDS,
    CautionInput,
    DraftInput,
    ObservationInput,
    ReadingInput,
)
from checks.services.rows import ACKNOWLEDGED, MEASURING, is_start, sides_of
from fleet.models import Position

Text = Mapping[str, str]
FIRST_ROWS, MORE_ROWS, MOST_ROWS = 6, 3, 60
_ROW_PART = re.compile(r"reading-(\d+)-\d+-(instrument|unit|code)")


def looked_at(step: Step, positions: Iterable[Position]) -> list[Position | None]:
    """The positions that an observe step asks about; one None where it asks about none."""
    return [p for p in positions if p.kind == step.position_kind] if step.position_kind else [None]


def rows_shown(step: Step, text: Text) -> int:
    """How many rows a step shows: one, or as many as a series has been given."""
    if step.kind != Step.Kind.TIMED_SERIES:
        return 1
    asked = text.get(f"series-{step.pk}-rows", "")
    return min(int(asked), MOST_ROWS) if asked.isascii() and asked.isdecimal() else FIRST_ROWS


def expected_elapsed(step: Step, sequence: int) -> str:
    """The time that stands in a row before anybody types: minute 0, 1, 2... or the length of a collection."""
    if step.kind == Step.Kind.TIMED_COLLECTION:
        return str(step.duration_seconds or "")
    return clock(Decimal((step.cadence_seconds or 60) * sequence))


def shared_place(step: Step) -> str:
    """Where a measuring step has its instrument and unit: a series once for all its rows."""
    return f"series-{step.pk}" if step.kind == Step.Kind.TIMED_SERIES else f"reading-{step.pk}-0"


def expected_text(steps: Iterable[Step], text: Text) -> dict[str, str]:
    """What stands in the fields of measuring steps before anybody types: unit, rows and times."""
    expected = {}
    for step in steps:
        if step.kind not in MEASURING:
            continue
        expected[f"{shared_place(step)}-unit"] = step.unit
        if step.kind == Step.Kind.TIMED_SERIES:
            expected[f"{shared_place(step)}-rows"] = str(FIRST_ROWS)
        if step.kind != Step.Kind.MEASURE:
            for sequence in range(rows_shown(step, text)):
                expected[f"reading-{step.pk}-{sequence}-elapsed"] = expected_elapsed(step, sequence)
    return expected


def clock(seconds: Decimal) -> str:
    """Seconds as 2:30; with a part of a second as they are."""
    if seconds != seconds.to_integral_value():
        return plain(seconds)
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


def shared_name(name: str, series: Iterable[int]) -> str:
    """The field that a name stands for on the page: a series has one instrument and one unit."""
    match = _ROW_PART.fullmatch(name)
    if match and int(match[1]) in series:
        return f"series-{match[1]}-{match[2]}"
    return name


def stored_text(
    event: CheckEvent,
    readings: Iterable[Reading],
    observations: Iterable[Observation],
    cautions: Iterable[CautionFollowed],
) -> dict[str, str]:
    """The rows of a draft as the text of its form. No query where readings have step and looks position."""
    text = {name: _event_text(event, name) for name in EVENT_FIELDS}
    for reading in readings:
        _reading_text(text, reading)
    for seen in observations:
        place = f"observation-{seen.step_id}-{seen.position_id or 0}"
        text[f"{place}-satisfactory"] = "yes" if seen.satisfactory else "no"
        areas, rest = split(seen.remark) if sides_of(seen.position) else (Areas(), seen.remark)
        text[f"{place}-remark"] = rest
        text |= {area_name(place, area): "yes" for area in areas.marked}
    for followed in cautions:
        text[f"caution-{followed.step_id}-acknowledged"] = "yes"
        text[f"caution-{followed.step_id}-restored"] = "yes" if followed.restored else ""
    return text


def _event_text(event: CheckEvent, name: str) -> str:
    value = getattr(event, CheckEvent._meta.get_field(name).attname)
    if name == "hose_bled":
        return {True: "yes", False: "no"}.get(value, "")
    if name == "temperature_from_memory":
        return "yes" if value else ""
    return "" if value is None else str(value)


def _reading_text(text: dict[str, str], reading: Reading) -> None:
    step = reading.step
    if is_start(reading):
        text[f"reading-{step.pk}-0-started"] = reading.typed
        return
    place = f"reading-{step.pk}-{reading.sequence}"
    shared = shared_place(step)
    text[f"{place}-typed"] = reading.typed
    text[f"{shared}-unit"] = reading.unit
    text[f"{shared}-instrument"] = str(reading.instrument_id or "")
    if step.kind == Step.Kind.TIMED_SERIES:
        text[f"{place}-elapsed"] = clock(reading.elapsed_seconds)
        shown = int(text.get(f"{shared}-rows", FIRST_ROWS))
        text[f"{shared}-rows"] = str(max(shown, reading.sequence + 2))
    elif step.kind == Step.Kind.TIMED_COLLECTION:
        text[f"{place}-elapsed"] = plain(reading.elapsed_seconds)


def draft_input(steps: Sequence[Step], positions: Sequence[Position], text: Text) -> DraftInput:
    """A form's text as the service takes it; the service leaves out rows without a value."""
    fields = {name: text.get(name, "") for name in EVENT_FIELDS if name in text or name in BOXES}
    return DraftInput(
        fields=fields,
        readings=tuple(
            _reading(step, sequence, text)
            for step in steps
            if step.kind in MEASURING
            for sequence in range(rows_shown(step, text))
        ),
        observations=tuple(
            _observation(step, position, text)
            for step in steps
            if step.kind == Step.Kind.OBSERVE
            for position in looked_at(step, positions)
        ),
        cautions=tuple(_caution(step, text) for step in steps if step.kind in ACKNOWLEDGED),
    )


# A box that is not ticked is not sent at all.
BOXES = ("temperature_from_memory",)


def _reading(step: Step, sequence: int, text: Text) -> ReadingInput:
    place, shared = f"reading-{step.pk}-{sequence}", shared_place(step)
    return ReadingInput(
        step=step.pk,
        sequence=sequence,
        typed=text.get(f"{place}-typed", ""),
        elapsed=text.get(f"{place}-elapsed", ""),
        started=text.get(f"{place}-started", ""),
        unit=text.get(f"{shared}-unit", ""),
        instrument=text.get(f"{shared}-instrument", ""),
        code=text.get(f"{shared}-code", "").strip(),
    )


def _observation(step: Step, position: Position | None, text: Text) -> ObservationInput:
    place = f"observation-{step.pk}-{position.pk if position else 0}"
    return ObservationInput(
        step=step.pk,
        position=position.pk if position else None,
        satisfactory=text.get(f"{place}-satisfactory", ""),
        remark=text.get(f"{place}-remark", ""),
        areas=tuple(a for a in areas_of(sides_of(position)) if text.get(area_name(place, a))),
    )


def area_name(place: str, area: Area) -> str:
    """The field that marks one area of a panel; place: of its look."""
    return f"{place}-at.{'.'.join(area)}"


def _caution(step: Step, text: Text) -> CautionInput:
    place = f"caution-{step.pk}"
    return CautionInput(
        step=step.pk,
        acknowledged=bool(text.get(f"{place}-acknowledged")),
        restored=bool(text.get(f"{place}-restored")),
    )
