"""The drift ranking and the course of one series."""

import datetime as dt
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from checks.charts.svg import picture, spark
from checks.charts.wording import day_words, value_words
from checks.filters_drift import DriftFilter
from checks.models import DriftRun, SeriesState
from checks.selectors.drift import (
    ALARMS,
    count_series,
    drift_rows,
    is_stale,
    latest_run,
    panel_spares,
    part_words,
    scatter,
    series_states,
    whole_aircraft,
)
from checks.selectors.drift_series import MODES, course, life_rows, reading_rows
from checks.selectors.drift_words import (
    ADVICE,
    advice,
    chance_words,
    crossing_words,
    share_words,
    which_panel,
)
from checks.views.access import needs
from checks.views.paging import page_of

PER_PAGE = 50


@require_safe
@needs("checks.view_records")
def drift_ranking(request: HttpRequest) -> HttpResponse:
    """Every series, most urgent first; htmx gets the list alone."""
    found = DriftFilter(request.GET, queryset=series_states())
    context: dict[str, Any] = {"filter": found, "understood": found.is_valid()}
    if context["understood"]:
        context |= _page_of(request, found)
    part = request.htmx and not request.htmx.history_restore_request
    return render(request, "checks/drift_part.html" if part else "checks/drift_ranking.html", context)


def _page_of(request: HttpRequest, found: DriftFilter) -> dict[str, Any]:
    """One page of the ranking with the counts over it. Eight queries: counts, whole-aircraft notices, rows
    with what is in store and what came from paper, the newest run."""
    listed = found.listed
    counts = count_series(found.of_every_state)
    chosen = found.form.cleaned_data["state"]
    whole = sum(count.number for count in counts if not chosen or count.state == chosen)
    page = page_of(request, listed, PER_PAGE, whole=whole)
    rows = [
        {"row": row, "spark": spark(row.spark), "tone": tone_of(row.state)}
        for row in drift_rows(page.object_list)
    ]
    return {
        "counts": counts,
        "chosen": chosen,
        "page_obj": page,
        "rows": rows,
        "whole": whole_aircraft(found.of_every_state),
        **computed(latest_run()),
    }


def tone_of(state: str) -> str:
    """The mark at the edge of a row or card of this state."""
    if state in (SeriesState.State.OVER, SeriesState.State.CLOSING):
        return "act"
    return "heed" if state in ALARMS else ""


def computed(run: DriftRun | None) -> dict[str, Any]:
    """What the 'how sure, and when' note needs."""
    context: dict[str, Any] = {"run": run, "caveats": ADVICE}
    if run:
        told = scatter(run)
        context["stale"] = is_stale(run, timezone.localdate())
        context["scatter"] = {
            "one": f"{told['one'] * 100:.1f}\u00a0%",
            "check": f"{told['check'] * 100:.1f}\u00a0%",
            "widening": f"{told['widening']:.2f}",
        }
    return context


@require_safe
@needs("checks.view_records")
def drift_series(request: HttpRequest, pk: int) -> HttpResponse:
    """One series: its course, what is made of it and the readings behind it; htmx gets the chart alone."""
    state = get_object_or_404(series_states().select_related("run"), pk=pk)
    asked = request.GET.get("show", "").replace("-", " ")
    mode = asked if asked in MODES else MODES[0]
    readings = reading_rows(state)
    context: dict[str, Any] = {
        "series": state,
        "chart": picture(course(state, mode, readings), _caption(mode)),
        "modes": [{"name": name, "key": name.replace(" ", "-"), "on": name == mode} for name in MODES],
    }
    if request.htmx and not request.htmx.history_restore_request:
        return render(request, "checks/drift_chart.html", context)
    context |= computed(state.run) | {
        "advice": advice(state),
        "panel": which_panel(state),
        "facts": _facts(state),
        "readings": readings,
        "part": part_words(state, panel_spares([state.aircraft_id])),
        "lives": life_rows(state),
        "unit": state.point.unit,
    }
    return render(request, "checks/drift_series.html", context)


def _caption(mode: str) -> str:
    if mode == "as read":
        return "As read, each at its own fluid temperature; no limit is drawn, as it differs for each."
    return (
        "Compensated to 20 °C and set against the reference limit at 20 °C. Each line is one life; the band "
        "is where 9 of 10 readings are expected, up to the next check."
    )


def _facts(state: SeriesState) -> list[dict[str, object]]:
    """Names and values for the facts list."""
    unit, facts = state.point.unit, state.facts
    about, interval = crossing_words(state)
    expected = facts.get("next")
    slope = facts.get("slope")
    late = state.next_check_on is not None and state.next_check_on < timezone.localdate(state.scored_at)
    return [
        {"name": "State", "state": state.state},
        {"name": "Chance to cross before the next check", "value": _chance(state)},
        {"name": "Crossing date", "value": about or "–", "note": interval and f"8 of 10: {interval}"},
        {
            "name": "Margin when last read",
            "value": share_words(state.margin) or "–",
            "note": f"limit at 20 °C {value_words(state.chart['limit'], unit)}",
        },
        {"name": "Last reading at 20 °C", "value": value_words(facts.get("last_20"), unit)},
        {"name": "Level by the model at 20 °C", "value": value_words(facts.get("level_20"), unit)},
        {"name": "Slope", "value": f"{share_words(slope)} a year" if slope is not None else "–"},
        {
            "name": "Expected at the next check, at 20 °C",
            "value": f"{value_words(expected[0], unit)} to {value_words(expected[2], unit)}"
            if expected
            else "–",
            "note": "9 of 10" if expected else "",
        },
        {"name": "Readings in this life", "value": state.readings_in_life},
        {"name": "This life began", "value": _day(state.life_began_on, "not known")},
        {
            "name": "Next check",
            "value": _day(state.next_check_on, "none planned"),
            "note": "overdue" if late else "",
        },
    ]


def _chance(state: SeriesState) -> str:
    """What is over its limit has no chance left to cross it."""
    over = state.state == SeriesState.State.OVER
    return "over now" if over else chance_words(state.p_cross) or "–"


def _day(on: dt.date | None, none: str) -> str:
    return day_words(on) if on else none
