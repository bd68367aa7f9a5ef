"""The outline of one panel, unrolled from root to tip, with the areas marked in which a look was not good.

No real panel's shape: a strip that narrows towards its tip, its leading edge along the middle.
"""

from checks.charts.layout import TEXT, Fill, Ink, Sheet, Stroke, Words
from checks.charts.scene import Pair
from checks.charts.svg import still
from checks.engine.areas import PARTS, Areas

SHEET = Sheet(300, 112)
_LEFT, _TOP, _WIDE, _HIGH = 44.0, 20.0, 50.0, 30.0
_NARROWS = 5.0  # how much lower the outline is at the tip, on each side
_HATCH = 7.0


def outline(areas: Areas) -> list[Ink]:
    """The marks of the drawing on SHEET."""
    right, bottom = _LEFT + _WIDE * len(PARTS), _TOP + _HIGH * len(areas.sides)
    inks: list[Ink] = []
    for row, side in enumerate(areas.sides):
        inks.append(Words(0, _TOP + _HIGH * (row + 0.5) + TEXT * 0.35, side, "tick"))
        for column, part in enumerate(PARTS):
            if (side, part) in areas.marked:
                inks += _marked(column, row, len(areas.sides))
    for column, part in enumerate(PARTS):
        inks.append(Words(_LEFT + _WIDE * (column + 0.5), _TOP - 6, part, "tick", "middle"))
        if column:
            top, foot = _edges(column)
            inks.append(Stroke(((_LEFT + _WIDE * column, top), (_LEFT + _WIDE * column, foot)), "grid"))
    for row in range(1, len(areas.sides)):
        inks.append(Stroke(((_LEFT, _TOP + _HIGH * row), (right, _TOP + _HIGH * row)), "grid"))
    round_it = ((_LEFT, _TOP), (right, _TOP + _NARROWS), (right, bottom - _NARROWS), (_LEFT, bottom))
    return [*inks, Stroke((*round_it, round_it[0]), "axis")]


def outline_svg(areas: Areas, where: str) -> str:
    """The drawing for a page. where: the panel, as read out."""
    return still(outline(areas), SHEET, f"Outline of the panel: {where}", f"Marked: {areas.words}.")


def _edges(column: float) -> Pair:
    """Where the outline begins and ends across, at so many parts from the root."""
    inset = _NARROWS * column / len(PARTS)
    return _TOP + inset, _TOP + 3 * _HIGH - inset


def _marked(column: int, row: int, rows: int) -> list[Ink]:
    """One marked area: filled and hatched, so that it is seen without its colour."""
    left, right = _LEFT + _WIDE * column, _LEFT + _WIDE * (column + 1)
    (left_top, left_foot), (right_top, right_foot) = _edges(column), _edges(column + 1)
    top, foot = _TOP + _HIGH * row, _TOP + _HIGH * (row + 1)
    corners = (
        (left, max(top, left_top)),
        (right, max(top, right_top)),
        (right, min(foot, right_foot)),
        (left, min(foot, left_foot)),
    )
    top, foot = max(left_top, top) + 2, min(left_foot, foot) - 2
    return [Fill(corners, "area"), *_hatching(left + 2, top, right - 2, foot)]


def _hatching(left: float, top: float, right: float, foot: float) -> list[Ink]:
    """Slanting lines over a rectangle, cut off at its edges."""
    inks: list[Ink] = []
    start = left - (foot - top) + _HATCH
    while start < right:
        ends = (max(start, left), min(start + foot - top, right))
        (x1, y1), (x2, y2) = ((x, foot - (x - start)) for x in ends)
        inks.append(Stroke(((x1, y1), (x2, y2)), "hatch"))
        start += _HATCH
    return inks
