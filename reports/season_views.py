"""The season plan of a base as CSV and PDF."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.views.decorators.http import require_safe

from checks.selectors.season_report import SeasonReport, season_reports
from checks.views.access import needs
from checks.views.season import asked_year
from fleet.models import Base, Operator
from reports.files import attachment
from reports.season import COLUMNS, csv_rows
from reports.tables.csv import csv_text


@require_safe
@needs("checks.view_records")
def season_csv(request: HttpRequest, code: str) -> HttpResponse:
    """The plan as the page shows it for the same season, one row for each aircraft and task."""
    report = _report(request, code)
    return _file(csv_text(COLUMNS, csv_rows(report.plan)), "text/csv; charset=utf-8", report, "csv")


@require_safe
@needs("checks.view_records")
def season_pdf(request: HttpRequest, code: str) -> HttpResponse:
    """The same as a sheet, with the picture of the page."""
    from reports.pdf.season import season_pdf as paper  # reportlab is slow to import

    report, operator = _report(request, code), Operator.current()
    return _file(paper(report, operator.name, operator.is_demo), "application/pdf", report, "pdf")


def _report(request: HttpRequest, code: str) -> SeasonReport:
    base, today = get_object_or_404(Base, code=code), timezone.localdate()
    return season_reports(today=today, base=base, year=asked_year(request.GET.get("year", ""), today))[0]


def _file(content: str | bytes, kind: str, report: SeasonReport, ending: str) -> HttpResponse:
    name = f"season-{report.plan.base.code}-{report.plan.date.isoformat()}.{ending}"
    return attachment(content, kind, name)
