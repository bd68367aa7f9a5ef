"""A scene on a page: SVG with classes only, stops for the readout, and the same figures as a table.

No style attribute, no script and no address in it: fit for a strict content security policy. All text is
escaped.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from checks.charts import layout
from checks.charts.layout import Dot, Fill, Ink, Sheet, Stroke, Words
from checks.charts.scene import Pair, Scene

_POINT = {"main": "c-point", "faint": "c-point-faint", "act": "c-point-act", "on": "c-point-on"}


@dataclass(frozen=True)
class Picture:
    """A chart ready for a page: `svg` (a wide and a narrow drawing, CSS shows one), `table`, `caption`."""

    svg: SafeString
    table: SafeString
    caption: str


def picture(scene: Scene, caption: str = "") -> Picture:
    """A scene as two drawings for wide and narrow screens, and its figures as a table."""
    drawings = format_html(
        "{}{}", svg(scene, layout.WIDE, "for-wide"), svg(scene, layout.NARROW, "for-narrow")
    )
    return Picture(drawings, table(scene), caption or scene.title)


def spark(scene: Scene) -> SafeString:
    """A bare scene as a small still drawing beside a word; its description is read out instead of it."""
    return format_html('<span class="spark chart">{}</span>', svg(scene, layout.SPARK, ""))


def svg(scene: Scene, sheet: Sheet = layout.WIDE, size_class: str = "") -> SafeString:
    """One drawing. A bare scene is an image; any other is a group whose points can be walked through."""
    inks = layout.layout(scene, sheet)
    stops = iter(range(len(inks)))
    body = mark_safe("".join(_ink(ink, scene.bare, stops) for ink in inks))
    return format_html(
        '<svg class="{}" viewBox="0 0 {} {}" role="{}"><title>{}</title><desc>{}</desc>{}</svg>',
        size_class,
        _short(sheet.width),
        _short(sheet.height),
        "img" if scene.bare else "group",
        scene.title,
        scene.description,
        body,
    )


def still(inks: Iterable[Ink], sheet: Sheet, title: str, description: str) -> SafeString:
    """Marks without a scene as a drawing to look at: the title names it, the description says it in words."""
    body = mark_safe("".join(_ink(ink, True, iter(())) for ink in inks))
    return format_html(
        '<svg class="still" viewBox="0 0 {} {}" role="img"><title>{}</title><desc>{}</desc>{}</svg>',
        _short(sheet.width),
        _short(sheet.height),
        title,
        description,
        body,
    )


def table(scene: Scene) -> SafeString:
    """The figures of a scene as a plain table in a region that scrolls and says what it holds."""
    if not scene.rows:
        return format_html('<p class="note">{}</p>', "No readings to show.")
    head = format_html_join("", '<th scope="col">{}</th>', ((word,) for word in scene.head))
    rows = format_html_join("", "<tr>{}</tr>", ((_row(row),) for row in scene.rows))
    return format_html(
        '<div class="scroll" role="region" aria-label="{} as a table" tabindex="0"><table class="grid">'
        '<caption class="away">{}</caption><thead><tr>{}</tr></thead><tbody>{}</tbody></table></div>',
        scene.title,
        scene.title,
        head,
        rows,
    )


def _row(cells: tuple[str, ...]) -> SafeString:
    first = format_html('<th scope="row">{}</th>', cells[0])
    return first + format_html_join("", "<td>{}</td>", ((cell,) for cell in cells[1:]))


def _short(value: float) -> str:
    return f"{round(value, 1):g}"


def _route(points: tuple[Pair, ...], closed: bool = False) -> str:
    return "M" + "L".join(f"{_short(x)} {_short(y)}" for x, y in points) + ("Z" if closed else "")


def _ink(ink: Ink, bare: bool, stops: Iterator[int]) -> str:
    if isinstance(ink, Stroke):
        return format_html('<path class="c-{}" d="{}"/>', ink.kind, _route(ink.points))
    if isinstance(ink, Fill):
        return format_html('<path class="c-{}" d="{}"/>', ink.kind, _route(ink.points, closed=True))
    if isinstance(ink, Words):
        return _words(ink)
    return _dot(ink) if bare or not ink.readout else _stop(ink, next(stops))


def _words(ink: Words) -> str:
    return format_html(
        '<text class="c-{}" x="{}" y="{}" text-anchor="{}">{}</text>',
        ink.kind,
        _short(ink.x),
        _short(ink.y),
        ink.anchor,
        ink.text,
    )


def _dot(ink: Dot) -> SafeString:
    kind = _POINT[ink.role]
    corners = layout.outline(ink.shape, ink.x, ink.y, ink.r)
    if corners:
        return format_html('<path class="{}" d="{}"/>', kind, _route(corners, closed=True))
    return format_html(
        '<circle class="{}" cx="{}" cy="{}" r="{}"/>', kind, _short(ink.x), _short(ink.y), _short(ink.r)
    )


def _stop(ink: Dot, number: int) -> str:
    """A point of the readout: the first can be reached with Tab, the arrow keys go on from there."""
    return format_html(
        '<g class="c-stop" role="img" tabindex="{}" aria-label="{}" data-x="{}" data-y="{}" '
        'data-readout="{}"><title>{}</title>{}</g>',
        0 if number == 0 else -1,
        ink.readout,
        _short(ink.x),
        _short(ink.y),
        ink.readout,
        ink.readout,
        _dot(ink),
    )
