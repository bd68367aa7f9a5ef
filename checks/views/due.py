"""The due list, and how one due point was counted."""

import datetime as dt
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from checks.filters import DueFilter
from checks.selectors.due import count_states, due_points, due_rows
from checks.selectors.due_counting import Counted, count_due
from checks.views.access import needs
from fleet.models import Operator

PER_PAGE = 50


@require_safe
@needs("checks.view_records")
def due_list(request: HttpRequest) -> HttpResponse:
    """What is due on the fleet, soonest first; htmx gets the list alone."""
    today = timezone.localdate()
    points = due_points(today=today, soon_days=Operator.current().due_soon_days)
    found = DueFilter(request.GET, queryset=points, today=today)
    context = {"filter": found, "today": today, "understood": found.is_valid()}
    if context["understood"]:
        context |= page_of(found, today, request.GET.get("page"))
    return render(request, "checks/due_part.html" if request.htmx else "checks/due_list.html", context)


def page_of(found: DueFilter, today: dt.date, number: str | None) -> dict[str, Any]:
    """One page of the list with the counts over it.

    Three queries: the counts, which give the length; the keys of the page, found along the index of the
    order; the rows of these keys. In one query with all its joins a database may sort the whole list.
    """
    listed = found.listed
    counts, counted_at = count_states(found.of_every_state)
    chosen = found.form.cleaned_data["state"]
    paginator = Paginator(listed, PER_PAGE)
    paginator.count = sum(count.number for count in counts if not chosen or count.state == chosen)
    page = paginator.get_page(number)
    keys = list(page.object_list.values_list("pk", flat=True))
    return {
        "counts": counts,
        "chosen": chosen,
        "counted_at": counted_at,
        "stale": counted_at and timezone.localtime(counted_at).date() < today,
        "page_obj": page,
        "rows": list(due_rows(listed.filter(pk__in=keys), today=today)),
    }


@require_safe
@needs("checks.view_records")
def due_point(request: HttpRequest, pk: int) -> HttpResponse:
    """How one due point was counted, limb by limb, counted anew from the records of this moment."""
    today = timezone.localdate()
    points = due_points(today=today, soon_days=Operator.current().due_soon_days)
    point = get_object_or_404(
        points.select_related("aircraft__base", "check_due__procedure__variant", "last_event"), pk=pk
    )
    counted = next(
        (
            one
            for one in count_due(aircraft_ids=[point.aircraft_id], today=today)
            if one.check_id == point.check_due_id
        ),
        None,
    )
    (row,) = due_rows(points.filter(pk=pk), today=today)
    context = {"point": point, "row": row, "today": today, "counted": counted, "limbs": limbs(counted)}
    return render(request, "checks/due_point.html", context)


def limbs(counted: Counted | None) -> list[dict[str, Any]]:
    """The limbs of a point for the page: what each is counted to, and the engine's own line."""
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
        }
        for limb in counted.projection.limbs
    ]
