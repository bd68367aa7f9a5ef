"""Parts of a record on paper: sections that hold together, places for signatures, stamps, small charts."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import CondPageBreak, Flowable, Paragraph, Spacer, Table, TableStyle

from checks.charts.scene import Band, Line, Points, Scene
from reports.pdf import fonts
from reports.pdf.chart import drawing
from reports.pdf.frame import Document, Shown
from reports.pdf.parts import StateLine
from reports.pdf.text import BODY, HEADINGS, LINE, NAME, SMALL, SOFT, TONES, WASHES, paragraph, safe
from reports.record_story import SignaturePlace, Signed

NAMED = ParagraphStyle("named", BODY, fontName=fonts.BOLD, fontSize=9, spaceAfter=1)
TITLE = ParagraphStyle("sign-title", SMALL, fontName=fonts.BOLD, fontSize=7.5, spaceAfter=3)
UNSIGNED = ParagraphStyle("unsigned", BODY, fontName=fonts.ITALIC, textColor=SOFT)
STAMP = ParagraphStyle("stamp", BODY, fontName=fonts.BOLD, spaceAfter=0)
#: points: a section that needs more than the most begins where the least is left and goes on overleaf
MOST_KEPT, LEAST_KEPT = 440.0, 90.0
SHORT = 600  # the longest text inside a box that can't be parted between sheets
#: more charts than this are drawn smaller
FEW = 4
CHART_KEY = (
    "Series: disc a reading, square the settled run, diamond over the ceiling. Limits: line and rings the "
    "limit and the rows of its table, square the measured value, upright bar its uncertainty U (k = 2)."
)
_WHOLE = ((0, 0), (-1, -1))
_NO_SPACE = [("LEFTPADDING", *_WHOLE, 0), ("RIGHTPADDING", *_WHOLE, 6), ("TOPPADDING", *_WHOLE, 0)]


def section(document: Document, title: str, parts: Sequence[Flowable], keep: bool = True) -> None:
    """A heading with what belongs to it, kept on one sheet where it fits; nothing without parts."""
    if not parts:
        return
    head = HEADINGS[2]
    needed = head.leading + head.spaceBefore + head.spaceAfter
    needed += sum(_height(part, document.width) for part in (parts if keep else parts[:1]))
    made = Paragraph(safe(title), head)
    made.bookmark = (title, 0)
    document.add(CondPageBreak(needed if needed <= MOST_KEPT else LEAST_KEPT), made, *parts)


def _height(part: Flowable, width: float) -> float:
    return part.wrap(width, 100_000)[1] + part.getSpaceBefore() + part.getSpaceAfter()


def stamp(text: str, width: float, tone: str = "act") -> Flowable:
    """Words across the sheet that nobody overlooks. Short ones only: a stamp is not parted between sheets."""
    style = ParagraphStyle("stamped", STAMP, textColor=TONES[tone])
    made = Table([[paragraph(text[:SHORT], style)]], colWidths=[width], spaceAfter=6)
    box = ("BOX", *_WHOLE, 1.6, TONES[tone])
    made.setStyle(
        TableStyle([box, ("BACKGROUND", *_WHOLE, WASHES[tone]), ("FONTNAME", *_WHOLE, fonts.PLAIN)])
    )
    return made


def verdict(outcome: str, width: float) -> Flowable:
    """The outcome as the largest words of the sheet."""
    line = StateLine(Shown(outcome), width, 12)
    line.spaceAfter = 3
    return line


def listed(items: Iterable[str]) -> list[Flowable]:
    """A list; each item may be as long as it likes."""
    return [paragraph(f"–  {item}") for item in items]


def signatures(places: Sequence[SignaturePlace], width: float, when: Callable[[object], str]) -> Flowable:
    """The places side by side in one box; what is not signed says so and leaves its room."""
    share = width / len(places)
    cells = [_place(place, when) for place in places]
    made = Table([cells], colWidths=[share] * len(places), spaceAfter=6)
    made.setStyle(
        TableStyle(
            [
                ("BOX", *_WHOLE, 1, LINE),
                ("LINEAFTER", (0, 0), (-2, -1), 0.5, LINE),
                ("VALIGN", *_WHOLE, "TOP"),
                ("FONTNAME", *_WHOLE, fonts.PLAIN),
                ("LEFTPADDING", *_WHOLE, 7),
                ("RIGHTPADDING", *_WHOLE, 7),
                ("TOPPADDING", *_WHOLE, 6),
                ("BOTTOMPADDING", *_WHOLE, 6),
            ]
        )
    )
    return made


def _place(place: SignaturePlace, when: Callable[[object], str]) -> list[Flowable]:
    title = paragraph(place.title.upper(), TITLE)
    if place.signed is None:
        return [title, Spacer(1, 4), paragraph(place.unsigned, UNSIGNED), Spacer(1, 40)]
    return [title, *_signed(place.signed, when)]


def _signed(one: Signed, when: Callable[[object], str]) -> list[Flowable]:
    return [
        paragraph(one.name, NAMED),
        paragraph(_certificate(one)),
        paragraph(one.statement[:SHORT]),
        paragraph(f"Signed {when(one.at)}", NAME),
        paragraph(f"Authorisation {one.authorisation}", NAME),
        paragraph(f"Record {one.record}", NAME),
    ]


def _certificate(one: Signed) -> str:
    if one.certificate_kind == one.certificate_number:  # the words for none
        return f"Certificate: {one.certificate_kind}"
    return f"{one.certificate_kind}\nNo. {one.certificate_number}"


def charts(scenes: Sequence[Scene], width: float) -> list[Flowable]:
    """Small charts side by side, a row never parted between sheets: two in a row with a key each, or, where
    there are more than FEW, three without (CHART_KEY says once what is to be seen)."""
    few = len(scenes) <= FEW
    across, wide = (2, 320.0) if few else (3, 240.0)
    share, made = width / across, []
    for k in range(0, len(scenes), across):
        shown = [scene if few else without_key(scene) for scene in scenes[k : k + across]]
        row = [_chart(scene, share - 10, wide) for scene in shown]
        grid = Table([row + [""] * (across - len(row))], colWidths=[share] * across)
        grid.setStyle(
            TableStyle([*_NO_SPACE, ("FONTNAME", *_WHOLE, fonts.PLAIN), ("VALIGN", *_WHOLE, "TOP")])
        )
        made.append(grid)
    return made if few else [*made, paragraph(CHART_KEY, SMALL)]


def without_key(scene: Scene) -> Scene:
    """The same picture without its key."""
    keyed = (Points, Line, Band)
    items = [replace(item, label="") if isinstance(item, keyed) else item for item in scene.items]
    return replace(scene, items=tuple(items))


def _chart(scene: Scene, width: float, wide: float) -> Flowable:
    """A scene laid out `wide` points across, then made small, so that its words keep their proportion."""
    made = drawing(scene, wide, wide * 0.52)
    made.renderScale = width / wide
    return made
