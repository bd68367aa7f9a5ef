"""The list of records: every check, filtered and sorted."""

from collections.abc import Iterable

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from checks.forms.check_filter import RecordFilter, with_states
from checks.models import CheckEvent
from checks.selectors.check_story import state_word
from checks.selectors.doubt import IN_DOUBT
from checks.views.access import needs
from checks.views.paging import page_of
from checks.views.parts import in_order

PER_PAGE = 50
SORTS = {
    "date": "work_date",
    "aircraft": "aircraft__registration",
    "task": "revision__procedure__title",
    "outcome": "outcome",
}
COLUMNS = [
    {"label": "Date of work", "sort": "date"},
    {"label": "Aircraft", "sort": "aircraft"},
    {"label": "Task", "sort": "task"},
    {"label": "Outcome", "sort": "outcome"},
    {"label": "State"},
    {"label": "Where"},
    {"label": "Source"},
]


@require_safe
@needs("checks.view_records")
def records(request: HttpRequest) -> HttpResponse:
    """Every check, the newest work first; htmx gets the list alone."""
    found = RecordFilter(request.GET, queryset=with_states(CheckEvent.objects.all()))
    context = {"filter": found, "columns": COLUMNS, "understood": found.is_valid()}
    if context["understood"]:
        page = page_of(request, listed(found), PER_PAGE)
        context |= {"page_obj": page, "rows": list(rows(page))}
    template = "checks/_check_records.html" if request.htmx else "checks/check_records.html"
    return render(request, template, context)


def listed(found: RecordFilter) -> QuerySet[CheckEvent]:
    """What the filter leaves, in the order asked for: the newest work first unless another is."""
    related = found.qs.select_related("aircraft", "base", "revision__procedure")
    return related.order_by(*in_order(found.data.get("sort", ""), SORTS, "-work_date", "-started_at", "pk"))


def rows(events: Iterable[CheckEvent]) -> Iterable[dict]:
    """Rows for partials/_table.html. No query."""
    for event in events:
        yield {
            "tone": "act" if event.outcome == CheckEvent.Outcome.OVER and not event.corrected else "",
            "cells": [
                {"text": f"{event.work_date:%d %b %Y}", "href": reverse("checks:check", args=[event.pk])},
                {"text": event.aircraft.registration},
                {"text": event.revision.procedure.title, "note": f"revision {event.revision.number}"},
                {"state": event.outcome} if event.outcome else {"text": None},
                {"state": IN_DOUBT, "note": word(event)} if event.in_doubt else {"state": word(event)},
                {"text": event.base.name},
                {"text": event.get_source_display()},
            ],
        }


def word(event: CheckEvent) -> str:
    """The state of an event of with_states."""
    return state_word(event, inspected=event.inspected, released=event.released, corrected=event.corrected)
