"""The files that reports hands over."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from checks.models import CheckEvent, InstrumentFinding
from checks.views.access import needs
from reports.duelist import COLUMNS, DueList, csv_rows, due_list
from reports.fleet_trend import fleet_trend
from reports.record import check_record
from reports.tables.csv import csv_text
from reports.traceback import instrument_traceback


@require_safe
@needs("checks.view_records")
def due_csv(request: HttpRequest) -> HttpResponse:
    """The due list as the page shows it for the same query, all pages of it, as CSV."""
    listed = due_list(request.GET)
    if listed is None:
        return _explain(request)
    return _file(csv_text(COLUMNS, csv_rows(listed)), "text/csv; charset=utf-8", _name(listed, "csv"))


@require_safe
@needs("checks.view_records")
def due_pdf(request: HttpRequest) -> HttpResponse:
    """The same as PDF."""
    from reports.pdf.duelist import due_list_pdf  # reportlab is slow to import

    listed = due_list(request.GET)
    if listed is None:
        return _explain(request)
    return _file(due_list_pdf(listed), "application/pdf", _name(listed, "pdf"))


@require_safe
@needs("checks.view_records")
def drift_pdf(request: HttpRequest) -> HttpResponse:
    """The drift of the fleet as the ranking shows it for the same query, all pages of it, as PDF."""
    from reports.pdf.fleet_trend import fleet_trend_pdf

    told = fleet_trend(request.GET)
    if told is None:
        return _explain(request, "checks:drift_ranking")
    name = f"drift-{told.today.isoformat()}.pdf"
    return _file(fleet_trend_pdf(told), "application/pdf", name)


@require_safe
@needs("checks.view_records")
def record_pdf(request: HttpRequest, uuid: object) -> HttpResponse:
    """The record of a signed check as PDF. A draft is no record: 404, with words and the way to it."""
    from reports.pdf import record as paper  # reportlab is slow to import

    try:
        record = check_record(uuid)
    except CheckEvent.DoesNotExist:
        raise Http404 from None
    if record is None:
        return render(request, "reports/record_unsigned.html", {"uuid": uuid}, status=404)
    name = f"{record.record.replace('/', '-')}-{record.work.task_code}-{record.work.done_on.isoformat()}.pdf"
    return _file(paper.record_pdf(record), "application/pdf", name)


@require_safe
@needs("checks.view_records")
def traceback_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    """The traceback of an instrument found out of calibration, as PDF."""
    from reports.pdf.traceback import traceback_pdf as paper

    told = instrument_traceback(get_object_or_404(InstrumentFinding, pk=pk))
    name = f"traceback-{told.instrument_code}-{told.found_on.isoformat()}.pdf"
    return _file(paper(told), "application/pdf", name)


def _explain(request: HttpRequest, page: str = "checks:due_list") -> HttpResponse:
    """A filter that was not understood is explained by the page; no file pretends to be the answer."""
    return redirect(f"{reverse(page)}?{request.GET.urlencode()}")


def _name(listed: DueList, kind: str) -> str:
    return f"due-list-{listed.today.isoformat()}.{kind}"


def _file(content: str | bytes, kind: str, name: str) -> HttpResponse:
    return HttpResponse(
        content, content_type=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )
