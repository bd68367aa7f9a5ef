"""What turned out to be the cause behind a check, and how often the ranking was right."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from checks.engine.diagnosis_data import NOT_LOOKED
from checks.engine.diagnosis_words import CAUSE_WORDS
from checks.forms.cause import CauseForm
from checks.selectors.cause import Confirmed, may_record_cause, report_card
from checks.services.cause_found import record_cause
from checks.services.errors import RecordError
from checks.views.access import needs
from checks.views.check_edit import event_of
from checks.views.check_show import show
from checks.views.paging import page_of_list

PAGE = 50
COLUMNS = ("Check", "Ranked first", "Confirmed", "Its place in the ranking", "Recorded")


@require_POST
@needs("checks.view_records")
def cause_found(request: HttpRequest, uuid: object) -> HttpResponse:
    """Keep the confirmed cause; what can't be kept is said beside the form, on the check's own page."""
    if not may_record_cause(request.user):
        raise PermissionDenied("Your role does not include recording a confirmed cause. Nothing was changed.")
    event = event_of(uuid)
    form = CauseForm(event, request.POST)
    if form.is_valid():
        given = {**form.cleaned_data, "wet": form.cleaned_data["wet"] or NOT_LOOKED}
        try:
            found = record_cause(event=event, by=request.user, **given)
        except RecordError as refused:
            messages.error(request, str(refused))
            return redirect("checks:check", uuid=event.pk)
        except ValidationError as refused:
            form.add_error(None, refused)
        else:
            messages.success(request, f"On record as the confirmed cause: {found}.")
            return redirect("checks:check", uuid=event.pk)
    return show(request, event, cause_form=form, status=422)


@require_safe
@needs("checks.view_records")
def causes(request: HttpRequest) -> HttpResponse:
    """How often the first-ranked cause was the confirmed one. A fixed number of queries."""
    card = report_card()
    page = page_of_list(request, card.rows, PAGE, key=lambda one: one.found.event_id)
    context = {
        "card": card,
        "shares": [
            {"name": name, "value": f"{right} of {card.ranked}", "note": percent(right, card.ranked)}
            for name, right in (
                ("First-ranked cause was the confirmed one", card.first),
                ("Confirmed cause among the first two", card.in_two),
                ("First-ranked place to look was right", card.group),
            )
        ],
        "page_obj": page,
        "columns": [{"label": label} for label in COLUMNS],
        "rows": [row_of(one) for one in page],
    }
    return render(request, "checks/causes.html", context)


def percent(part: int, whole: int) -> str:
    return f"{100 * part / whole:.0f} %" if whole else ""


def row_of(one: Confirmed) -> dict[str, Any]:
    """One confirmed cause for partials/_table.html. No query."""
    found, event = one.found, one.found.event
    first = CAUSE_WORDS.get(one.ranked_first, "no cause was ranked")
    places = {1: "first", 2: "second", 3: "third", None: "–"}
    at = timezone.localtime(found.found_at)
    return {
        "cells": [
            {
                "text": f"{event.aircraft}, {event.work_date:%d %b %Y}",
                "href": reverse("checks:check", args=[event.pk]),
            },
            {"text": first},
            {"text": str(found), "note": found.remark},
            {"text": places.get(one.place, "further down")},
            {"text": f"{at:%d %b %Y}", "note": str(found.found_by)},
        ]
    }
