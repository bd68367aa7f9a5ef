"""The due list, and how one due point was counted."""

import datetime as dt
from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from checks.engine.due import LimbProjection
from checks.engine.use_range import dates_between
from checks.engine.use_season import Season
from checks.filters import DueFilter
from checks.forms.programme import OwnerForm
from checks.models import DuePoint
from checks.selectors.due import count_states, due_points, due_rows
from checks.selectors.due_counting import Counted, count_due
from checks.selectors.programme_words import (
    counting_note,
    first_in_words,
    interval_in_words,
    tolerance_in_words,
)
from checks.selectors.use_season import season_told, seasons
from checks.services.due import note_due_point
from checks.services.errors import RecordError
from checks.services.programme import TYPES
from checks.views.access import needs
from checks.views.defects import show_refusal
from checks.views.paging import page_of
from fleet.models import Operator

PER_PAGE = 50


@require_safe
@needs("checks.view_records")
def due_list(request: HttpRequest) -> HttpResponse:
    """What is due on the fleet, soonest first; htmx gets the list alone."""
    today, operator = timezone.localdate(), Operator.current()
    points = due_points(today=today, soon_days=operator.due_soon_days)
    found = DueFilter(request.GET, queryset=points, today=today)
    context = {"filter": found, "today": today, "understood": found.is_valid()}
    context["demo_banner"] = operator.is_demo  # known already: the frame need not ask
    if context["understood"]:
        context |= _page_of(request, found, today)
    return render(request, "checks/due_part.html" if request.htmx else "checks/due_list.html", context)


def _page_of(request: HttpRequest, found: DueFilter, today: dt.date) -> dict[str, Any]:
    """One page of the list with the counts over it.

    Three queries: the counts, which give the length; the keys of the page, found along the index of the
    order; the rows of these keys. In one query with all its joins a database may sort the whole list.
    """
    listed = found.listed
    counts, counted_at = count_states(found.of_every_state)
    chosen = found.form.cleaned_data["state"]
    whole = sum(count.number for count in counts if not chosen or count.state == chosen)
    page = page_of(request, listed, PER_PAGE, whole=whole, only_keys=True)
    return {
        "counts": counts,
        "chosen": chosen,
        "counted_at": counted_at,
        "stale": counted_at and timezone.localtime(counted_at).date() < today,
        "page_obj": page,
        "rows": list(due_rows(listed.filter(pk__in=page.object_list), today=today)),
    }


@require_safe
@needs("checks.view_records")
def due_point(request: HttpRequest, pk: int) -> HttpResponse:
    """How one due point was counted, limb by limb, counted anew from the records of this moment."""
    today = timezone.localdate()
    points = due_points(today=today, soon_days=Operator.current().due_soon_days)
    related = ("aircraft__base", "check_due__procedure__variant", "check_due__modification")
    point = get_object_or_404(points.select_related(*related, "last_event", "owner"), pk=pk)
    here = count_due(aircraft_ids=[point.aircraft_id], today=today, ranges=True)
    counted = next((one for one in here if one.check_id == point.check_due_id), None)
    (row,) = due_rows(points.filter(pk=pk), today=today)
    context = {
        "point": point,
        "row": row,
        "today": today,
        "counted": counted,
        "limbs": limbs(counted, today, seasons(today)),
        "busy": season_told(today),
        "interval": interval_in_words(point.check_due),
        "tolerance": tolerance_in_words(point.check_due),
        "first": first_in_words(point.check_due),
        "note": counting_note(point.check_due.counting),
        "may_note": request.user.has_perm(TYPES),
    }
    return render(request, "checks/due_point.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(TYPES)
def due_owner(request: HttpRequest, pk: int) -> HttpResponse:
    """Who sees to a due point, and remarks."""
    point = get_object_or_404(DuePoint.objects.select_related("aircraft", "check_due"), pk=pk)
    form = OwnerForm(request.POST or None, instance=point)
    if request.method == "POST" and form.is_valid():
        try:
            note_due_point(point=point, by=request.user, **form.cleaned_data)
        except RecordError as refused:
            show_refusal(form, refused)
        else:
            messages.success(request, "Kept. It stays when the due point is counted anew.")
            return redirect("checks:due_point", pk=pk)
    status = 422 if request.method == "POST" else 200
    return render(request, "checks/due_owner.html", {"point": point, "form": form}, status=status)


def limbs(counted: Counted | None, today: dt.date, busy: Mapping[str, Season]) -> list[dict[str, Any]]:
    """The limbs of a point for the page: what each is counted to, and the engine's own line; where a date
    rests on the rate of use, the days between which it lies at the range of that rate."""
    if counted is None:
        return []
    governing = counted.projection.governing
    return [
        {
            "kind": limb.limb.kind,
            "at": limb.limb.at,
            "latest": limb.limb.latest,
            "remaining": limb.remaining,
            "is_date": isinstance(limb.limb.at, dt.date),
            "unit": {"hours": "h", "landings": ""}.get(limb.limb.kind, "days"),
            "text": limb.text,
            "governs": governing is limb.limb,
            "on": limb.on,
            "range": _range(counted, limb, today, busy),
        }
        for limb in counted.projection.limbs
    ]


def _range(
    counted: Counted, limb: LimbProjection, today: dt.date, busy: Mapping[str, Season]
) -> tuple[dt.date | None, dt.date | None]:
    """The earliest and the latest day at the range of use; none for what the calendar tells."""
    totals = counted.totals
    used = {"hours": totals.hours_range, "landings": totals.landings_range}.get(limb.limb.kind)
    if used is None or limb.remaining is None or limb.on is None:
        return None, None
    season = busy.get(limb.limb.kind)
    return dates_between(limb.remaining, used, since=totals.on or today, season=season)
