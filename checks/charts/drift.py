"""The course of one series over the years, and the same as a spark."""

from collections.abc import Sequence
from dataclasses import dataclass

from checks.charts.scene import Axis, Band, Item, Level, Line, Mark, Number, Pair, Points, Role, Scene, Shape
from checks.charts.wording import Day, day_number, day_words, value_words


def drift_scene(
    days: Sequence[Day],
    as_read: Sequence[Number | None],
    compensated: Sequence[Number | None],
    limit: Number | None,
    band: Sequence[tuple[Day, float, float]] = (),
    resets: Sequence[tuple[Day, str]] = (),
    label: str = "Readings",
    unit: str = "kPa",
    mode: str = "both",
    lives: Sequence[int] | None = None,
) -> Scene:
    """The course of one series: compensated readings joined within each life, as read beside them.

    `limit` is the limit that the compensated values are held against (at 20 degC), `band` the interval of
    what is expected from day to day, `resets` what began the series anew. `lives` numbers the life of each
    reading; without it a reading on the day of a reset begins the new life. mode: 'compensated', 'as read'
    or 'both'; in 'as read' no limit is drawn, since it differs with the temperature of every reading.
    """
    if not len(days) == len(as_read) == len(compensated) == len(lives if lives is not None else days):
        raise ValueError("days, as_read, compensated and lives differ in length")
    if mode not in ("compensated", "as read", "both"):
        raise ValueError(f"mode is 'compensated', 'as read' or 'both', not {mode!r}")
    lives = _life_numbers(days, resets) if lives is None else lives
    readings = sorted(map(_reading, days, as_read, compensated, lives), key=lambda reading: reading.x)
    top = None if limit is None else float(limit)
    items: list[Item] = []
    if mode != "as read":
        items += _expected(band, top, unit) + _joined(readings) + _against(readings, top, unit)
    if mode != "compensated":
        items.append(_as_read(readings, unit))
    items += [Mark(day_number(day), word) for day, word in resets]
    return Scene(
        f"{label}: course over time",
        _description(readings, top, len(resets), unit),
        Axis("", is_date=True),
        Axis(label, unit),
        tuple(items),
        ("Date", "As read", "Compensated to 20 °C", "Reset"),
        _rows(readings, resets, unit),
    )


@dataclass(frozen=True)
class _Reading:
    day: Day
    x: float
    read: float | None
    compensated: float | None
    life: int

    def words(self, unit: str) -> str:
        said = f"{value_words(self.compensated, unit)} compensated, {value_words(self.read, unit)} as read"
        return f"{day_words(self.day)}: {said}"


def _reading(day: Day, read: Number | None, compensated: Number | None, life: int) -> _Reading:
    plain = [None if value is None else float(value) for value in (read, compensated)]
    return _Reading(day, day_number(day), *plain, life)


def _life_numbers(days: Sequence[Day], resets: Sequence[tuple[Day, str]]) -> list[int]:
    starts = [day_number(day) for day, _ in resets]
    return [sum(start <= day_number(day) for start in starts) for day in days]


def _expected(band: Sequence[tuple[Day, float, float]], limit: float | None, unit: str) -> list[Item]:
    items: list[Item] = []
    if band:
        items.append(Band(tuple((day_number(d), low, high) for d, low, high in band), "expected, 90 %"))
    if limit is not None:
        items.append(Level(limit, f"limit {value_words(limit, unit)}"))
    return items


def _joined(readings: list[_Reading]) -> list[Item]:
    """One line through the compensated readings of each life."""
    runs: dict[int, list[Pair]] = {}
    for one in readings:
        if one.compensated is not None:
            runs.setdefault(one.life, []).append((one.x, one.compensated))
    return [Line(tuple(run)) for run in runs.values() if len(run) > 1]


def _against(readings: list[_Reading], limit: float | None, unit: str) -> list[Item]:
    """The compensated points, those over the limit by a shape of their own."""
    known = [one for one in readings if one.compensated is not None]
    over = [one for one in known if limit is not None and one.compensated > limit]
    items: list[Item] = []
    under = [one for one in known if one not in over]
    groups: tuple[tuple[list[_Reading], str, Shape, Role], ...] = (
        (under, "compensated to 20 °C", "disc", "main"),
        (over, "compensated, over limit", "diamond", "act"),
    )
    for some, name, shape, role in groups:
        if some:
            at = tuple((one.x, one.compensated) for one in some)
            items.append(Points(at, tuple(one.words(unit) for one in some), name, shape, role))
    return items


def _as_read(readings: list[_Reading], unit: str) -> Points:
    known = [one for one in readings if one.read is not None]
    at = tuple((one.x, one.read) for one in known)
    return Points(
        at, tuple(one.words(unit) for one in known), "as read, at its own temperature", "ring", "faint"
    )


def _rows(
    readings: list[_Reading], resets: Sequence[tuple[Day, str]], unit: str
) -> tuple[tuple[str, ...], ...]:
    """Readings and resets in order of time, as words."""
    rows = [
        (one.x, day_words(one.day), value_words(one.read, unit), value_words(one.compensated, unit), "")
        for one in readings
    ]
    rows += [(day_number(day), day_words(day), "", "", word) for day, word in resets]
    return tuple(row[1:] for row in sorted(rows, key=lambda row: row[0]))


def _description(readings: list[_Reading], limit: float | None, resets: int, unit: str) -> str:
    known = [one for one in readings if one.compensated is not None]
    if not known:
        return "No compensated readings."
    ends = [f"{value_words(one.compensated, unit)} on {day_words(one.day)}" for one in (known[0], known[-1])]
    against = "" if limit is None else f" The limit is {value_words(limit, unit)}."
    return f"{len(known)} compensated readings, from {ends[0]} to {ends[1]}.{against} Resets: {resets}."


def spark_scene(
    days: Sequence[Day], values: Sequence[Number], limit: Number | None = None, label: str = "Readings"
) -> Scene:
    """A series small enough to stand beside a word: its line, its last point, its limit."""
    at = tuple(sorted((day_number(d), float(v)) for d, v in zip(days, values, strict=True)))
    over = bool(at) and limit is not None and at[-1][1] > limit
    items: list[Item] = [Line(at)] if len(at) > 1 else []
    if at:
        items.append(Points(at[-1:], ("",), "", "diamond" if over else "disc", "act" if over else "main"))
    if limit is not None:
        items.append(Level(float(limit), ""))
    said = f"{len(at)} readings, the last {value_words(at[-1][1], '')}." if at else "No readings."
    return Scene(label, said, Axis("", is_date=True), Axis(label), tuple(items), bare=True)
