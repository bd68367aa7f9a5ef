"""Limit tables: what the operator's manual allows at a fluid temperature. Nothing is extrapolated."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from itertools import pairwise
from statistics import median

from checks.engine.units import CANONICAL_STEP, EXACT, plain

__all__ = [
    "Limit",
    "LimitRow",
    "LimitTable",
    "NotServed",
    "Slope",
    "check_table",
    "limit_at",
    "plain",
    "slope_at",
]

KINDS = ("upper", "lower", "both")
RULES = ("stricter_row", "linear", "rows_only")


@dataclass(frozen=True)
class LimitRow:
    """Limits at one fluid temperature (Cel), in canonical units of the quantity."""

    temperature: Decimal
    lower: Decimal | None = None
    upper: Decimal | None = None


@dataclass(frozen=True)
class LimitTable:
    """Rows in any order; kind says which limits every row must have, rule how to read between rows."""

    rows: tuple[LimitRow, ...]
    kind: str = "upper"
    rule: str = "stricter_row"

    @property
    def ordered(self) -> tuple[LimitRow, ...]:
        return tuple(sorted(self.rows, key=lambda row: row.temperature))


@dataclass(frozen=True)
class Limit:
    """The limits that hold at a temperature; note says which rows were read and how."""

    lower: Decimal | None
    upper: Decimal | None
    temperature: Decimal
    note: str


@dataclass(frozen=True)
class NotServed:
    """The table gives no limit here; reason names the temperatures that serve, or what is wrong with it."""

    reason: str


@dataclass(frozen=True)
class Slope:
    """Size of the steepest local change of each limit, canonical units per °C, never negative."""

    lower: Decimal
    upper: Decimal


def limit_at(table: LimitTable, temperature: Decimal) -> Limit | NotServed:
    """The limits at a fluid temperature (Cel), or NotServed. A faulty table serves nowhere."""
    faults = _faults(table)
    if faults:
        return NotServed("the limit table cannot be used: " + "; ".join(faults))
    rows = table.ordered
    for row in rows:
        if row.temperature == temperature:
            return Limit(row.lower, row.upper, temperature, f"row {plain(temperature)} °C")
    below = [row for row in rows if row.temperature < temperature]
    above = [row for row in rows if row.temperature > temperature]
    if table.rule == "rows_only" or not below or not above:
        return NotServed(_serves(table, temperature))
    return _between(below[-1], above[0], temperature, table.rule)


def slope_at(table: LimitTable, temperature: Decimal) -> Slope:
    """How steeply the limits change round a temperature: the steepest segment that touches it.

    It carries the thermometer's uncertainty into the uncertainty of the comparison, whichever rule is read
    by: the manual's rows are steps only on paper. One row alone has slope 0.
    """
    segments = pairwise(table.ordered)
    touching = [(a, b) for a, b in segments if a.temperature <= temperature <= b.temperature]

    def steepest(side: str) -> Decimal:
        slopes = [Decimal(0)]
        for a, b in touching:
            first, second = getattr(a, side), getattr(b, side)
            if first is not None and second is not None and a.temperature != b.temperature:
                slopes.append(abs(EXACT.divide(second - first, b.temperature - a.temperature)))
        return max(slopes)

    return Slope(steepest("lower"), steepest("upper"))


def check_table(table: LimitTable) -> list[str]:
    """Questions to the person who typed the table; an empty list means none. Faults come first."""
    return [*_faults(table), *_gaps(table), *_turns(table)]


def _between(a: LimitRow, b: LimitRow, temperature: Decimal, rule: str) -> Limit:
    rows = f"rows {plain(a.temperature)} and {plain(b.temperature)} °C"
    upper = lower = None
    if a.upper is not None and b.upper is not None:
        upper = min(a.upper, b.upper)
        if rule == "linear":
            upper = max(upper, _line(a, b, temperature, "upper").quantize(CANONICAL_STEP, ROUND_FLOOR))
    if a.lower is not None and b.lower is not None:
        lower = max(a.lower, b.lower)
        if rule == "linear":
            lower = min(lower, _line(a, b, temperature, "lower").quantize(CANONICAL_STEP, ROUND_CEILING))
    how = "straight line between" if rule == "linear" else "stricter of"
    return Limit(lower, upper, temperature, f"{how} {rows}")


def _line(a: LimitRow, b: LimitRow, temperature: Decimal, side: str) -> Decimal:
    first, second = getattr(a, side), getattr(b, side)
    # Multiply first: a third of the way, times 27, must be 9 and not 8.999...
    rise = EXACT.multiply(second - first, temperature - a.temperature)
    return EXACT.add(first, EXACT.divide(rise, b.temperature - a.temperature))


def _serves(table: LimitTable, temperature: Decimal) -> str:
    temperatures = [plain(row.temperature) for row in table.ordered]
    if table.rule == "rows_only" or len(temperatures) == 1:
        serving = f"fluid temperatures of {', '.join(temperatures)} °C only"
    else:
        serving = f"fluid temperatures from {temperatures[0]} to {temperatures[-1]} °C"
    return f"no limit at {plain(temperature)} °C: the table serves {serving}"


def _faults(table: LimitTable) -> list[str]:
    faults: list[str] = []
    if table.kind not in KINDS:
        faults.append(f"kind {table.kind!r} is not known; use {', '.join(KINDS)}")
    if table.rule not in RULES:
        faults.append(f"reading rule {table.rule!r} is not known; use {', '.join(RULES)}")
    if not table.rows:
        faults.append("it has no rows")
    for a, b in pairwise(table.ordered):
        if a.temperature == b.temperature:
            faults.append(f"two rows for {plain(a.temperature)} °C")
    for row in table.ordered:
        faults.extend(_row_faults(row, table.kind))
    return faults


def _row_faults(row: LimitRow, kind: str) -> Iterator[str]:
    at = f"row {plain(row.temperature)} °C"
    for side, other in (("upper", "lower"), ("lower", "upper")):
        if kind in (side, "both") and getattr(row, side) is None:
            yield f"{at} has no {side} limit"
        if kind == other and getattr(row, side) is not None:
            yield f"{at} has a {side} limit, but the table is for {other} limits only"
    if row.lower is not None and row.upper is not None and row.lower >= row.upper:
        yield f"{at}: lower limit {plain(row.lower)} is not below upper limit {plain(row.upper)}"


def _gaps(table: LimitTable) -> Iterator[str]:
    """A step of more than twice the usual (median) step looks like a forgotten row."""
    steps = [b.temperature - a.temperature for a, b in pairwise(table.ordered)]
    if len(steps) < 2:
        return
    usual = median(steps)
    for a, b in pairwise(table.ordered):
        if b.temperature - a.temperature > 2 * usual:
            yield f"no row between {plain(a.temperature)} and {plain(b.temperature)} °C: is one forgotten?"


def _turns(table: LimitTable) -> Iterator[str]:
    """Limits follow viscosity, so they should run one way with temperature."""
    for side in ("upper", "lower"):
        known = [(r.temperature, getattr(r, side)) for r in table.ordered if getattr(r, side) is not None]
        moves = [(b[0], b[1] - a[1]) for a, b in pairwise(known) if b[1] != a[1]]
        for (_, first), (temperature, second) in pairwise(moves):
            if (first > 0) != (second > 0):
                yield f"the {side} limits turn round before {plain(temperature)} °C: is a figure mistyped?"
