"""A scene on paper: the marks of checks.charts.layout as a reportlab Drawing, the page's own picture."""

from collections.abc import Iterable

from reportlab.graphics.shapes import STATE_DEFAULTS, Circle, Drawing, Line, Polygon, PolyLine, Shape, String
from reportlab.lib.colors import Color, HexColor

from checks.charts import layout
from checks.charts.layout import Dot, Fill, Ink, Sheet, Stroke, Words
from checks.charts.scene import Scene
from reports.pdf import fonts
from reports.pdf.fonts import printable

# A drawing begins in this font even where every text names its own; it must be an embedded one.
STATE_DEFAULTS["fontName"] = fonts.PLAIN
INK, SOFT, PAPER = HexColor("#1f2a26"), HexColor("#4d5a54"), HexColor("#ffffff")
_STROKES: dict[str, tuple[Color, float, list[int] | None]] = {
    "axis": (HexColor("#7d8378"), 0.8, None),
    "grid": (HexColor("#dcddd2"), 0.5, None),
    "line": (HexColor("#54407c"), 1.6, None),
    "faint": (HexColor("#6d7770"), 0.8, [3, 3]),
    "limit": (HexColor("#9c1f1a"), 1.5, None),
    "mark": (HexColor("#2f6650"), 0.9, [5, 3]),
    "span": (HexColor("#2f6650"), 3.4, None),
    "hatch": (HexColor("#9c1f1a"), 0.9, None),
}
#: a little smaller than the page's text, since Vera runs wide
SIZE = layout.TEXT * 0.8
_FILLS = {"band": HexColor("#ddd5ea"), "area": HexColor("#f9e2dd")}
_WORDS = {
    "tick": (SOFT, fonts.PLAIN),
    "title": (INK, fonts.BOLD),
    "limit-label": (HexColor("#9c1f1a"), fonts.BOLD),
    "mark-label": (HexColor("#2f6650"), fonts.PLAIN),
}
_DOTS = {
    "main": (HexColor("#54407c"), PAPER),
    "faint": (PAPER, HexColor("#6d7770")),
    "act": (HexColor("#9c1f1a"), PAPER),
    "on": (HexColor("#2f6650"), PAPER),
}


def drawing(scene: Scene, width: float, height: float = 0) -> Drawing:
    """A flowable of the scene in points; the height is 0.5 of the width unless given.

    Keep it narrower than the frame that it stands in, or reportlab refuses the page.
    """
    sheet = Sheet(width, height or width * 0.5)
    return still(layout.layout(scene, sheet), sheet)


def still(inks: Iterable[Ink], sheet: Sheet, scale: float = 1) -> Drawing:
    """Marks on a sheet as a flowable of its size times scale."""
    fonts.register()
    made = Drawing(sheet.width * scale, sheet.height * scale, transform=(scale, 0, 0, scale, 0, 0))
    for ink in inks:
        made.add(_shape(ink, sheet.height))
    return made


def _shape(ink: Ink, height: float) -> Shape:
    """One mark; paper counts upwards from its foot, so every y is turned round."""
    if isinstance(ink, Stroke):
        colour, width, dash = _STROKES[ink.kind]
        points = [v for x, y in ink.points for v in (x, height - y)]
        if len(ink.points) == 2:
            return Line(*points, strokeColor=colour, strokeWidth=width, strokeDashArray=dash)
        return PolyLine(points, strokeColor=colour, strokeWidth=width, strokeDashArray=dash, strokeLineJoin=1)
    if isinstance(ink, Fill):
        points = [v for x, y in ink.points for v in (x, height - y)]
        return Polygon(points, fillColor=_FILLS[ink.kind], strokeColor=None)
    if isinstance(ink, Words):
        colour, font = _WORDS[ink.kind]
        return String(
            ink.x,
            height - ink.y,
            printable(ink.text),
            fontName=font,
            fontSize=SIZE,
            fillColor=colour,
            textAnchor=ink.anchor,
        )
    return _dot(ink, height)


def _dot(ink: Dot, height: float) -> Shape:
    fill, edge = _DOTS[ink.role]
    corners = layout.outline(ink.shape, ink.x, ink.y, ink.r)
    look = {"fillColor": fill, "strokeColor": edge, "strokeWidth": 1.2 if ink.role == "faint" else 0.6}
    if corners:
        return Polygon([v for x, y in corners for v in (x, height - y)], **look)
    return Circle(ink.x, height - ink.y, ink.r, **look)
