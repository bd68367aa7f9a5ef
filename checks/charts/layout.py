"""From a scene to marks on a sheet: one arithmetic for page and paper, so that both show one picture.

Lengths are in points of the sheet, y downwards from the top edge.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from checks.charts import ticks
from checks.charts.scene import Axis, Band, Level, Line, Mark, Pair, Points, Role, Scene, Shape, span

Anchor = Literal["start", "middle", "end"]
TEXT = 11.0
#: a fair width of one letter in text of size 1; labels are placed by it, since fonts differ
LETTER = 0.56
#: how a line of each role is drawn
_KINDS = {"faint": "faint", "limit": "limit", "mark": "mark", "on": "span"}


@dataclass(frozen=True)
class Sheet:
    """The size of a picture in points."""

    width: float
    height: float


WIDE = Sheet(720, 320)
NARROW = Sheet(320, 260)
SPARK = Sheet(112, 28)


@dataclass(frozen=True)
class Stroke:
    """A line; kind names what it is ('axis', 'grid', 'line', 'faint', 'limit', 'mark', 'span')."""

    points: tuple[Pair, ...]
    kind: str


@dataclass(frozen=True)
class Fill:
    """A closed filled area."""

    points: tuple[Pair, ...]
    kind: str


@dataclass(frozen=True)
class Dot:
    """A marker; `readout` makes it a stop of the readout (none for the one in the key)."""

    x: float
    y: float
    r: float
    shape: Shape
    role: Role
    readout: str = ""


@dataclass(frozen=True)
class Words:
    """One line of text whose baseline begins, centres or ends at x, y; kind names what it says."""

    x: float
    y: float
    text: str
    kind: str
    anchor: Anchor = "start"


Ink = Stroke | Fill | Dot | Words


def outline(shape: Shape, x: float, y: float, r: float) -> tuple[Pair, ...]:
    """The corners of a marker; none for a disc or a ring, which are circles."""
    if shape == "diamond":
        return ((x, y - 1.35 * r), (x + 1.35 * r, y), (x, y + 1.35 * r), (x - 1.35 * r, y))
    if shape == "square":
        return ((x - r, y - r), (x + r, y - r), (x + r, y + r), (x - r, y + r))
    if shape == "triangle":
        return ((x, y - 1.25 * r), (x + 1.2 * r, y + r), (x - 1.2 * r, y + r))
    return ()


def width_of(text: str) -> float:
    """A fair width of a line of chart text in points."""
    return len(text) * TEXT * LETTER


@dataclass(frozen=True)
class Frame:
    """The plotting area on the sheet and the ranges that it shows."""

    left: float
    top: float
    right: float
    bottom: float
    x: Pair
    y: Pair

    def across(self, value: float) -> float:
        """Where a horizontal value lies on the sheet."""
        return self.left + (value - self.x[0]) / (self.x[1] - self.x[0]) * (self.right - self.left)

    def down(self, value: float) -> float:
        """Where a vertical value lies on the sheet."""
        return self.bottom - (value - self.y[0]) / (self.y[1] - self.y[0]) * (self.bottom - self.top)

    def place(self, at: tuple[Pair, ...]) -> tuple[Pair, ...]:
        """Values as places on the sheet."""
        return tuple((self.across(x), self.down(y)) for x, y in at)


def layout(scene: Scene, sheet: Sheet = WIDE) -> list[Ink]:
    """The marks of a scene on a sheet, those to be drawn first coming first; words where there is nothing."""
    if not scene.xs():
        return [Words(sheet.width / 2, sheet.height / 2, "No readings yet", "tick", "middle")]
    x, y = span(scene.xs(), scene.x, 0.03), span(scene.ys(), scene.y, 0.08)
    if scene.bare:
        frame = Frame(4, 4, sheet.width - 4, sheet.height - 4, x, y)
        return _items(scene, frame, radius=2.5)
    marks_text, rows = _mark_rows(scene, sheet, x)
    key, key_height = _key(scene, sheet)
    y_ticks = ticks.numbers(*y, most=max(3, int(sheet.height / 40)))
    left, right = max(width_of(label) for _, label in y_ticks) + 12, sheet.width - 8
    most = max(2, int((right - left) / (52 if scene.x.is_date else 40)))
    x_ticks = (ticks.dates if scene.x.is_date else ticks.numbers)(*x, most)
    lines = max((label.count("\n") + 1 for _, label in x_ticks), default=1) + bool(scene.x.label)
    top = TEXT + 8 + key_height + rows * (TEXT + 2)
    frame = Frame(left, top, right, sheet.height - 8 - lines * (TEXT + 2), x, y)
    inks = _axes(scene, frame, sheet, x_ticks, y_ticks) + _items(scene, frame, radius=3.6)
    return inks + marks_text(frame) + key


def _axes(
    scene: Scene, frame: Frame, sheet: Sheet, x_ticks: list[ticks.Tick], y_ticks: list[ticks.Tick]
) -> list[Ink]:
    """Grid, ticks, and the name of each axis; the upright axis is named at the top, so nothing is turned."""
    inks: list[Ink] = []
    for value, label in y_ticks:
        at = frame.down(value)
        inks.append(Stroke(((frame.left, at), (frame.right, at)), "grid"))
        inks.append(Words(frame.left - 6, at + TEXT * 0.35, label, "tick", "end"))
    for value, label in x_ticks:
        at = frame.across(value)
        inks.append(Stroke(((at, frame.bottom), (at, frame.bottom + 4)), "axis"))
        for line, text in enumerate(label.split("\n")):
            held = min(at, sheet.width - width_of(text) / 2)
            inks.append(Words(held, frame.bottom + 4 + TEXT * (1 + line), text, "tick", "middle"))
    inks.append(Stroke(((frame.left, frame.bottom), (frame.right, frame.bottom)), "axis"))
    inks.append(Words(0, TEXT, _axis_words(scene.y), "title"))
    if scene.x.label:
        inks.append(Words(frame.right, sheet.height - 2, _axis_words(scene.x), "tick", "end"))
    return inks


def _axis_words(axis: Axis) -> str:
    return f"{axis.label}, {axis.unit}" if axis.unit else axis.label


def _items(scene: Scene, frame: Frame, radius: float) -> list[Ink]:
    order = (Band, Level, Mark, Line, Points)
    drawn: list[Ink] = []
    for kind in order:
        for item in scene.items:
            if isinstance(item, kind):
                drawn += _DRAW[kind](item, frame, radius, scene.bare)
    return drawn


def _band(band: Band, frame: Frame, _radius: float, _bare: bool) -> list[Ink]:
    upper = tuple((x, high) for x, _, high in band.at)
    lower = tuple((x, low) for x, low, _ in reversed(band.at))
    return [Fill(frame.place(upper + lower), "band")]


def _level(level: Level, frame: Frame, _radius: float, bare: bool) -> list[Ink]:
    at = frame.down(level.y)
    start = frame.left if level.start is None else frame.across(level.start)
    inks: list[Ink] = [Stroke(((start, at), (frame.right, at)), "limit")]
    if level.start is not None:
        inks.append(Stroke(((start, at), (start, at + 6)), "limit"))
    if not bare and level.label:
        x, anchor = (start + 4, "start") if level.words_left else (frame.right, "end")
        inks.append(Words(x, at - 4, level.label, "limit-label", anchor))
    return inks


def _mark(mark: Mark, frame: Frame, _radius: float, _bare: bool) -> list[Ink]:
    at = frame.across(mark.x)
    return [Stroke(((at, frame.top), (at, frame.bottom)), _KINDS[mark.role])]


def _line(line: Line, frame: Frame, _radius: float, _bare: bool) -> list[Ink]:
    return [Stroke(frame.place(line.at), _KINDS.get(line.role, "line"))] if len(line.at) > 1 else []


def _points(points: Points, frame: Frame, radius: float, _bare: bool) -> list[Ink]:
    return [
        Dot(x, y, radius, points.shape, points.role, readout)
        for (x, y), readout in zip(frame.place(points.at), points.readouts, strict=True)
    ]


_DRAW: dict[type, Callable] = {Band: _band, Level: _level, Mark: _mark, Line: _line, Points: _points}


def _mark_rows(scene: Scene, sheet: Sheet, x: Pair) -> tuple[Callable[[Frame], list[Ink]], int]:
    """Where the words of the upright marks go: above the plot, in as many rows (at most 3) as they need.

    Words that fit in no row are left out; the mark itself stays and the table names it.
    """
    rough = Frame(40, 0, sheet.width - 8, 1, x, (0, 1))
    starts = [sheet.width * 2] * 3
    placed: list[tuple[Mark, int]] = []
    # From the right, so that the line up to a higher row never runs through the words of a lower one.
    marks = (item for item in scene.items if isinstance(item, Mark) and item.label)
    for mark in sorted(marks, key=lambda item: -item.x):
        start = min(rough.across(mark.x), sheet.width - 8 - width_of(mark.label))
        end = start + width_of(mark.label)
        row = next((k for k, taken in enumerate(starts) if end + 6 < taken), None)
        if row is not None:
            starts[row] = start
            placed.append((mark, row))
    rows = max((row + 1 for _, row in placed), default=0)

    def words(frame: Frame) -> list[Ink]:
        inks: list[Ink] = []
        for mark, row in placed:
            at, y = frame.across(mark.x), frame.top - 4 - row * (TEXT + 2)
            start = min(at, sheet.width - 8 - width_of(mark.label))
            inks.append(Words(start, y, mark.label, "tick" if mark.role == "faint" else "mark-label"))
            if row:
                inks.append(Stroke(((at, y + 3), (at, frame.top)), _KINDS[mark.role]))
        return inks

    return words, rows


def _key(scene: Scene, sheet: Sheet) -> tuple[list[Ink], float]:
    """What each shape and line means, in rows under the title, and the height that they take."""
    inks: list[Ink] = []
    x, y, named = 2.0, 2 * TEXT + 8, False
    for item in scene.items:
        if not isinstance(item, Points | Line | Band) or not item.label or not item.at:
            continue
        needed = 20 + width_of(item.label)
        if named and x + needed > sheet.width:
            x, y = 2.0, y + TEXT + 5
        inks += _sample(item, x + 7, y - TEXT * 0.35)
        inks.append(Words(x + 18, y, item.label, "tick"))
        x, named = x + needed + 12, True
    return inks, (y - TEXT if named else 0)


def _sample(item: Points | Line | Band, x: float, y: float) -> list[Ink]:
    if isinstance(item, Points):
        return [Dot(x, y, 3.6, item.shape, item.role)]
    if isinstance(item, Band):
        return [Fill(((x - 7, y - 4), (x + 7, y - 4), (x + 7, y + 4), (x - 7, y + 4)), "band")]
    return [Stroke(((x - 7, y), (x + 7, y)), _KINDS.get(item.role, "line"))]
