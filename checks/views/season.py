"""The season plan by base, dry panels and planned moves."""

import datetime as dt

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from checks.charts.svg import picture
from checks.forms.stock import MoveForm
from checks.selectors.dormancy import WORDS, deactivated, dryness
from checks.selectors.season import YEARS_AHEAD, YEARS_BACK
from checks.selectors.season_report import (
    FIRST_EXPIRY,
    PACE,
    course,
    fluid_words,
    outlook_words,
    season_reports,
)
from checks.services.moves import end_move, plan_move
from checks.views.access import needs
from fleet.models import Aircraft, Base, Operator, PlannedMove


@require_safe
@needs("checks.view_records")
def season(request: HttpRequest) -> HttpResponse:
    """Every base with its season, and the moves that meet one earlier."""
    today = timezone.localdate()
    reports = season_reports(today=today)
    moves = PlannedMove.objects.planned().select_related("aircraft__base", "base").order_by("on", "pk")
    warned = {one.move.pk: one for report in reports for one in report.earlier}
    context = {
        "today": today,
        "rows": [
            {"plan": one.plan, "fluid": one.fluid, "outlook": outlook_words(one.plan)} for one in reports
        ],
        "moves": [{"move": move, "earlier": warned.get(move.pk), "due": move.on <= today} for move in moves],
        "warned": list(warned.values()),
    }
    return render(request, "checks/season.html", context)


@require_safe
@needs("checks.view_records")
def season_base(request: HttpRequest, code: str) -> HttpResponse:
    """The plan of one base for one season."""
    base = get_object_or_404(Base, code=code)
    today = timezone.localdate()
    year = asked_year(request.GET.get("year", ""), today)
    if request.GET.get("year") and year is None:
        messages.error(request, f"Seasons of {first_year(today)} to {today.year + YEARS_AHEAD} can be shown.")
    report = season_reports(today=today, base=base, year=year)[0]
    years = range(first_year(today), today.year + YEARS_AHEAD + 1)
    context = {
        "base": base,
        "today": today,
        "report": report,
        "plan": report.plan,
        "lines": [{"line": line, "state": line.state(today)} for line in report.plan.open_first],
        "years": years,
        "outlook": outlook_words(report.plan),
        "fluid_said": fluid_words(report),
        "chart": picture(course(report.plan)) if report.plan.lines else None,
        "pace_note": PACE,
        "fluid_note": FIRST_EXPIRY,
        "dry_note": WORDS,
    }
    return render(request, "checks/season_base.html", context)


def first_year(today: dt.date) -> int:
    return today.year - YEARS_BACK


def asked_year(text: str, today: dt.date) -> int | None:
    """The year of the season asked for; None: none, or one that can't be shown."""
    if not (text.isascii() and text.isdecimal() and len(text) == 4):
        return None
    return int(text) if first_year(today) <= int(text) <= today.year + YEARS_AHEAD else None


@require_safe
@needs("checks.view_records")
def dormancy(request: HttpRequest) -> HttpResponse:
    """How long the panels of every aircraft have been dry by the records, the longest first."""
    today, operator = timezone.localdate(), Operator.current()
    fleet = list(Aircraft.objects.exclude(state=Aircraft.State.LEFT).select_related("base", "variant"))
    dry = dryness(fleet, today=today, operator_days=operator.dry_days)
    down = deactivated([one.pk for one in fleet])
    lines = [{"aircraft": one, "dry": dry[one.pk], "down": down.get(one.pk)} for one in fleet]
    lines.sort(key=lambda line: (line["dry"].days is not None, -(line["dry"].days or 0)))
    context = {"lines": lines, "today": today, "note": WORDS, "days": operator.dry_days}
    return render(request, "checks/dormancy.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@needs("fleet.add_plannedmove")
def move_plan(request: HttpRequest) -> HttpResponse:
    """Plan that an aircraft flies from another base from a day on."""
    form = MoveForm(request.POST or None, initial={"aircraft": request.GET.get("aircraft", "")})
    if request.method == "POST" and form.is_valid():
        try:
            move = plan_move(by=request.user, **form.cleaned_data)
        except ValidationError as refused:
            form.add_error(None, refused)
        else:
            messages.success(request, f"Planned: {move.aircraft} to {move.base} on {move.on:%d %b %Y}.")
            return redirect("checks:season")
    status = 422 if request.method == "POST" else 200
    return render(request, "checks/move_plan.html", {"form": form}, status=status)


@require_POST
@needs("fleet.change_plannedmove")
def move_end(request: HttpRequest, pk: int) -> HttpResponse:
    """Carry a planned move out, or withdraw it."""
    move = get_object_or_404(PlannedMove.objects.select_related("aircraft", "base"), pk=pk)
    asked = request.POST.get("end", "")
    if asked not in PlannedMove.End.values:
        messages.error(request, "Choose whether the move is carried out or withdrawn. Nothing was changed.")
        return redirect("checks:season")
    try:
        end_move(move=move, end=asked, by=request.user)
    except ValidationError as refused:
        messages.error(request, " ".join(refused.messages))
    else:
        messages.success(request, f"{move.aircraft} to {move.base}: {asked}.")
    return redirect("checks:season")
