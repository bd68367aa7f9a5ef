"""The course of one series over the years, and the same as a spark."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from checks.charts.scene import Axis, Band, Item, Level, Line, Mark, Number, Pair, Points, Role, Scene, Shape
from checks.charts.wording import Day, day_number, day_words, value_words

#: earliest, middle and latest day on which a limit is met
Crossing = tuple[Day | None, Day | None, Day | None]
#: days that a picture goes on beyond the next check, for a crossing that lies there
BEYOND = 365.0


def drift_scene(
    days: Sequence[Day],
    as_read: Sequence[Number | None],
    compensated: Sequence[Number | None],
    limit: Number | None,
    band: Sequence[tuple[Day, float, float, float]] = (),
    resets: Sequence[tuple[Day, str]] = (),
    label: str = "Readings",
    unit: str = "kPa",
    mode: str = "both",
    lives: Sequence[int] | None = None,
    gauges: Sequence[str] | None = None,
    paper: Sequence[bool] | None = None,
    crossing: Crossing = (None, None, None),
    today: Day | None = None,
) -> Scene:
    """The course of one series: compensated readings joined within each life, as read beside them.

    `limit` is the limit that the compensated values are held against (at 20 degC), `band` (day, low, middle,
    high) what is expected from day to day and up to the next check, `resets` what began the series anew.
    `lives` numbers the life of each reading; without it a reading on the day of a reset begins the new life.
    `gauges` names the instrument of each reading ('' if none), `paper` those from paper records. `crossing`:
    earliest, middle and latest day on which the limit is met, as far as there is one.
    mode: 'compensated', 'as read' or 'both'; in 'as read' no limit is drawn, since it differs with the
    temperature of every reading.
    """
    number = len(days)
    gauges, paper = gauges or [""] * number, paper or [False] * number
    lives = _life_numbers(days, resets) if lives is None else lives
    if {len(as_read), len(compensated), len(lives), len(gauges), len(paper)} != {number}:
        raise ValueError("days, as_read, compensated, lives, gauges and paper differ in length")
    if mode not in ("compensated", "as read", "both"):
        raise ValueError(f"mode is 'compensated', 'as read' or 'both', not {mode!r}")
    readings = list(map(_Reading.of, days, as_read, compensated, lives, gauges, paper))
    readings.sort(key=lambda reading: reading.x)
    top = None if limit is None else float(limit)
    items: list[Item] = []
    if mode != "as read":
        items += _expected(band, top, unit) + _joined(readings) + _against(readings, top, unit)
        items += _crossing(crossing, top, band, today)
    if mode != "compensated":
        items.append(_as_read(readings, unit))
    items += [Mark(day_number(day), word) for day, word in resets]
    items += [Mark(one.x, f"{one.gauge} from here", "faint") for one in _changes(readings)]
    if today is not None and band and day_number(band[-1][0]) > day_number(today):
        items.append(Mark(day_number(today), "scored", "faint"))
    return Scene(
        f"{label}: course over time",
        _description(readings, top, len(resets), unit),
        Axis("", is_date=True),
        Axis(label, unit),
        tuple(items),
        ("Date", "As read", "Compensated to 20 °C", "What happened"),
        _rows(readings, resets, unit),
    )


@dataclass(frozen=True)
class _Reading:
    day: Day
    x: float
    read: float | None
    compensated: float | None
    life: int
    gauge: str
    paper: bool

    @classmethod
    def of(
        cls, day: Day, read: Number | None, compensated: Number | None, life: int, gauge: str, paper: bool
    ) -> "_Reading":
        plain = [None if value is None else float(value) for value in (read, compensated)]
        return cls(day, day_number(day), *plain, life, gauge, paper)

    def words(self, unit: str) -> str:
        said = f"{value_words(self.compensated, unit)} compensated, {value_words(self.read, unit)} as read"
        more = (self.gauge and f"with {self.gauge}", "from paper records" if self.paper else "")
        return ", ".join(filter(None, (f"{day_words(self.day)}: {said}", *more)))


def _changes(readings: list[_Reading]) -> list[_Reading]:
    """The first reading with each other instrument."""
    named = [one for one in readings if one.gauge]
    return [one for before, one in pairwise(named) if one.gauge != before.gauge]


def _life_numbers(days: Sequence[Day], resets: Sequence[tuple[Day, str]]) -> list[int]:
    starts = [day_number(day) for day, _ in resets]
    return [sum(start <= day_number(day) for start in starts) for day in days]


def _expected(band: Sequence[tuple[Day, float, float, float]], limit: float | None, unit: str) -> list[Item]:
    items: list[Item] = []
    if band:
        items.append(Band(tuple((day_number(d), low, high) for d, low, _, high in band), "expected, 9 of 10"))
        items.append(Line(tuple((day_number(d), middle) for d, _, middle, _ in band), role="faint"))
    if limit is not None:
        items.append(Level(limit, f"limit {value_words(limit, unit)}", words_left=True))
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
        ([one for one in under if not one.paper], "compensated to 20 °C", "disc", "main"),
        ([one for one in under if one.paper], "from paper records", "triangle", "main"),
        (over, "compensated, over limit", "diamond", "act"),
    )
    for some, name, shape, role in groups:
        if some:
            at = tuple((one.x, one.compensated) for one in some)
            items.append(Points(at, tuple(one.words(unit) for one in some), name, shape, role))
    return items


def _crossing(
    crossing: Crossing,
    limit: float | None,
    band: Sequence[tuple[Day, float, float, float]],
    today: Day | None,
) -> list[Item]:
    """The stretch of the limit on which it is to be met, and the middle of it; as far as the picture goes."""
    low, middle, high = crossing
    if limit is None or today is None or not band or (low is None and middle is None):
        return []
    begin, edge = day_number(today), day_number(band[-1][0]) + BEYOND
    from_, until = (edge if day is None else min(max(day_number(day), begin), edge) for day in (low, high))
    items: list[Item] = [Line(((from_, limit), (until, limit)), "limit met, 8 of 10", "on")]
    if middle is not None and day_number(middle) <= edge:
        at = max(day_number(middle), begin)
        said = f"Meets the limit about {day_words(middle)}" if at > begin else "Meets the limit about now"
        items.append(Points(((at, limit),), (said,), "about then", "square", "on"))
    return items if until > from_ else items[1:]


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
    changed = _changes(readings)
    rows = []
    for one in readings:
        said = ["from paper records"] if one.paper else []
        said += [f"{one.gauge} from here"] if one in changed else []
        values = (value_words(one.read, unit), value_words(one.compensated, unit))
        rows.append((one.x, day_words(one.day), *values, ", ".join(said)))
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
