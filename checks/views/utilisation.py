"""Utilisation: the latest figures of every aircraft, entering and correcting them."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import OuterRef, QuerySet, Subquery
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from checks.forms.utilisation import UtilisationFilter, UtilisationForm
from checks.selectors.due_counting import totals_of
from checks.services.utilisation import correct_utilisation, enter_utilisation
from checks.views.access import needs
from checks.views.paging import page_of
from checks.views.parts import in_order
from fleet.models import Aircraft, Operator, UtilisationEntry

PER_PAGE = 50
SHOWN_ENTRIES = 24
SORTS = {"registration": "registration", "base": "base__name", "on": "latest_on", "hours": "latest_hours"}


def with_latest(aircraft: QuerySet[Aircraft]) -> QuerySet[Aircraft]:
    """Adds latest_on, latest_hours and latest_landings of the newest standing entry, or None."""
    newest = UtilisationEntry.objects.standing().filter(aircraft=OuterRef("pk")).order_by("-on")
    return aircraft.annotate(
        latest_on=Subquery(newest.values("on")[:1]),
        latest_hours=Subquery(newest.values("hours")[:1]),
        latest_landings=Subquery(newest.values("landings")[:1]),
    )


def flying() -> QuerySet[Aircraft]:
    """The aircraft that have not left, with_latest."""
    return with_latest(Aircraft.objects.exclude(state=Aircraft.State.LEFT).select_related("base"))


@require_safe
@needs("checks.view_records")
def utilisation(request: HttpRequest) -> HttpResponse:
    """Latest hours and landings per aircraft."""
    found = UtilisationFilter(request.GET, queryset=flying())
    page = page_of(request, listed(found), PER_PAGE)
    may_enter = request.user.has_perm("fleet.add_utilisationentry")
    context = {"filter": found, "page_obj": page, "rows": list_rows(page, may_enter), "columns": COLUMNS}
    template = "checks/_utilisation_list.html" if request.htmx else "checks/utilisation.html"
    return render(request, template, context)


COLUMNS = [
    {"label": "Aircraft", "sort": "registration"},
    {"label": "Base", "sort": "base"},
    {"label": "Latest entry", "sort": "on"},
    {"label": "Flight hours", "sort": "hours", "num": True},
    {"label": "Landings", "num": True},
]


def listed(found: UtilisationFilter) -> QuerySet[Aircraft]:
    """What the filter leaves, in the order asked for: by registration unless another is."""
    return found.qs.order_by(*in_order(found.data.get("sort", ""), SORTS, "registration"))


def list_rows(page: Any, may_enter: bool) -> list[dict]:
    """Rows for partials/_table.html. No query."""
    today = timezone.localdate()
    return [
        {
            "cells": [
                {
                    "text": aircraft.registration,
                    "href": reverse("checks:utilisation_enter", args=[aircraft.registration])
                    if may_enter
                    else "",
                },
                {"text": aircraft.base.name},
                {
                    "text": aircraft.latest_on and f"{aircraft.latest_on:%d %b %Y}",
                    "note": age(aircraft.latest_on, today),
                },
                {"text": None if aircraft.latest_hours is None else f"{aircraft.latest_hours:.2f}"},
                {"text": aircraft.latest_landings},
            ]
        }
        for aircraft in page
    ]


def age(on: Any, today: Any) -> str:
    """How old the latest entry is, in words; 'nothing entered' without one."""
    if on is None:
        return "nothing entered"
    days = (today - on).days
    return "today" if days <= 0 else "yesterday" if days == 1 else f"{days} days ago"


@require_http_methods(["GET", "HEAD", "POST"])
@needs("fleet.add_utilisationentry")
def utilisation_enter(request: HttpRequest, registration: str) -> HttpResponse:
    """Enter the totals of a day for one aircraft, with its entries below."""
    aircraft = get_object_or_404(Aircraft.objects.select_related("base"), registration=registration)
    today = timezone.localdate(timezone=aircraft.base.zone)
    totals = totals_of([aircraft.pk], today).get(aircraft.pk)
    gap_days = Operator.current().stale_use_days
    form = UtilisationForm(request.POST or None, totals=totals, gap_days=gap_days, initial={"on": today})
    if request.method == "POST" and form.is_valid():
        given = {name: form.cleaned_data[name] for name in form.Meta.fields}
        if saved(form, lambda: enter_utilisation(aircraft=aircraft, by=request.user, **given)):
            messages.success(request, f"{aircraft}: {given['hours']} h entered for {given['on']:%d %b %Y}.")
            return redirect("checks:utilisation")
    context = {
        "aircraft": aircraft,
        "latest": totals,
        "form": form,
        "entries": aircraft.utilisation.select_related("entered_by", "superseded_by").order_by("-on", "-pk")[
            :SHOWN_ENTRIES
        ],
    }
    return render(request, "checks/utilisation_enter.html", context, status=422 if form.errors else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@needs("fleet.add_utilisationentry")
def utilisation_correct(request: HttpRequest, registration: str, pk: int) -> HttpResponse:
    """Put another entry in the place of one; both stay on record."""
    entry = get_object_or_404(
        UtilisationEntry.objects.select_related("aircraft__base", "superseded_by"),
        pk=pk,
        aircraft__registration=registration,
    )
    form = UtilisationForm(
        request.POST or None,
        correcting=True,
        initial={"on": entry.on, "hours": entry.hours, "landings": entry.landings, "kind": entry.kind},
    )
    if request.method == "POST" and form.is_valid():
        given = {name: form.cleaned_data[name] for name in ("on", "hours", "landings", "kind")}
        reason = form.cleaned_data["remark"]
        if saved(form, lambda: correct_utilisation(entry=entry, by=request.user, reason=reason, **given)):
            messages.success(request, f"{entry.aircraft}: corrected. The earlier entry stays on record.")
            return redirect("checks:utilisation_enter", registration=registration)
    context = {"aircraft": entry.aircraft, "entry": entry, "form": form}
    return render(request, "checks/utilisation_correct.html", context, status=422 if form.errors else 200)


def saved(form: UtilisationForm, write: Any) -> bool:
    """Whether the service took it; what it refused is put beside the fields."""
    try:
        write()
    except ValidationError as refused:
        form.add_error(None, refused)
        return False
    return True
