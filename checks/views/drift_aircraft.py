"""The drift of one aircraft: all its points side by side, laid out as they lie on the aircraft."""

import datetime as dt
from collections.abc import Iterable
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from checks.charts.plan import numbered_plan
from checks.charts.small import SMALL, Small, scale_of, small_scene
from checks.charts.svg import svg
from checks.charts.wording import day_words
from checks.models import SeriesState
from checks.selectors.aircraft import PointShown, PositionShown, points_shown, positions_shown
from checks.selectors.drift import drift_rows, latest_run
from checks.selectors.drift_words import TOGETHER
from checks.views import addresses
from checks.views.access import needs
from checks.views.aircraft import spot
from checks.views.drift import computed, tone_of
from fleet.models import Aircraft

#: shares of the plan between which a position lies in the middle of the aircraft
LEFT_OF, RIGHT_OF = 0.45, 0.55


@require_safe
@needs("checks.view_records")
def drift_aircraft(request: HttpRequest, registration: str) -> HttpResponse:
    """Every point of one aircraft as a small chart. A fixed number of queries, however many readings."""
    craft = get_object_or_404(Aircraft.objects.select_related("base", "variant"), registration=registration)
    points = points_shown(craft)
    positions = positions_shown(craft, points)
    cards = list(_cards(points, positions))
    context = {
        "aircraft": craft,
        "plan": numbered_plan([spot(one) for one in positions], f"Positions of {craft} with their states"),
        "sides": {
            side: [card for card in cards if card["side"] == side] for side in ("whole", "left", "right")
        },
        "together": TOGETHER if any(card["whole"] for card in cards) else "",
        "scale": _scale_words(points),
        "seen": bool(cards),
        **computed(latest_run()),
    }
    return render(request, "checks/drift_aircraft.html", context)


def _cards(points: list[PointShown], positions: list[PositionShown]) -> Iterable[dict[str, Any]]:
    """One for each point in the order of the plan, from nose to tail."""
    scored = [one for one in points if one.series]
    rows = {row.pk: row for row in drift_rows(one.series for one in scored)}
    small = {one.point.pk: small_of(one.series) for one in scored}
    scale = scale_of(list(small.values()))
    number = {one.point.pk: (n, one.position) for n, one in enumerate(positions, 1) if one.point}
    for one in sorted(points, key=lambda one: _place(number.get(one.point.pk))):
        n, position = number.get(one.point.pk, ("", None))
        series = one.series
        scene = small_scene(small[one.point.pk], scale, f"Course of {one.point.name}") if series else None
        yield {
            "number": n,
            "side": _side(position),
            "name": one.point.name,
            "state": one.state,
            "tone": tone_of(one.state),
            "href": addresses.of_series(series) if series else "",
            "chart": svg(scene, SMALL) if scene else "",
            "row": rows[series.pk] if series else None,
            "whole": bool(series and series.facts.get("whole_aircraft")),
        }


def small_of(state: SeriesState) -> Small:
    """A stored series as shares of its limit."""
    chart = state.chart
    limit = chart["limit"]
    return Small(
        days=tuple(map(dt.date.fromisoformat, chart["days"])),
        levels=tuple(value / limit for value in chart["at_20"]),
        lives=tuple(chart["lives"]),
        band=tuple(
            (dt.date.fromisoformat(day), low / limit, high / limit) for day, low, _, high in chart["band"]
        ),
        resets=tuple(dt.date.fromisoformat(day) for day, _ in chart["resets"]),
    )


def _place(numbered: tuple[int, Any] | None) -> tuple[float, float]:
    return (float(numbered[1].plan_y), float(numbered[1].plan_x)) if numbered else (-1.0, 0.0)


def _side(position: Any) -> str:
    """Where the card stands: beside the wing that it belongs to, or over the plan."""
    if position is None or LEFT_OF <= float(position.plan_x) <= RIGHT_OF:
        return "whole"
    return "left" if float(position.plan_x) < LEFT_OF else "right"


def _scale_words(points: list[PointShown]) -> str:
    many = [small_of(one.series) for one in points if one.series]
    if not any(one.days for one in many):
        return ""
    (first, last), (low, high) = scale_of(many)
    ends = [day_words(dt.date.fromordinal(int(day))) for day in (first, last)]
    return (
        f"All on one scale: {ends[0]} to {ends[1]} across, {low:.0%} to {high:.0%} of the limit upwards. The "
        "red line is the limit at 20 °C, the band where 9 of 10 readings are expected up to the next check."
    ).replace("%", " %")
