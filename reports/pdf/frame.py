"""The frame of every sheet: who, what, which aircraft, which record, page x of y, made when.

A report makes a `Document`, adds its parts in order and takes the bytes. Headings become bookmarks.
"""

from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from typing import Literal

from django.utils import timezone
from reportlab.lib.colors import Color, HexColor
from reportlab.lib.pagesizes import A4, landscape
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, CondPageBreak, Flowable, Frame, PageTemplate, Paragraph

from reports.pdf import fonts
from reports.pdf.grid import Shown, table
from reports.pdf.parts import cautions, facts
from reports.pdf.text import HEADINGS, INK, LINE, SMALL, SOFT, TONES, WASHES, literal, paragraph, safe

__all__ = [
    "Document",
    "Furniture",
    "Shown",
    "cautions",
    "facts",
    "list_document",
    "literal",
    "paragraph",
    "safe",
    "table",
]

MARGIN = 42.0
TOP, FOOT = 74.0, 46.0
ACCENT = HexColor("#54407c")
DEMO = "DEMONSTRATION – invented aircraft, people, readings and limits. Not for use on any aircraft."
UNCONTROLLED = "Uncontrolled when printed"


@dataclass(frozen=True)
class Furniture:
    """What stands round every sheet. `generated` is an aware moment in the zone to be printed."""

    operator: str
    title: str
    generated: datetime
    aircraft: str = ""
    record: str = ""
    is_demo: bool = False
    uncontrolled: bool = True
    wide: bool = False
    subject: str = ""

    def __post_init__(self) -> None:
        if self.generated.tzinfo is None:
            raise ValueError("The moment of printing needs a time zone.")


class Document:
    """A report on paper: add parts, then render. `width` is what tables and drawings may take."""

    def __init__(self, furniture: Furniture) -> None:
        self.furniture = furniture
        self.page = landscape(A4) if furniture.wide else A4
        self.width = self.page[0] - 2 * MARGIN
        self._story: list[Flowable] = []

    def add(self, *parts: Flowable) -> None:
        """Put parts after what is already there."""
        self._story += parts

    def heading(self, text: str, level: int = 1) -> None:
        """A heading (level 1 to 3), also a bookmark."""
        made = Paragraph(safe(text), HEADINGS[level])
        made.bookmark = (literal(text), level - 1)
        # A heading stands with something under it, or begins the next sheet.
        self._story += [CondPageBreak(90), made]

    def text(self, text: object, small: bool = False) -> None:
        """A paragraph; what people typed never acts as markup."""
        self._story.append(paragraph(text, SMALL) if small else paragraph(text))

    def render(self) -> bytes:
        """The finished PDF."""
        target = BytesIO()
        _Template(target, self.furniture, self.page).build(self._story or [paragraph("Nothing to report.")])
        return target.getvalue()


def list_document(operator: str, title: str, *, is_demo: bool) -> Document:
    """A list of the operator's on landscape A4, made now."""
    now = timezone.localtime()
    return Document(Furniture(operator=operator, title=title, generated=now, is_demo=is_demo, wide=True))


