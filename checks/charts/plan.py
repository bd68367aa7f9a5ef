"""The system on a plan of the aircraft: an invented single-engine outline with the positions in place.

The outline is made of plain shapes and is no real type's. It is drawn nose up, so the left wing is on the
left. A position is placed by shares of the plan: x from the left wing tip (0) to the right (1), y from the
nose (0) to the tail (1). Leading edges lie at about y 0.40 (wing) and 0.90 (tail); the fuselage spans
x 0.45 to 0.55, the propeller lies at y 0.04.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from fleet import shapes
from fleet.templatetags.face import icon, state

WIDTH, HEIGHT = 520.0, 400.0
LEFT, TOP, SPAN, LENGTH = 20.0, 16.0, 480.0, 368.0
TAG_WIDTH, TAG_HEIGHT = 46.0, 24.0
#: centre and size on the drawing
Box = tuple[float, float, float, float]
#: where to try a tag, nearest first, sideways before up and down
_NEARBY = sorted(
    ((i * 8.0, j * 9.0) for i in range(-24, 25) for j in range(-10, 11)),
    key=lambda move: (abs(move[0]) + 1.5 * abs(move[1]), move),
)

_AIRFRAME = mark_safe(
    '<ellipse class="p-disc" cx="260" cy="29" rx="56" ry="4"/>'
    '<path class="p-body" d="M234 157L27 167Q20 168 20 174V196Q20 202 27 203L232 222Z'
    'M286 157L493 167Q500 168 500 174V196Q500 202 493 203L288 222Z"/>'
    '<path class="p-body" d="M256 338L177 347Q170 348 170 353V363Q170 368 177 369L258 374Z'
    'M264 338L343 347Q350 348 350 353V363Q350 368 343 369L262 374Z"/>'
    '<path class="p-body" d="M260 38C277 38 284 62 286 92L288 196C286 256 273 330 267 366L264 384H256L253 366'
    'C247 330 234 256 232 196L234 92C236 62 243 38 260 38Z"/>'
    '<path class="p-body" d="M251 39Q260 12 269 39Z"/>'
    '<path class="p-detail" d="M240 92Q260 82 280 92L278 106Q260 99 242 106ZM260 316V384'
    'M60 199V190L150 194V212M460 199V190L370 194V212M190 366V359H240M330 366V359H280"/>'
)


@dataclass(frozen=True)
class Spot:
    """A position to be drawn: its centre and size in shares of the plan, its state, where it leads.

    `state` is a key of fleet.shapes.STATES. A share outside 0..1 is drawn at the edge.
    """

    code: str
    name: str
    x: float
    y: float
    width: float
    height: float
    state: str
    href: str = ""


def plan(spots: Sequence[Spot], title: str) -> SafeString:
    """The plan drawing with a numbered tag for each position, and the list of what the numbers mean."""
    entries = format_html_join("", "{}", ((_entry(n, spot),) for n, spot in enumerate(spots, 1)))
    return format_html('<div class="plan">{}<ol>{}</ol></div>', _drawn(spots, title), entries)


def numbered_plan(spots: Sequence[Spot], title: str) -> SafeString:
    """The plan drawing alone; the page says elsewhere what the numbers (places in `spots` from 1) mean."""
    return format_html('<div class="plan alone">{}</div>', _drawn(spots, title))


def _drawn(spots: Sequence[Spot], title: str) -> SafeString:
    numbered = list(enumerate(zip(spots, _tag_places(spots), strict=True), 1))
    return format_html(
        '<svg viewBox="0 0 520 400" role="group"><title>{}</title>{}{}{}</svg>',
        title,
        _AIRFRAME,
        format_html_join("", "{}", ((_place(spot, tag),) for _, (spot, tag) in numbered)),
        format_html_join("", "{}", ((_label(n, spot, tag),) for n, (spot, tag) in numbered)),
    )


def _box(spot: Spot) -> Box:
    """Where a position lies on the drawing: centre and size."""
    x, y = (min(max(float(share), 0.0), 1.0) for share in (spot.x, spot.y))
    width, height = max(float(spot.width) * SPAN, 8.0), max(float(spot.height) * LENGTH, 8.0)
    return LEFT + x * SPAN, TOP + y * LENGTH, width, height


def _tag_places(spots: Sequence[Spot]) -> list[Box]:
    """A tag for each position, as near to it as it covers neither another tag nor another position.

    With more tags than room the last ones stay on their positions.
    """
    boxes, tags = [_box(spot) for spot in spots], []
    for k, (x, y, _, _) in enumerate(boxes):
        others = boxes[:k] + boxes[k + 1 :] + tags
        tries = [
            (_held(x + dx, TAG_WIDTH, WIDTH), _held(y + dy, TAG_HEIGHT, HEIGHT), TAG_WIDTH, TAG_HEIGHT)
            for dx, dy in _NEARBY
        ]
        tags.append(next((tag for tag in tries if not any(_touch(tag, o) for o in others)), tries[0]))
    return tags


def _touch(a: Box, b: Box) -> bool:
    return abs(a[0] - b[0]) < (a[2] + b[2]) / 2 + 2 and abs(a[1] - b[1]) < (a[3] + b[3]) / 2 + 2


def _held(value: float, size: float, edge: float) -> float:
    return min(max(value, size / 2 + 1), edge - size / 2 - 1)


def _shown(spot: Spot) -> shapes.State:
    """The state's word, shape and tone; an unknown key is shown as its own word."""
    try:
        return shapes.state(spot.state)
    except KeyError:
        return shapes.State(spot.state, "note", "plain")


