"""Lists as files."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from checks.views.access import needs
from reports.lists import LISTS
from reports.tables.csv import csv_text


@require_safe
@needs("checks.view_records")
def list_csv(request: HttpRequest, name: str) -> HttpResponse:
    """A list as its page shows it for the same query, all pages of it, as CSV."""
    listed = LISTS.get(name)
    if listed is None:
        raise Http404("There is no list of this name.")
    rows = listed.rows(request.GET)
    if rows is None:  # the page explains what was not understood; no file pretends to be the answer
        return redirect(f"{reverse(listed.page)}?{request.GET.urlencode()}")
    name = f"{name}-{timezone.localdate().isoformat()}.csv"
    return HttpResponse(
        csv_text(listed.columns, rows),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