class _Template(BaseDocTemplate):
    """Page furniture, bookmarks, metadata; the number of pages is filled in at the end."""

    def __init__(self, target: BytesIO, furniture: Furniture, page: tuple[float, float]) -> None:
        fonts.register()
        super().__init__(
            target,
            pagesize=page,
            title=literal(" – ".join(filter(None, (furniture.title, furniture.aircraft, furniture.record)))),
            author=literal(furniture.operator),
            subject=literal(furniture.subject or furniture.title),
            creator="Weepwatch",
            lang="en-GB",
            displayDocTitle=True,
            initialFontName=fonts.PLAIN,
        )
        self.furniture, self._bookmarks, self._deepest = furniture, 0, -1
        area = Frame(MARGIN, FOOT, page[0] - 2 * MARGIN, page[1] - TOP - FOOT, 0, 0, 0, 0)
        self.addPageTemplates(PageTemplate("sheet", [area], onPage=self._furnish))

    def afterFlowable(self, flowable: Flowable) -> None:
        """Bookmark a heading; a level is never skipped, as viewers refuse that."""
        if not hasattr(flowable, "bookmark"):
            return
        text, level = flowable.bookmark
        self._bookmarks += 1
        self._deepest = min(level, self._deepest + 1)
        self.canv.bookmarkPage(f"h{self._bookmarks}")
        self.canv.addOutlineEntry(text, f"h{self._bookmarks}", self._deepest, closed=False)

    def _endBuild(self) -> None:
        self.canv.beginForm("pages", 0, -3, 40, 10)
        self.canv.setFont(fonts.PLAIN, 7)
        self.canv.setFillColor(SOFT)
        self.canv.drawString(0, 0, str(self.page))
        self.canv.endForm()
        super()._endBuild()

    def _furnish(self, canvas: Canvas, _document: BaseDocTemplate) -> None:
        canvas.saveState()
        right, top = self.pagesize[0] - MARGIN, self.pagesize[1]
        if self.furniture.is_demo:
            canvas.setFillColor(WASHES["heed"])
            canvas.rect(0, top - 18, self.pagesize[0], 18, stroke=0, fill=1)
            _say(canvas, self.pagesize[0] / 2, top - 12.5, DEMO, fonts.BOLD, 7, TONES["heed"], "middle")
        self._head(canvas, right, top)
        self._foot(canvas, right)
        canvas.restoreState()

    def _head(self, canvas: Canvas, right: float, top: float) -> None:
        sheet = self.furniture
        half = (right - MARGIN) * 0.62
        _say(canvas, MARGIN, top - 36, _fit(sheet.operator, half, fonts.PLAIN, 8), fonts.PLAIN, 8, SOFT)
        _say(canvas, MARGIN, top - 50, _fit(sheet.title, half, fonts.BOLD, 11), fonts.BOLD, 11, INK)
        rest = (right - MARGIN) * 0.36
        _say(canvas, right, top - 36, _fit(sheet.aircraft, rest, fonts.BOLD, 9), fonts.BOLD, 9, INK, "end")
        number = f"Record {sheet.record}" if sheet.record else ""
        _say(canvas, right, top - 50, _fit(number, rest, fonts.PLAIN, 8), fonts.PLAIN, 8, SOFT, "end")
        canvas.setStrokeColor(ACCENT)
        canvas.setLineWidth(1.6)
        canvas.setLineCap(1)
        canvas.setDash([0.1, 6])
        canvas.line(MARGIN, top - 58, right, top - 58)

    def _foot(self, canvas: Canvas, right: float) -> None:
        canvas.setDash([])
        canvas.setStrokeColor(LINE)
        canvas.setLineWidth(0.5)
        canvas.line(MARGIN, 34, right, 34)
        _say(canvas, MARGIN, 23, f"Made {moment(self.furniture.generated)}", fonts.PLAIN, 7, SOFT)
        if self.furniture.uncontrolled:
            _say(canvas, (MARGIN + right) / 2, 23, UNCONTROLLED, fonts.PLAIN, 7, SOFT, "middle")
        _say(canvas, right - 20, 23, f"page {self.page} of", fonts.PLAIN, 7, SOFT, "end")
        canvas.translate(right - 18, 23)
        canvas.doForm("pages")


def moment(value: datetime) -> str:
    """A moment as '25 Nov 2026 13:46 UTC' or '… UTC+01:00': the distance from UTC leaves no doubt."""
    distance = "" if not value.utcoffset() else f"{value:%z}"[:3] + ":" + f"{value:%z}"[3:5]
    return f"{value.day} {value:%b %Y %H:%M} UTC{distance}"


def _fit(text: str, width: float, font: str, size: float) -> str:
    """One line of furniture, cut with '…' where it is too long (the full text stands in the body)."""
    words = literal(text).replace("\n", " ")
    while len(words) > 1 and stringWidth(words, font, size) > width:
        words = words[:-2].rstrip() + "…"
    return words


def _say(
    canvas: Canvas,
    x: float,
    y: float,
    text: str,
    font: str,
    size: float,
    colour: Color,
    anchor: Literal["start", "middle", "end"] = "start",
) -> None:
    canvas.setFont(font, size)
    canvas.setFillColor(colour)
    if anchor == "start":
        canvas.drawString(x, y, text)
    elif anchor == "middle":
        canvas.drawCentredString(x, y, text)
    else:
        canvas.drawRightString(x, y, text)
