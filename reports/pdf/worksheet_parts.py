"""Parts of a sheet to fill in by hand: boxes to write in and to tick, tables of them, limits beside them."""

from collections.abc import Sequence

from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import Flowable, Spacer, Table, TableStyle

from reports.pdf import fonts
from reports.pdf.frame import Shown, paragraph
from reports.pdf.grid import state_of
from reports.pdf.parts import StateLine
from reports.pdf.text import BODY, INK, LINE, NAME, SMALL, SOFT, TONES, WASHES
from reports.worksheet import Box, Heed, Place, Task
from reports.worksheet_steps import Fill, Limits

#: points; a line of handwriting needs about 7 mm
WRITE = 20.0
TICK = 11.0
NUMBER = 42.0
STEP = ParagraphStyle("step", BODY, fontSize=9, leading=12, spaceAfter=0)
STEP_NUMBER = ParagraphStyle("step-number", STEP, fontName=fonts.BOLD)
HINT = ParagraphStyle("hint", NAME, fontSize=6.5, leading=8, textColor=SOFT)
CELL = ParagraphStyle("cell", NAME, fontSize=7.5, textColor=INK)
VALUE = ParagraphStyle("value", CELL, alignment=2)
_WHOLE = ((0, 0), (-1, -1))
_TIGHT = [
    ("FONTNAME", *_WHOLE, fonts.PLAIN),
    ("LEFTPADDING", *_WHOLE, 4),
    ("RIGHTPADDING", *_WHOLE, 4),
    ("TOPPADDING", *_WHOLE, 2),
    ("BOTTOMPADDING", *_WHOLE, 2),
]
_RULED = [("GRID", *_WHOLE, 0.7, INK), ("VALIGN", *_WHOLE, "MIDDLE")]
#: makes a row as high as WRITE, and higher where its words take more lines
_ROOM = [("TOPPADDING", (0, 1), (-1, -1), 5.5), ("BOTTOMPADDING", (0, 1), (-1, -1), 5.5)]
_HEAD = ("BACKGROUND", (0, 0), (-1, 0), WASHES["plain"])


class Tick(Flowable):
    """An empty square to tick, with a word after it where one is given."""

    def __init__(self, word: str = "", size: float = TICK) -> None:
        super().__init__()
        self.word, self.size = word, size
        self.width, self.height = size + (62 if word else 0), size

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        self.canv.setStrokeColor(INK)
        self.canv.setLineWidth(1)
        self.canv.rect(0, 0, self.size, self.size)
        if self.word:
            self.canv.setFillColor(SOFT)
            self.canv.setFont(fonts.PLAIN, NAME.fontSize)
            self.canv.drawString(self.size + 4, 2.5, self.word)


def lines_to_fill(boxes: Sequence[Box], width: float, columns: int) -> Flowable:
    """Boxes with their names above them, side by side."""
    share = width / columns
    cells: list[list[Flowable]] = [_named(box) for box in boxes]
    cells += [[] for _ in range(-len(cells) % columns)]
    rows = [cells[k : k + columns] for k in range(0, len(cells), columns)]
    made = Table(rows, [share] * columns, [WRITE + 11] * len(rows), spaceAfter=6)
    ruled = [("GRID", *_WHOLE, 0.7, INK), ("VALIGN", *_WHOLE, "TOP")]
    made.setStyle(TableStyle([*_TIGHT, *ruled]))
    return made


def _named(box: Box) -> list[Flowable]:
    under = paragraph(box.printed, STEP) if box.printed else paragraph(box.hint, HINT)
    return [paragraph(box.label, NAME), under]


def heed(one: Heed, width: float) -> Flowable:
    """A warning, caution or note by its shape and word, with a square to tick once it is read."""
    tone = state_of(one.kind).tone
    cells = [StateLine(Shown(one.kind), 66), paragraph(f"{one.number}. {one.text}", STEP)]
    cells.append(Tick("read") if one.box else "")
    made = Table([cells], [72, width - 72 - 54, 54], spaceAfter=3, splitInRow=1)
    look = [("BACKGROUND", *_WHOLE, WASHES[tone]), ("LINEBEFORE", (0, 0), (0, -1), 3, TONES[tone])]
    made.setStyle(TableStyle([*_TIGHT, *look, ("VALIGN", *_WHOLE, "TOP")]))
    return made


