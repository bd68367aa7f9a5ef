"""Tables on paper, drawn straight onto the sheet from fixed row heights, and the shapes of states."""

from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.lib.colors import Color
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from fleet import shapes
from reports.pdf import fonts
from reports.pdf.text import INK, LINE, SOFT, TONES, WASHES, literal, paragraph, wrapped

SIZE, LEADING, PAD = 7.5, 9.5, 3.0
#: a cell that would need more lines than this is cut with '…', so that a row always fits on a sheet
MOST_LINES = 30


@dataclass(frozen=True)
class Shown:
    """A table cell that shows a state by shape, word and tone, with an optional note after the word."""

    state: str
    note: str = ""


Cell = str | Shown


def draw_shape(canvas: Canvas, name: str, x: float, y: float, size: float, colour: Color) -> None:
    """A shape of fleet.shapes with its lower left corner at x, y; drawn once a file, then only named."""
    form = f"{name}-{colour.hexval()[2:]}"
    if not canvas.hasForm(form):
        canvas.beginForm(form, 0, 0, 16, 16)
        _trace(canvas, name, colour)
        canvas.endForm()
    canvas.saveState()
    canvas.transform(size / 16, 0, 0, size / 16, x, y)
    canvas.doForm(form)
    canvas.restoreState()


def _trace(canvas: Canvas, name: str, colour: Color) -> None:
    canvas.setStrokeColor(colour)
    canvas.setFillColor(colour)
    canvas.setLineWidth(1.5)
    for mark in shapes.SHAPES[name]:
        canvas.setDash([2.6, 2.6] if getattr(mark, "dashed", False) else [])
        if isinstance(mark, shapes.Ring):
            canvas.circle(mark.x, 16 - mark.y, mark.r, 1, int(mark.solid))
            continue
        route = canvas.beginPath()
        route.moveTo(mark.points[0][0], 16 - mark.points[0][1])
        for x, y in mark.points[1:]:
            route.lineTo(x, 16 - y)
        if mark.closed:
            route.close()
        canvas.drawPath(route, 1, int(mark.solid))


def state_of(key: str) -> shapes.State:
    """The word, shape and tone of a state; an unknown key is shown as its own word."""
    try:
        return shapes.state(key)
    except KeyError:
        return shapes.State(literal(key), "note", "plain")


class Grid(Flowable):
    """A table drawn straight onto the sheet: its head stands on every sheet, rows are never torn apart.

    Row heights are known before drawing, so the cost grows with the number of rows and no faster.
    """

    def __init__(self, plan: "_Plan", start: int = 0, stop: int | None = None) -> None:
        super().__init__()
        self.plan, self.start = plan, start
        self.stop = len(plan.lines) if stop is None else stop
        self.spaceAfter = 8
        self.width = sum(plan.widths)
        self.height = plan.head_height + sum(plan.heights[self.start : self.stop])

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        return self.width, self.height

    def split(self, _width: float, height: float) -> list[Flowable]:
        """As many rows as fit; nothing when not even one does, so that the table begins on the next sheet."""
        room, at = height - self.plan.head_height, self.start
        while at < self.stop and self.plan.heights[at] <= room:
            room -= self.plan.heights[at]
            at += 1
        if at == self.start:
            return []
        return [Grid(self.plan, self.start, at), Grid(self.plan, at, self.stop)]

    def draw(self) -> None:
        canvas, plan, top = self.canv, self.plan, self.height
        canvas.setFillColor(WASHES["plain"])
        canvas.rect(0, top - plan.head_height, self.width, plan.head_height, stroke=0, fill=1)
        self._row(plan.head, top, fonts.BOLD, SOFT)
        top -= plan.head_height
        canvas.setStrokeColor(LINE)
        canvas.setLineWidth(0.5)
        for k in range(self.start, self.stop):
            canvas.line(0, top, self.width, top)
            self._row(plan.lines[k], top, fonts.PLAIN, INK)
            top -= plan.heights[k]
        canvas.line(0, top, self.width, top)

    def _row(self, cells: Sequence[tuple[list[str], str]], top: float, font: str, colour: Color) -> None:
        """Draw one row whose upper edge is at `top`; a cell is its lines and the key of its state, if any."""
        canvas, x = self.canv, 0.0
        for k, (lines, key) in enumerate(cells):
            state = state_of(key) if key else None
            ink, indent = colour, 0.0
            if state:
                ink, indent = TONES[state.tone], SIZE + 3
                draw_shape(canvas, state.shape, x + PAD, top - PAD - SIZE, SIZE, ink)
            canvas.setFillColor(ink)
            canvas.setFont(fonts.BOLD if state and state.tone == "act" else font, SIZE)
            for n, line in enumerate(lines):
                y = top - PAD - SIZE + 0.8 - n * LEADING
                if k in self.plan.numeric:
                    canvas.drawRightString(x + self.plan.widths[k] - PAD, y, line)
                else:
                    canvas.drawString(x + PAD + indent, y, line)
            x += self.plan.widths[k]


@dataclass(frozen=True)
class _Plan:
    """A table with every cell broken into lines and every height known."""

    widths: tuple[float, ...]
    numeric: frozenset[int]
    head: list[tuple[list[str], str]]
    head_height: float
    lines: list[list[tuple[list[str], str]]]
    heights: list[float]


def table(
    head: Sequence[str],
    rows: Sequence[Sequence[Cell]],
    widths: Sequence[float],
    numeric: Sequence[int] = (),
) -> Flowable:
    """A table whose head is repeated on every sheet. Widths in points; `numeric` columns stand to the right.

    Text is printed literally and wrapped; long cells make their row higher. An empty table says so.
    """
    if any(len(row) != len(widths) for row in (head, *rows)):
        raise ValueError(f"Every row needs {len(widths)} cells.")
    if not rows:
        return paragraph("Nothing to list.")
    lines = [
        [_lines(cell, width, fonts.PLAIN) for cell, width in zip(row, widths, strict=True)] for row in rows
    ]
    top = [_lines(cell, width, fonts.BOLD) for cell, width in zip(head, widths, strict=True)]
    plan = _Plan(tuple(widths), frozenset(numeric), top, _height(top), lines, [_height(row) for row in lines])
    return Grid(plan)


def _lines(cell: Cell, width: float, font: str) -> tuple[list[str], str]:
    if isinstance(cell, Shown):
        state = state_of(cell.state)
        words = f"{state.word} {cell.note}".strip()
        bold = fonts.BOLD if state.tone == "act" else font
        return _cut(wrapped(literal(words), width - 2 * PAD - SIZE - 3, bold, SIZE)), cell.state
    return _cut(wrapped(literal(cell), width - 2 * PAD, font, SIZE)), ""


def _cut(lines: list[str]) -> list[str]:
    return lines if len(lines) <= MOST_LINES else [*lines[: MOST_LINES - 1], "…"]


def _height(row: Sequence[tuple[list[str], str]]) -> float:
    return max(len(lines) for lines, _ in row) * LEADING + 2 * PAD - 1
