"""A chart as data: what is to be seen, in the units of the measurement, before any drawing.

A scene knows nothing of pages or paper. Horizontal values are numbers (minutes, degC) or day numbers of
`date.toordinal`; vertical values are in the unit of the axis. `layout.py` turns a scene into marks on a
sheet, `svg.py` and `reports/pdf/chart.py` put those marks on a page and on paper.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

Pair = tuple[float, float]
#: builders take values as the engine keeps them and draw them as floats
Number = float | Decimal
Shape = Literal["disc", "ring", "diamond", "square", "triangle"]
#: how a thing is coloured: the series itself, beside it, act now, marked on purpose, a limit, a reset
Role = Literal["main", "faint", "act", "on", "limit", "mark"]


@dataclass(frozen=True)
class Axis:
    """One axis; a date axis counts days of `date.toordinal`. Without `low`/`high` the data decide."""

    label: str
    unit: str = ""
    is_date: bool = False
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Points:
    """Measured values, each with the words that the readout gives for it."""

    at: tuple[Pair, ...]
    readouts: tuple[str, ...]
    label: str = ""
    shape: Shape = "disc"
    role: Role = "main"

    def __post_init__(self) -> None:
        if len(self.at) != len(self.readouts):
            raise ValueError(f"{len(self.at)} points but {len(self.readouts)} readouts")


@dataclass(frozen=True)
class Line:
    """A line through values, e.g. a fitted course, a limit by temperature, a bar of uncertainty."""

    at: tuple[Pair, ...]
    label: str = ""
    role: Role = "main"


@dataclass(frozen=True)
class Band:
    """The space between two courses: (x, low, high) from left to right."""

    at: tuple[tuple[float, float, float], ...]
    label: str = ""


@dataclass(frozen=True)
class Level:
    """A horizontal limit with its words on it, from `start` (or the left edge) to the right edge.

    words_left: put the words at the left end, where something of note lies on the right.
    """

    y: float
    label: str
    start: float | None = None
    words_left: bool = False


@dataclass(frozen=True)
class Mark:
    """An upright line at something that happened: a purge, a panel change, the pump started; 'faint' where it
    changes nothing of what is measured, as another instrument."""

    x: float
    label: str
    role: Role = "mark"


Item = Points | Line | Band | Level | Mark


@dataclass(frozen=True)
class Scene:
    """A whole chart: title, words that tell the same to one who cannot see it, axes, items, figures.

    `head` and `rows` are the same figures as a table. `bare` draws no axes (a spark beside a word).
    """

    title: str
    description: str
    x: Axis
    y: Axis
    items: tuple[Item, ...]
    head: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    bare: bool = False

    def xs(self) -> list[float]:
        """Every horizontal value that the picture must hold."""
        found: list[float] = []
        for item in self.items:
            if isinstance(item, Points | Line | Band):
                found += [place[0] for place in item.at]
            elif isinstance(item, Mark):
                found.append(item.x)
            elif item.start is not None:
                found.append(item.start)
        return found

    def ys(self) -> list[float]:
        """Every vertical value that the picture must hold."""
        found: list[float] = []
        for item in self.items:
            if isinstance(item, Points | Line):
                found += [y for _, y in item.at]
            elif isinstance(item, Band):
                found += [y for _, low, high in item.at for y in (low, high)]
            elif isinstance(item, Level):
                found.append(item.y)
        return found


def span(values: Sequence[float], axis: Axis, room: float) -> Pair:
    """The range of an axis: its own bounds, or the values with `room` (a share) on either side.

    A range without width is widened, so that one reading alone still gives a chart.
    """
    low = min(values, default=0.0) if axis.low is None else axis.low
    high = max(values, default=1.0) if axis.high is None else axis.high
    width = high - low
    if width <= 0:
        width = 30.0 if axis.is_date else max(abs(high) * 0.2, 1.0)
        return (low - width / 2, high + width / 2)
    below = 0 if axis.low is not None else room * width
    above = 0 if axis.high is not None else room * width
    return (low - below, high + above)