def _rect(kind: str, box: Box, corner: int) -> SafeString:
    x, y, width, height = box
    numbers = (round(value, 1) for value in (x - width / 2, y - height / 2, width, height))
    return format_html(
        '<rect class="{}" x="{}" y="{}" width="{}" height="{}" rx="{}"/>', kind, *numbers, corner
    )


def _place(spot: Spot, tag: Box) -> SafeString:
    """The position itself, and the line to its tag where that stands aside."""
    box = _box(spot)
    ends = (round(value, 1) for value in (*box[:2], *tag[:2]))
    lead = format_html('<path class="p-lead" d="M{} {}L{} {}"/>', *ends) if box[:2] != tag[:2] else ""
    return format_html('<g class="p-{}">{}{}</g>', _shown(spot).tone, _rect("p-spot", box, 3), lead)


def _label(number: int, spot: Spot, tag: Box) -> SafeString:
    """The tag: number and shape, a link where the position leads somewhere, with all of it in words."""
    shown = _shown(spot)
    words = f"{number}: {spot.name}, {shown.word}"
    inner = format_html("<title>{}</title>{}", words, _tag(number, shown, tag))
    if spot.href:
        return format_html(
            '<a class="p-{}" href="{}" aria-label="{}">{}</a>', shown.tone, spot.href, words, inner
        )
    return format_html('<g class="p-{}" role="img" aria-label="{}">{}</g>', shown.tone, words, inner)


def _tag(number: int, shown: shapes.State, tag: Box) -> SafeString:
    x, y = (round(value, 1) for value in tag[:2])
    return format_html(
        '{}<text x="{}" y="{}" text-anchor="middle">{}</text>'
        '<svg x="{}" y="{}" width="16" height="16" viewBox="0 0 16 16">{}</svg>',
        _rect("p-tag", tag, 7),
        x - 11,
        y + 5.5,
        number,
        x + 1,
        y - 8,
        icon(shown.shape),
    )


def _entry(number: int, spot: Spot) -> SafeString:
    name = format_html('<a href="{}">{}</a>', spot.href, spot.name) if spot.href else spot.name
    return format_html(
        "<li><b>{}</b><span>{} <code>{}</code></span>{}</li>", number, name, spot.code, state(spot.state)
    )
