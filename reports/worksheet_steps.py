"""The steps of a worksheet: warnings before what they guard, tasks with their boxes, limits beside them."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from itertools import groupby

from checks.engine.units import plain, unit_of
from checks.forms.check_text import clock, expected_elapsed, looked_at
from checks.models import LimitTable, Step
from fleet.models import Instrument, Position

HEEDED = (Step.Kind.NOTE, Step.Kind.WARNING, Step.Kind.CAUTION)
#: readings that a printed series has room for, at least; a page adds rows, paper can't
FEWEST_READINGS = 12
#: readings left after the ceiling begins to hold
AFTER_CEILING = 6
SETTLED = (
    "Settled: the third value in a row that agrees within half the resolution of the gauge, each read within "
    "10 s of its cadence. The value at 0:00 does not count."
)
OUTSIDE = "Outside these temperatures there is no limit, and a reading there is not valid."


@dataclass(frozen=True)
class Box:
    """One box: to write in, or to tick. printed: what stands in it already; hint: small words inside."""

    label: str
    printed: str = ""
    tick: bool = False
    hint: str = ""


Cell = str | Box


@dataclass(frozen=True)
class Fill:
    """A table to fill in. share: the part of the width that each column takes; they add up to one."""

    head: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    share: tuple[float, ...]


@dataclass(frozen=True)
class Limits:
    """A limit table as printed in the manual, temperatures across: rows of a name and its values."""

    temperatures: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]
    words: str


@dataclass(frozen=True)
class Heed:
    """A warning, caution or note. box: ticked once it is read; None for a note."""

    number: int
    kind: str
    text: str
    box: Box | None

    @property
    def boxes(self) -> list[Box]:
        return [self.box] if self.box else []


@dataclass(frozen=True)
class Task:
    """A step to carry out: a box to tick beside its text, or tables to fill below, with their limits."""

    number: str
    text: str
    notes: tuple[str, ...] = ()
    done: Box | None = None
    fills: tuple[Fill, ...] = ()
    limits: tuple[Limits, ...] = ()

    @property
    def boxes(self) -> list[Box]:
        cells = [cell for fill in self.fills for row in fill.rows for cell in row]
        return [*([self.done] if self.done else []), *(cell for cell in cells if isinstance(cell, Box))]


Block = Heed | Task


def blocks_of(
    steps: list[Step], positions: list[Position], tables: Mapping[int, LimitTable]
) -> Iterator[Block]:
    """The steps in their order; single values in a row that are read alike share one table. No query where
    the tables came with their point and rows."""
    settles = any(step.kind == Step.Kind.TIMED_SERIES for step in steps)
    for _, group in groupby(steps, key=_alike):
        alike = list(group)
        if len(alike) > 1:
            yield _singles(alike, tables)
            continue
        (step,) = alike
        if step.kind in HEEDED:
            box = None if step.kind == Step.Kind.NOTE else Box("Read and followed", tick=True)
            yield Heed(step.number, step.kind, step.text, box)
        elif step.kind == Step.Kind.OBSERVE:
            yield _observe(step, positions)
        elif step.kind == Step.Kind.MEASURE:
            yield _singles([step], tables)
        elif step.kind == Step.Kind.TIMED_SERIES:
            yield _series(step, tables)
        elif step.kind == Step.Kind.TIMED_COLLECTION:
            yield _collection(step, tables, settles)
        else:
            yield _plain(step)


def _alike(step: Step) -> tuple:
    """The same for steps that share a table: single values at points, alike in quantity, unit, instrument."""
    if step.kind == Step.Kind.MEASURE and step.point_id:
        return (step.quantity, step.unit, step.instrument_kind)
    return (step.pk,)


def _plain(step: Step) -> Task:
    afterwards = (f"Afterwards: {step.restore_text}",) if step.restore_text else ()
    return Task(str(step.number), step.text, afterwards, done=Box("Done", tick=True))


def _observe(step: Step, positions: list[Position]) -> Task:
    rows = tuple(
        (
            str(position).capitalize() if position else "Satisfactory?",
            Box("Yes", tick=True),
            Box("No", tick=True),
            Box("Remark"),
        )
        for position in looked_at(step, positions)
    )
    fill = Fill(("Satisfactory?", "Yes", "No", "Remark, always where the answer is no"), rows, _LOOK)
    return Task(str(step.number), step.text, fills=(fill,))


_LOOK = (0.29, 0.07, 0.07, 0.57)


def _with_what(step: Step) -> tuple[Fill, ...]:
    """Boxes for the instrument that a step is read with."""
    if not step.instrument_kind:
        return ()
    kind = Instrument.Kind(step.instrument_kind).label.capitalize()
    return (
        Fill(
            (f"{kind}, code", "Calibration due"), ((Box("Instrument"), Box("Calibration due")),), (0.5, 0.5)
        ),
    )


def _series(step: Step, tables: Mapping[int, LimitTable]) -> Task:
    """A row for each reading: its planned time, the time it was read, the value; in two columns."""
    half = readings_printed(step) // 2
    lines = [(expected_elapsed(step, n), Box("Read at"), Box("Value")) for n in range(2 * half)]
    unit = unit_of(step.unit).label
    head = ("Planned", "Read at, since pump on", f"{step.quantity.capitalize()}, {unit}") * 2
    rows = tuple((*left, *right) for left, right in zip(lines[:half], lines[half:], strict=True))
    notes = [SETTLED]
    if step.ceiling is not None:
        after = clock(Decimal(step.ceiling_after_seconds or 0))
        notes.insert(0, f"From {after} on never above {plain(step.ceiling)} {unit}.")
    began = Fill(("Pump on, time of day", "Settled at"), ((Box("Pump on"), Box("Settled at")),), (0.5, 0.5))
    fill = Fill(head, rows, (0.1, 0.2, 0.2) * 2)
    return Task(
        str(step.number),
        _at_point(step),
        tuple(notes),
        None,
        (*_with_what(step), began, fill),
        _limits([step], tables),
    )


def readings_printed(step: Step) -> int:
    """An even number of readings, enough to pass the time at which a ceiling begins to hold.

    >>> readings_printed(Step(cadence_seconds=60, ceiling_after_seconds=150))
    12
    """
    before = (step.ceiling_after_seconds or 0) // (step.cadence_seconds or 60)
    wanted = max(FEWEST_READINGS, before + AFTER_CEILING)
    return wanted + wanted % 2


def _collection(step: Step, tables: Mapping[int, LimitTable], settles: bool) -> Task:
    """settles: whether a timed series has to settle first."""
    seconds, unit = step.duration_seconds or 60, unit_of(step.unit).label
    head = ("Began, since pump on", "Collected for, s", f"Volume, {unit}", "Flow for one minute")
    row = (Box("Began"), Box("Collected for"), Box("Volume"), Box("Flow"))
    first = ", begun after the pressure has settled" if settles else ""
    notes = (f"For {seconds} s{first}. Flow for one minute: volume × 60 / seconds.",)
    fills = (*_with_what(step), Fill(head, (row,), (0.25,) * 4))
    return Task(str(step.number), _at_point(step), notes, None, fills, _limits([step], tables))


def _singles(steps: list[Step], tables: Mapping[int, LimitTable]) -> Task:
    """One value each, of one quantity with one kind of instrument."""
    first, limits = steps[0], _limits(steps, tables)
    unit = unit_of(first.unit).label if first.unit else ""
    value = "Concentration" if first.quantity == "ratio" else first.quantity.capitalize()
    if len(steps) > 1:
        rows = tuple((f"{step.number}. {step.text}", Box("Value")) for step in steps)
        fill = Fill(("Step", f"{value}, {unit}"), rows, (0.72, 0.28))
        words = f"{value} at {len(steps)} points"
        return Task(f"{first.number}–{steps[-1].number}", words, (), None, (*_with_what(first), fill), limits)
    head, row, share = [f"{value}, {unit}"], [Box("Value")], (1.0,)
    notes: tuple[str, ...] = ()
    if first.quantity == "temperature":
        head += ["Where it was taken", "From memory"]
        row += [Box("Where it was taken"), Box("From memory", tick=True)]
        share = (0.3, 0.5, 0.2)
        notes = ("From memory, not measured: then the check is not valid.",)
    fills = (*_with_what(first), Fill(tuple(head), (tuple(row),), share))
    return Task(str(first.number), _at_point(first), notes, None, fills, limits)


def _at_point(step: Step) -> str:
    name = str(step.point) if step.point else ""
    return step.text if not name or name.lower() in step.text.lower() else f"{step.text} ({name})"


def _limits(steps: list[Step], tables: Mapping[int, LimitTable]) -> tuple[Limits, ...]:
    """The limit tables of the points that the steps read; those with the same temperatures, unit, kind and
    rule stand in one."""
    found = [tables[step.point_id] for step in steps if step.point_id in tables]
    return tuple(_one_grid(list(group)) for _, group in groupby(found, key=_shape))


def _shape(table: LimitTable) -> tuple:
    return (table.unit, table.kind, table.reading_rule, *(row.temperature for row in _rows(table)))


def _rows(table: LimitTable) -> list:
    return sorted(table.rows.all(), key=lambda row: row.temperature)


def _one_grid(tables: list[LimitTable]) -> Limits:
    first = tables[0]
    rows: list[tuple[str, tuple[str, ...]]] = []
    for table in tables:
        for side in ("lower", "upper"):
            values = [getattr(row, side) for row in _rows(table)]
            if any(value is not None for value in values):
                shown = tuple("–" if value is None else plain(value) for value in values)
                rows.append((f"{table.point}, {side}", shown))
    sources = "; ".join(dict.fromkeys(table.source_reference for table in tables))
    between = {"stricter_row": "the stricter of the two rows holds", "linear": "straight between the rows"}
    rule = between.get(first.reading_rule, "only the temperatures of the rows serve")
    words = (
        f"Limits in {unit_of(first.unit).label} by fluid temperature; between: {rule}. {OUTSIDE} {sources}."
    )
    return Limits(tuple(plain(row.temperature) for row in _rows(first)), tuple(rows), words)
