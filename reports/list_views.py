"""Lists as files."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from checks.views.access import needs
from reports.files import attachment
from reports.listed import Listed, Rows
from reports.lists import LISTS
from reports.tables.csv import csv_text
from reports.tables.jsonlist import json_text
from reports.tables.xlsx import xlsx_bytes

KINDS = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "json": "application/json",
}


@require_safe
@needs("checks.view_records")
def list_file(request: HttpRequest, name: str, kind: str) -> HttpResponse:
    """A list as its page shows it for the same query, all pages of it, as CSV, Excel workbook or JSON."""
    listed = LISTS.get(name)
    if listed is None or kind not in KINDS:
        raise Http404("There is no list of this name.")
    rows = listed.rows(request.GET)
    if rows is None:  # the page explains what was not understood; no file pretends to be the answer
        return redirect(f"{reverse(listed.page)}?{request.GET.urlencode()}")
    file = f"{name}-{timezone.localdate().isoformat()}.{kind}"
    return attachment(_content(name, kind, listed, rows), KINDS[kind], file)


def _content(name: str, kind: str, listed: Listed, rows: Rows) -> str | bytes:
    if kind == "xlsx":
        return xlsx_bytes(name, listed.columns, rows)
    if kind == "json":
        return json_text(name, listed.columns, rows, timezone.now())
    return csv_text(listed.columns, rows)
