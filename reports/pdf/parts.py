"""Parts of a sheet: names with values, a state on its own line, warnings and cautions."""

from collections.abc import Sequence

from reportlab.platypus import Flowable, Table, TableStyle

from reports.pdf import fonts
from reports.pdf.grid import Shown, draw_shape, state_of
from reports.pdf.text import BODY, NAME, TONES, WASHES, literal, paragraph, wrapped

_WHOLE = ((0, 0), (-1, -1))
_FACTS = TableStyle(
    [
        ("VALIGN", *_WHOLE, "TOP"),
        ("FONTNAME", *_WHOLE, fonts.PLAIN),
        ("LEFTPADDING", *_WHOLE, 0),
        ("TOPPADDING", *_WHOLE, 1),
        ("BOTTOMPADDING", *_WHOLE, 2),
    ]
)


def facts(pairs: Sequence[tuple[str, object]], width: float, columns: int = 3) -> Flowable:
    """Names with values in columns; a value may be a Shown state. Empty values show a dash."""
    share = width / columns
    cells = [_fact(name, value, share) for name, value in pairs]
    cells += [""] * (-len(cells) % columns)
    rows = [cells[k : k + columns] for k in range(0, len(cells), columns)] or [[""] * columns]
    made = Table(rows, colWidths=[share] * columns, spaceAfter=6)
    made.setStyle(_FACTS)
    return made


def _fact(name: str, value: object, width: float) -> list[Flowable]:
    if isinstance(value, Shown):
        return [paragraph(name, NAME), StateLine(value, width)]
    return [paragraph(name, NAME), paragraph("–" if value in (None, "") else value, BODY)]


class StateLine(Flowable):
    """A state on a line of its own: shape, word, note."""

    def __init__(self, shown: Shown, width: float, size: float = 8.5) -> None:
        super().__init__()
        self.shown, self.state, self.size = shown, state_of(shown.state), size
        words = literal(f"{self.state.word} {shown.note}".strip())
        self.font = fonts.BOLD if self.state.tone in ("act", "heed") else fonts.PLAIN
        self.lines = wrapped(words, width - size - 16, self.font, size)
        self.width, self.height = width, len(self.lines) * size * 1.35

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        colour = TONES[self.state.tone]
        draw_shape(self.canv, self.state.shape, 0, self.height - self.size * 1.1, self.size, colour)
        self.canv.setFillColor(colour)
        self.canv.setFont(self.font, self.size)
        for n, line in enumerate(self.lines):
            self.canv.drawString(self.size + 4, self.height - self.size * (1 + 1.35 * n), line)


def cautions(items: Sequence[tuple[str, str]], width: float) -> list[Flowable]:
    """Warnings (people), cautions (equipment) and notes: (kind, text), each boxed with its shape and word."""
    made: list[Flowable] = []
    for kind, text in items:
        tone = state_of(kind).tone
        box = Table([[StateLine(Shown(kind), 74), paragraph(text)]], colWidths=[78, width - 78], spaceAfter=4)
        bar = ("LINEBEFORE", (0, 0), (0, -1), 3, TONES[tone])
        look = [("BACKGROUND", *_WHOLE, WASHES[tone]), ("VALIGN", *_WHOLE, "TOP")]
        box.setStyle(TableStyle([*look, ("FONTNAME", *_WHOLE, fonts.PLAIN), bar]))
        made.append(box)
    return made
