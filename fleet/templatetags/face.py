"""Template tags of the shared face: states, shapes, values with units, dates, sorting."""

import math
from datetime import date, datetime
from decimal import Decimal

from django import template
from django.forms import BoundField
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from fleet import shapes

register = template.Library()

#: decimals shown for a float in each unit when the caller gives none; a Decimal keeps the digits it has
DECIMALS = {"kPa": 1, "psi": 1, "bar": 3, "mL/min": 0, "mL": 0, "L": 2, "°C": 1, "°F": 0, "h": 1, "%": 0}
NO_VALUE = mark_safe('<span class="none" title="no value">–</span>')


def _attributes(mark: shapes.Mark) -> str:
    classes = " ".join(
        name for name, on in (("solid", mark.solid), ("dashed", getattr(mark, "dashed", False))) if on
    )
    return f' class="{classes}"' if classes else ""


def _mark(mark: shapes.Mark) -> str:
    if isinstance(mark, shapes.Ring):
        return f'<circle cx="{mark.x:g}" cy="{mark.y:g}" r="{mark.r:g}"{_attributes(mark)}/>'
    route = "L".join(f"{round(x, 2):g} {round(y, 2):g}" for x, y in mark.points)
    return f'<path d="M{route}{"Z" if mark.closed else ""}"{_attributes(mark)}/>'


_DRAWN = {
    name: mark_safe(
        f'<svg class="shape" viewBox="0 0 16 16" aria-hidden="true" focusable="false">'
        f"{''.join(_mark(mark) for mark in marks)}</svg>"
    )
    for name, marks in shapes.SHAPES.items()
}


@register.simple_tag
def icon(name: str) -> SafeString:
    """The named shape as inline SVG, hidden from screen readers: give it a word beside it."""
    return _DRAWN[name]


@register.simple_tag
def state(key: str, note: str = "") -> SafeString:
    """A state as shape + word + tone, e.g. {% state 'overdue' %}, with an optional note after the word.

    A key that is not a known state is shown as its own word without a shape, never dropped.
    """
    try:
        shown = shapes.state(str(key))
    except KeyError:
        return format_html('<span class="state plain">{}</span>', key)
    more = format_html(' <span class="note">{}</span>', note) if note else ""
    return format_html(
        '<span class="state {}">{}<span class="word">{}</span>{}</span>',
        shown.tone,
        _DRAWN[shown.shape],
        shown.word,
        more,
    )


def _digits(value: Decimal | float | int, unit: str, decimals: int | None) -> str:
    if decimals is None and not isinstance(value, float):
        return f"{value:,f}" if isinstance(value, Decimal) else f"{value:,}"
    places = DECIMALS.get(unit, 1) if decimals is None else decimals
    return f"{value:,.{places}f}"


def number(value: Decimal | float | int, unit: str = "", decimals: int | None = None) -> str:
    """Digits with a true minus sign and a narrow space between thousands, e.g. −1 234.5."""
    text = _digits(value, unit, decimals)
    if not text.strip("-0.,"):
        text = text.lstrip("-")
    return text.replace("-", "−").replace(",", "\u202f")


@register.simple_tag
def unit(value: object, unit: str = "", decimals: int | None = None) -> SafeString:
    """A value with its unit: {% unit 96.0 'kPa' %}. None, '' and NaN show a dash; text stays as typed."""
    if value is None or value == "" or (isinstance(value, float) and not math.isfinite(value)):
        return NO_VALUE
    text = number(value, unit, decimals) if isinstance(value, Decimal | float | int) else str(value)
    if not unit:
        return format_html('<span class="value">{}</span>', text)
    return format_html('<span class="value">{}<span class="unit">\u00a0{}</span></span>', text, unit)


@register.filter
def day(value: date | datetime | None) -> SafeString:
    """A date as '25 Nov 2026' inside <time>; a moment is first brought into the page's time zone."""
    if not value:
        return NO_VALUE
    if isinstance(value, datetime):
        value = timezone.localtime(value).date() if timezone.is_aware(value) else value.date()
    return format_html('<time datetime="{}">{}</time>', value.isoformat(), f"{value.day} {value:%b %Y}")


@register.filter
def moment(value: datetime | None) -> SafeString:
    """A moment as '25 Nov 2026 13:46 UTC' inside <time>, in the page's time zone, which it names."""
    if not value:
        return NO_VALUE
    local = timezone.localtime(value) if timezone.is_aware(value) else value
    text = f"{local.day} {local:%b %Y %H:%M %Z}".strip()
    return format_html('<time datetime="{}">{}</time>', local.isoformat(timespec="minutes"), text)


@register.simple_tag(takes_context=True)
def sort(context: template.Context, label: str, field: str, param: str = "sort") -> SafeString:
    """A column head's link that sorts by `field`, turns round on the second press, and says how it stands."""
    query = context["request"].GET.copy()
    standing = query.get(param, "")
    query.pop("page", None)
    query[param] = f"-{field}" if standing == field else field
    direction = {field: "up", f"-{field}": "down"}.get(standing)
    words = {"up": "sorted upwards", "down": "sorted downwards", None: ""}[direction]
    mark = format_html('{}<span class="away">, {}</span>', _DRAWN[direction], words) if direction else ""
    return format_html('<a class="sort" href="?{}">{}{}</a>', query.urlencode(), label, mark)


_CHECKED = {"checkbox"}
_CHOSEN = {"radioselect", "checkboxselectmultiple"}


@register.filter
def look(field: BoundField) -> str:
    """How a form field is laid out: 'check' (one box), 'choices' (a set of boxes) or 'line'."""
    kind = field.widget_type
    return "check" if kind in _CHECKED else "choices" if kind in _CHOSEN else "line"


@register.filter
def at(items: list, place: int) -> object:
    """The item of a list at a place; None past its end."""
    return items[place] if place < len(items) else None