def task(one: Task, width: float) -> list[Flowable]:
    """A step: number and text with its square, what it is read with, what is read, the limits."""
    side = 54.0 if one.done else 0.0
    words = [paragraph(one.text, STEP), *(paragraph(note, SMALL) for note in one.notes)]
    cells: list[object] = [paragraph(one.number, STEP_NUMBER), words]
    head = Table(
        [[*cells, Tick("done")] if one.done else cells],
        [NUMBER, width - NUMBER - side, *([side] if one.done else [])],
        spaceBefore=3,
        splitInRow=1,
    )
    head.setStyle(TableStyle([*_TIGHT, ("VALIGN", *_WHOLE, "TOP"), ("LINEABOVE", *_WHOLE, 0.5, LINE)]))
    inner = width - NUMBER
    below: list[Flowable] = [_fill(fill, inner) for fill in one.fills]
    below += [_limits(limits, inner) for limits in one.limits]
    return [head, *(_indented(part, width) for part in below)]


def _indented(part: Flowable, width: float) -> Flowable:
    part.hAlign = "RIGHT"
    part.spaceAfter = 4
    return part


def _fill(fill: Fill, width: float) -> Flowable:
    head = [paragraph(name, NAME) for name in fill.head]
    rows = [[_cell(cell) for cell in row] for row in fill.rows]
    made = Table([head, *rows], [share * width for share in fill.share], repeatRows=1, splitInRow=1)
    made.setStyle(TableStyle([*_TIGHT, *_RULED, _HEAD, *_ROOM]))
    return made


def _cell(cell: str | Box) -> object:
    if isinstance(cell, Box):
        return Tick() if cell.tick else Spacer(1, CELL.leading)
    return paragraph(cell, CELL)


def _limits(limits: Limits, width: float) -> Flowable:
    """A limit table with temperatures across, in as many bands as it takes, and its words below."""
    name, most = 128.0, 10
    bands: list[Flowable] = []
    for k in range(0, len(limits.temperatures), most):
        across = limits.temperatures[k : k + most]
        head = [paragraph("Fluid temperature, °C", NAME), *(paragraph(t, VALUE) for t in across)]
        rows = [
            [paragraph(point, CELL), *(paragraph(value, VALUE) for value in values[k : k + most])]
            for point, values in limits.rows
        ]
        share = (width - name) / min(most, len(limits.temperatures))
        band = Table([head, *rows], [name, *([share] * len(across))], hAlign="LEFT")
        band.setStyle(TableStyle([*_TIGHT, ("GRID", *_WHOLE, 0.4, LINE), _HEAD]))
        bands.append(band)
    made = Table([[[*bands, paragraph(limits.words, SMALL)]]], [width])
    none = [(side, *_WHOLE, 0) for side in ("LEFTPADDING", "RIGHTPADDING", "TOPPADDING", "BOTTOMPADDING")]
    made.setStyle(TableStyle([("FONTNAME", *_WHOLE, fonts.PLAIN), *none]))
    return made


def put_back(rows: Sequence[tuple[str, Box]], width: float) -> Flowable:
    """What was disturbed, the last one first, each with a square and a place for initials."""
    cells = [[paragraph(words, STEP), Tick(), paragraph("", HINT)] for words, _ in rows]
    head = [paragraph(name, NAME) for name in ("Put back, the last one first", "Done", "Initials")]
    made = Table(
        [head, *cells],
        [width - 110, 40, 70],
        [None] * (len(cells) + 1),
        spaceAfter=6,
        repeatRows=1,
        splitInRow=1,
    )
    made.setStyle(TableStyle([*_TIGHT, *_RULED, _HEAD, ("TOPPADDING", (0, 1), (-1, -1), 4)]))
    return made


def ruled(lines: int, width: float) -> Flowable:
    """Lines to write on."""
    made = Table([[""]] * lines, [width], [WRITE] * lines, spaceAfter=6)
    made.setStyle(TableStyle([("FONTNAME", *_WHOLE, fonts.PLAIN), ("LINEBELOW", *_WHOLE, 0.7, LINE)]))
    return made


def places(given: Sequence[Place], width: float) -> Flowable:
    """Where people sign, side by side; a signature that is not asked for says so."""
    share = width / len(given)
    made = Table([[_place(place, share - 14) for place in given]], [share] * len(given), spaceAfter=6)
    box = [("BOX", *_WHOLE, 1, INK), ("INNERGRID", *_WHOLE, 0.7, INK), ("VALIGN", *_WHOLE, "TOP")]
    made.setStyle(TableStyle([("FONTNAME", *_WHOLE, fonts.PLAIN), *box]))
    return made


def _place(place: Place, width: float) -> list[Flowable]:
    title = paragraph(place.title, STEP_NUMBER)
    if not place.asked:
        return [title, paragraph("Not asked for by this procedure.", SMALL)]
    made: list[Flowable] = [title]
    for box in place.boxes:
        line = Table([[""]], [width], [WRITE])
        line.setStyle(TableStyle([("FONTNAME", *_WHOLE, fonts.PLAIN), ("LINEBELOW", *_WHOLE, 0.7, INK)]))
        made += [line, paragraph(box.label, NAME), Spacer(1, 1)]
    return made
