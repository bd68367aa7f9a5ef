"""Reliability: purges, removals and open defects per 1,000 flight hours, and lives between purges."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from checks.selectors.reliability import (
    BASIS,
    Line,
    PurgeLives,
    figure,
    hours_words,
    lives_words,
    reliability,
)
from checks.views.access import needs

LINES = (
    {"label": "Place"},
    {"label": "Counted"},
    {"label": "Last 12 months", "num": True},
    {"label": "Per 1,000 h", "num": True},
    {"label": "9 of 10 lie in", "num": True},
    {"label": "36 months before", "num": True},
    {"label": "Per 1,000 h then", "num": True},
    {"label": "Alert from", "num": True},
    {"label": "Beside before"},
)
LIVES = (
    {"label": "Variant"},
    {"label": "Aircraft", "num": True},
    {"label": "Lives", "num": True},
    {"label": "First, median days", "num": True},
    {"label": "Newest, median days", "num": True},
    {"label": "Do they shorten"},
)


@require_safe
@needs("checks.view_records")
def reliability_page(request: HttpRequest) -> HttpResponse:
    """The report as of today, one table for each variant."""
    report = reliability(timezone.localdate())
    context = {
        "report": report,
        "columns": LINES,
        "variants": [
            {
                "name": one.variant,
                "hours": hours_words(report, one.variant),
                "rows": [row(line) for line in report.lines if line.variant == one.variant],
            }
            for one in report.lives
        ],
        "lives": {"columns": LIVES, "rows": [_lives(one) for one in report.lives]},
        "basis": BASIS,
    }
    return render(request, "checks/reliability.html", context)


def row(line: Line) -> dict:
    """A row for partials/_table.html."""
    low, high = line.range or (None, None)
    texts = (
        line.what,
        f"{line.now.events:g}",
        figure(line.now.rate),
        f"{figure(low)} to {figure(high)}" if line.range else "–",
        f"{line.before.events:g}",
        figure(line.before.rate),
        "–" if line.alert is None else str(line.alert),
    )
    state = {"state": line.state} if line.counted else {"text": "no count"}
    return {
        "cells": [{"text": line.place}, *({"text": text} for text in texts), state],
        "tone": "heed" if line.state == "alert" else "",
    }


def _lives(one: PurgeLives) -> dict:
    numbers = (str(one.aircraft), str(one.lives), figure(one.early, 0), figure(one.late, 0))
    return {
        "cells": [{"text": one.variant}, *({"text": text} for text in numbers), {"text": lives_words(one)}],
        "tone": "heed" if one.trend.shortens else "",
    }
