"""Sheets of labels on A4, to be cut along the lines: the code in large type, a QR code, a few words."""

from collections.abc import Sequence

from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.platypus import Flowable

from reports.labels import Label, LabelSheet
from reports.pdf import fonts
from reports.pdf.frame import Document, Furniture, literal
from reports.pdf.qr import Code
from reports.pdf.text import INK, LINE, SOFT, TONES, wrapped

ACROSS = 3
#: points; six rows and the words above them fill a sheet
HEIGHT = 112.0
QR, PAD = 78.0, 7.0
LARGEST, SMALLEST = 20.0, 8.0
LINES = 5


def labels_pdf(sheet: LabelSheet, site: str) -> bytes:
    """The labels as a PDF. site: scheme and host that the codes lead to, e.g. https://fleet.example."""
    document = Document(
        Furniture(
            operator=sheet.operator,
            title=f"Labels: {sheet.title}",
            generated=sheet.made_at,
            is_demo=sheet.is_demo,
            uncontrolled=False,
        )
    )
    document.text(_said(sheet, site), small=True)
    for k in range(0, len(sheet.labels), ACROSS):
        document.add(Row(sheet.labels[k : k + ACROSS], site, document.width, sheet.is_demo))
    if not sheet.labels:
        document.text("Nothing fits this filter, so there is no label.")
    return document.render()


def _said(sheet: LabelSheet, site: str) -> str:
    left = sheet.number - len(sheet.labels)
    more = f" {left} more fit the filter and are not here: narrow it." if left else ""
    return (
        f"Chosen: {sheet.words}. {len(sheet.labels)} labels, leading to {site}.{more} Cut along the lines. A "
        "label is no part marking and no calibration label; put it where the approved manual allows one."
    )


class Row(Flowable):
    """Labels side by side, never parted between sheets."""

    def __init__(self, labels: Sequence[Label], site: str, width: float, is_demo: bool) -> None:
        super().__init__()
        self.labels, self.site, self.is_demo = labels, site, is_demo
        self.width, self.height = width, HEIGHT
        self.share = width / ACROSS

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        for place, label in enumerate(self.labels):
            self.canv.saveState()
            self.canv.translate(place * self.share, 0)
            self._label(label)
            self.canv.restoreState()

    def _label(self, label: Label) -> None:
        canvas = self.canv
        canvas.setStrokeColor(LINE)
        canvas.setDash([2, 2])
        canvas.rect(0, 0, self.share, HEIGHT)
        canvas.setDash([])
        code = literal(label.code)
        size = fitting(code, self.share - 2 * PAD)
        canvas.setFillColor(INK)
        canvas.setFont(fonts.BOLD, size)
        canvas.drawString(PAD, HEIGHT - PAD - LARGEST * 0.8, _cut(code, self.share - 2 * PAD, size))
        address = f"{self.site}{label.path}"
        Code(address, QR).drawOn(canvas, 2, 3)
        self._words(label, address)

    def _words(self, label: Label, address: str) -> None:
        """Beside the code: what it is, then the address for who has no camera at hand."""
        left, top = QR + 5, HEIGHT - PAD - LARGEST - 10
        room = self.share - left - 4
        lines = [one for words in label.lines for one in wrapped(literal(words), room, fonts.PLAIN, 6.5)]
        for line in lines[:LINES]:
            self._say(left, top, line, 6.5)
            top -= 8
        if self.is_demo:
            self.canv.setFillColor(TONES["heed"])
            self.canv.setFont(fonts.BOLD, 6)
            self.canv.drawString(left, top - 1, "DEMO, invented")
        plain = wrapped(literal(address.split("://", 1)[-1]), room, fonts.PLAIN, 5)[:3]
        for n, line in enumerate(plain, start=1):
            self._say(left, 9 + 6 * (len(plain) - n), line, 5)

    def _say(self, x: float, y: float, text: str, size: float) -> None:
        self.canv.setFillColor(SOFT)
        self.canv.setFont(fonts.PLAIN, size)
        self.canv.drawString(x, y, text)


def fitting(code: str, width: float) -> float:
    """The largest size in which a code fits on one line, between SMALLEST and LARGEST.

    >>> fitting("Q-AAAA", 150)
    20.0
    """
    wide = stringWidth(code, fonts.BOLD, LARGEST)
    return max(SMALLEST, min(LARGEST, LARGEST * width / wide)) if wide else LARGEST


def _cut(code: str, width: float, size: float) -> str:
    """A code that is too long even so loses its end, and says so; the QR code holds all of it."""
    while len(code) > 1 and stringWidth(code, fonts.BOLD, size) > width + 0.01:
        code = f"{code[:-2]}…"
    return code
