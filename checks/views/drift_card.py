"""How good the trend was: past forecasts against what came, and what each instrument adds to a reading."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from checks.charts.svg import picture
from checks.charts.wording import day_words, value_words
from checks.models import PastForecast, SeriesState
from checks.selectors.drift_card import (
    Period,
    coverage_scene,
    crossings,
    date_error_words,
    last_facts,
    report_card,
)
from checks.selectors.drift_words import chance_words
from checks.selectors.gauges import ALONE, HIGH, LOW, GaugeRow, gauge_rows, scatter_words
from checks.views.access import needs
from checks.views.paging import page_of

PER_PAGE = 50
YEARS = (
    {"label": "Period"},
    {"label": "Foretold", "num": True},
    {"label": "Inside 9 of 10", "num": True},
    {"label": "Crossings", "num": True},
    {"label": "Warned before", "num": True},
    {"label": "First warnings", "num": True},
    {"label": "False alarms", "num": True},
    {"label": "Date off by", "num": True},
)
CHANCES = (
    {"label": "Chance given"},
    {"label": "Forecasts", "num": True},
    {"label": "Mean of the chances", "num": True},
    {"label": "Went over", "num": True},
    {"label": "Share", "num": True},
)
CROSSED = (
    {"label": "Point"},
    {"label": "Read over on"},
    {"label": "Called before"},
    {"label": "Chance given"},
    {"label": "Date given"},
    {"label": "Off by"},
)
GAUGES = (
    {"label": "Instrument"},
    {"label": "Beside the others"},
    {"label": "Effect", "num": True},
    {"label": "Give or take", "num": True},
    {"label": "Readings", "num": True},
    {"label": "Calibration"},
    {"label": "Base"},
)


@require_safe
@needs("checks.view_records")
def drift_card(request: HttpRequest) -> HttpResponse:
    """The forecast report card. A fixed number of queries."""
    card = report_card()
    context: dict[str, Any] = {"card": card}
    if card:
        crossed = page_of(request, crossings(timezone.localdate()), PER_PAGE)
        context |= {
            "facts": last_facts(card.last),
            "chart": picture(coverage_scene(card), "What was promised is the line at 90 %."),
            "years": {"columns": YEARS, "rows": [_year(period) for period in card.periods]},
            "chances": {"columns": CHANCES, "rows": [_chance(row) for row in card.whole.grade.chances]},
            "crossed": {"columns": CROSSED, "rows": _crossed(crossed)},
            "page_obj": crossed,
        }
    return render(request, "checks/drift_card.html", context)


def _cells(*texts: object) -> dict[str, list[dict[str, object]]]:
    return {"cells": [{"text": str(text)} for text in texts]}


def _year(period: Period) -> dict[str, Any]:
    one = period.grade
    row = _cells(
        period.name,
        one.forecasts,
        period.share or "–",
        one.crossings,
        one.warned_before,
        one.warnings,
        one.false_alarms,
        period.date_error or "–",
    )
    if period.false_per_100:
        row["cells"][6]["note"] = f"{period.false_per_100} in 100 years"
    return row


def _chance(row: tuple[float, float, int, float, int]) -> dict[str, Any]:
    low, high, number, said, over = row
    return _cells(
        f"{low:.0%} to {high:.0%}".replace("%", " %"),
        number,
        f"{said:.1%}".replace("%", " %"),
        over,
        f"{over / number:.1%}".replace("%", " %"),
    )


def _crossed(page: list[PastForecast]) -> list[dict[str, Any]]:
    """One row for each crossing, with the way to its series. One query."""
    keys = {(one.aircraft_id, one.point_id) for one in page}
    found = SeriesState.objects.filter(aircraft__in={aircraft for aircraft, _ in keys})
    series = {(aircraft, point): pk for pk, aircraft, point in found.values_list("pk", "aircraft", "point")}
    rows = []
    for one in page:
        pk = series.get((one.aircraft_id, one.point_id))
        cells = [
            {
                "text": f"{one.aircraft}: {one.point}",
                "href": reverse("checks:drift_series", args=[pk]) if pk else "",
            },
            {"text": day_words(one.came_on), "note": value_words(one.value, one.point.unit)},
            {"state": one.state},
            {"text": chance_words(one.p_cross) or "–"},
            {"text": day_words(one.crossing_on) if one.crossing_on else "–"},
            {"text": date_error_words(one)},
        ]
        rows.append({"cells": cells, "tone": "" if one.state in ("drifting", "closing") else "heed"})
    return rows


@require_safe
@needs("checks.view_records")
def drift_gauges(request: HttpRequest) -> HttpResponse:
    """Which instrument reads high or low beside the others. Six queries, however many there are."""
    run, rows = gauge_rows()
    context = {
        "run": run,
        "scatter": scatter_words(run) if run else "",
        "high": [row for row in rows if row.verdict == HIGH],
        "low": [row for row in rows if row.verdict == LOW],
        "columns": GAUGES,
        "rows": [_gauge(row) for row in rows],
    }
    return render(request, "checks/drift_gauges.html", context)


def _gauge(row: GaugeRow) -> dict[str, Any]:
    one = row.instrument
    return {
        "tone": "heed" if row.verdict in (HIGH, LOW) else "",
        "cells": [
            {
                "text": one.code,
                "href": reverse("checks:instrument_detail", args=[one.code]),
                "note": one.get_kind_display(),
            },
            {"state": row.verdict},
            {"text": row.effect_words},
            {"text": row.give_words if row.verdict != ALONE else "–"},
            {"text": str(row.readings)},
            {"state": one.calibration_state},
            {"text": one.base.name if one.base else None},
        ],
    }
