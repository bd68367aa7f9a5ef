"""The form of one check, made from the steps of its revision: any procedure, nothing about it in code.

All values are text by field name (forms/check_text.py), so that what can't be read is shown again as typed.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from checks.engine.areas import PARTS
from checks.engine.limits import LimitTable
from checks.engine.units import UNITS, plain, units_for
from checks.forms.check_instruments import Offer, Offers, Preset, by_codes, instruments_for, offers, preset
from checks.forms.check_repeat import (
    AskedShown,
    asked_shown,
    can_be_asked,
    read_again,
    repeat_inputs,
    repeat_text,
)
from checks.forms.check_text import (
    MORE_ROWS,
    area_name,
    draft_input,
    expected_text,
    looked_at,
    rows_shown,
    shared_name,
    shared_place,
    stored_text,
)
from checks.models import CheckEvent, Step
from checks.services.errors import Problem
from checks.services.inputs import DraftInput
from checks.services.points import limit_table
from checks.services.questions import Question
from checks.services.rows import sides_of
from fleet.models import Position

HEEDED = (Step.Kind.NOTE, Step.Kind.WARNING, Step.Kind.CAUTION)


@dataclass(frozen=True)
class Field:
    """One field: its name is its id too, so that a line of the summary leads to it. unit: words after it."""

    name: str
    label: str
    value: str = ""
    problems: tuple[str, ...] = ()
    choices: tuple[tuple[str, str], ...] = ()
    help: str = ""
    unit: str = ""


@dataclass(frozen=True)
class Line:
    """A step that is read and acknowledged, or a note; no box where there is nothing to tick."""

    step: Step
    acknowledged: Field | None = None


@dataclass(frozen=True)
class Look:
    """One answer of an observe step. name: the position, empty where the step has none.

    sides: of a panel, its outline to mark, one row of fields from root to tip for each side.
    """

    name: str
    answer: Field
    remark: Field
    sides: tuple[tuple[str, tuple[Field, ...]], ...] = ()


@dataclass(frozen=True)
class Row:
    """One value; elapsed None for a single measurement, started None but for a timed collection."""

    sequence: int
    typed: Field
    elapsed: Field | None = None
    started: Field | None = None


@dataclass(frozen=True)
class Block:
    """What the page shows at one place: steps to heed together, or one step of another kind."""

    kind: str
    step: Step
    lines: tuple[Line, ...] = ()
    looks: tuple[Look, ...] = ()
    rows: tuple[Row, ...] = ()
    unit: Field | None = None
    instrument: Field | None = None
    code: Field | None = None
    offered: tuple[Offer, ...] = ()
    refused: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    asked: AskedShown | None = None
    asks_place: bool = False

    @property
    def ceiling(self) -> str:
        """The ceiling of a timed series without trailing zeros, with its unit."""
        if self.step.ceiling is None:
            return ""
        return f"{plain(self.step.ceiling)} {UNITS[self.step.unit].label}"


@dataclass
class CheckForm:
    """The form of an event with its text: stored, or as just typed. problems: what a save refused; scanned:
    the instrument whose label led here; questions: what the readings are asked about."""

    event: CheckEvent
    text: Mapping[str, str] | None = None
    problems: tuple[Problem, ...] = ()
    scanned: Preset | None = None
    questions: tuple[Question, ...] = ()

    def __post_init__(self) -> None:
        if self.text is None:
            self.text = self.stored
        self.text = expected_text(self.steps, self.text) | dict(self.text)
        self.text |= by_codes(self.steps, self.text, self.event.work_date)

    @cached_property
    def stored(self) -> dict[str, str]:
        """The draft as kept, as text. Five queries."""
        readings = self.event.readings.select_related("step")
        looks = self.event.observations.select_related("position")
        rows = (readings, looks, self.event.cautions_followed.all())
        repeats = repeat_text(self.event.first_readings.all(), self.event.questions.all())
        return stored_text(self.event, *rows) | repeats

    @cached_property
    def steps(self) -> list[Step]:
        return list(self.event.revision.steps.select_related("point"))

    @cached_property
    def positions(self) -> list[Position]:
        return list(Position.objects.filter(variant_id=self.event.aircraft.variant_id))

    @cached_property
    def tables(self) -> dict[int, LimitTable]:
        stored = self.event.revision.limit_tables.prefetch_related("rows")
        return {table.point_id: limit_table(table) for table in stored}

    @cached_property
    def blocks(self) -> list[Block]:
        """The page in the order of the procedure. A fixed number of queries, however many rows."""
        instruments = instruments_for(self.steps)
        blocks: list[Block] = []
        for step in self.steps:
            if step.kind in HEEDED and blocks and blocks[-1].kind == "heed":
                last = blocks.pop()
                blocks.append(Block("heed", last.step, (*last.lines, self._line(step))))
            elif step.kind in HEEDED:
                blocks.append(Block("heed", step, (self._line(step),)))
            elif step.kind in (Step.Kind.INSTRUCTION, Step.Kind.CONFIRM):
                blocks.append(Block(step.kind, step, (self._line(step),)))
            elif step.kind == Step.Kind.OBSERVE:
                blocks.append(Block(step.kind, step, looks=tuple(self._looks(step))))
            else:
                blocks.append(self._measure(step, instruments))
        return blocks

    @cached_property
    def put_back(self) -> list[Field]:
        """What the confirm steps disturbed, to be ticked off after the last step, the last one first."""
        return [
            self.field(f"caution-{step.pk}-restored", f"Step {step.number}: {step.restore_text}")
            for step in reversed(self.steps)
            if step.kind == Step.Kind.CONFIRM and step.restore_text
        ]

    @property
    def summary(self) -> list[tuple[str, str]]:
        """(name of the field that it leads to, what is wrong), once for fields that rows share."""
        lines: dict[tuple[str, str], str] = {}
        for problem in self.problems:
            name = self._field_of(problem)
            key = (name, "") if name != problem.field else (name, problem.message)
            lines.setdefault(key, problem.message)
        return [(name, message) for (name, _), message in lines.items()]

    def given(self) -> DraftInput:
        """The text as the service takes it."""
        given = draft_input(self.steps, self.positions, self.text)
        return replace(given, repeats=repeat_inputs(self.steps, self.text))

    def read_again(self, step: int) -> None:
        """Keep what was read at a step as what was read first, and empty its boxes for the repeat."""
        found = next((one for one in self.steps if one.pk == step and can_be_asked(one)), None)
        if found:
            self.text = read_again(found, self.text)

    def more_rows(self, step: int) -> None:
        """Show some more rows of a timed series."""
        series = next((one for one in self.steps if one.pk == step), None)
        if series and series.kind == Step.Kind.TIMED_SERIES:
            rows = {f"series-{step}-rows": str(rows_shown(series, self.text) + MORE_ROWS)}
            self.text = expected_text(self.steps, self.text | rows) | self.text | rows

    def use(self, code: str) -> None:
        """Choose the instrument with this code wherever it may serve; kept with the first save."""
        on = self.event.work_date
        self.scanned = preset(code, self.steps, self.text, on=on, tables=self.tables)
        if self.scanned:
            self.text = {**self.text, **self.scanned.fields}

    def field(self, name: str, label: str, **more: object) -> Field:
        """A field with its text and what is wrong with it."""
        problems = tuple(message for place, message in self.summary if place == name)
        return Field(name, label, self.text.get(name, ""), problems, **more)

    @cached_property
    def _series(self) -> set[int]:
        return {step.pk for step in self.steps if step.kind == Step.Kind.TIMED_SERIES}

    @cached_property
    def _thermometer(self) -> Step | None:
        """The first step that measures the fluid temperature: where it was taken is asked there, once."""
        return next(
            (s for s in self.steps if s.kind == Step.Kind.MEASURE and s.quantity == "temperature"), None
        )

    def _field_of(self, problem: Problem) -> str:
        return shared_name(problem.field, self._series)

    def _line(self, step: Step) -> Line:
        if step.kind in (Step.Kind.NOTE, Step.Kind.INSTRUCTION):
            return Line(step)
        name = f"caution-{step.pk}"
        read = "Done" if step.kind == Step.Kind.CONFIRM else "Read and followed"
        return Line(step, self.field(f"{name}-acknowledged", read))

    def _looks(self, step: Step) -> Sequence[Look]:
        for position in looked_at(step, self.positions):
            place = f"observation-{step.pk}-{position.pk if position else 0}"
            label = str(position).capitalize() if position else "Satisfactory?"
            yield Look(
                label,
                self.field(f"{place}-satisfactory", label, choices=(("yes", "Yes"), ("no", "No"))),
                self.field(f"{place}-remark", f"Remark, {label.lower().rstrip('?')}"),
                tuple(
                    (side, tuple(self.field(area_name(place, (side, part)), part) for part in PARTS))
                    for side in sides_of(position)
                ),
            )

    def _measure(self, step: Step, instruments: Sequence) -> Block:
        shared = shared_place(step)
        found = offers(step, instruments, on=self.event.work_date, base=self.event.base, tables=self.tables)
        units = tuple((unit.code, unit.label) for unit in units_for(step.quantity))
        unit = self.field(f"{shared}-unit", "Unit", choices=units)
        instrument = self.field(
            f"{shared}-instrument",
            "Instrument",
            choices=tuple((offer.key, offer.label) for offer in found.chosen),
        )
        return Block(
            step.kind,
            step,
            rows=tuple(self._row(step, n) for n in range(rows_shown(step, self.text))),
            unit=unit if len(units) > 1 else Field(unit.name, unit.label, unit.value, unit=units[0][1]),
            instrument=instrument if step.instrument_kind else None,
            code=self.field(f"{shared}-code", "or its code") if step.instrument_kind else None,
            offered=found.chosen,
            refused=found.refused,
            asks_place=step == self._thermometer,
            notes=tuple(self._unit_note(found, instrument.value, unit.value)),
            asked=self._asked(step) if can_be_asked(step) else None,
        )

    def _asked(self, step: Step) -> AskedShown:
        question = next((one for one in self.questions if one.step == step), None)
        wrong = tuple(message for name, message in self.summary if name == f"first-{step.pk}-reason")
        return asked_shown(step, self.text, question, wrong)

    def _unit_note(self, found: Offers, instrument: str, unit: str) -> Sequence[str]:
        reads_in = next((o.unit for o in found.chosen if o.key == instrument), unit)
        if reads_in != unit and unit in UNITS:
            code = next(o.label for o in found.chosen if o.key == instrument).split(",")[0]
            read, chosen = UNITS[reads_in].label, UNITS[unit].label
            yield f"{code} reads in {read}; the unit chosen here is {chosen}. Is it right?"

    def _row(self, step: Step, sequence: int) -> Row:
        place = f"reading-{step.pk}-{sequence}"
        typed = self.field(f"{place}-typed", _value_label(step, sequence))
        if step.kind == Step.Kind.MEASURE:
            return Row(sequence, typed)
        if step.kind == Step.Kind.TIMED_SERIES:
            return Row(sequence, typed, self.field(f"{place}-elapsed", f"Time, reading {sequence + 1}"))
        elapsed = self.field(f"{place}-elapsed", "Collected for")
        return Row(sequence, typed, elapsed, self.field(f"{place}-started", "Collection began"))


def _value_label(step: Step, sequence: int) -> str:
    if step.kind == Step.Kind.TIMED_SERIES:
        return f"{step.quantity.capitalize()}, reading {sequence + 1}"
    if step.kind == Step.Kind.TIMED_COLLECTION:
        return "Volume collected"
    return "Concentration" if step.quantity == "ratio" else step.quantity.capitalize()
