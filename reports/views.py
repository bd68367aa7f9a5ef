"""The files that reports hands over."""

import uuid as uuids

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.text import slugify
from django.views.decorators.http import require_safe

from checks.models import CheckEvent, InstrumentFinding
from checks.selectors.reliability import reliability
from checks.services.drift import keep_printed
from checks.views.access import needs
from fleet.models import Aircraft, Operator
from reports.duelist import DueList, due_list
from reports.files import attachment
from reports.fleet_trend import fleet_trend
from reports.icing_status import icing_sheet
from reports.record import check_record
from reports.traceback import instrument_traceback
from reports.worksheet import revisions, worksheet


@require_safe
@needs("checks.view_records")
def due_pdf(request: HttpRequest) -> HttpResponse:
    """The due list as the page shows it for the same query, all pages of it, as PDF."""
    from reports.pdf.duelist import due_list_pdf  # reportlab is slow to import

    listed = due_list(request.GET)
    if listed is None:
        return _explain(request)
    return attachment(due_list_pdf(listed), "application/pdf", _name(listed, "pdf"))


@require_safe
@needs("checks.view_records")
def icing_pdf(request: HttpRequest) -> HttpResponse:
    """The icing status as its page shows it for the same query, all pages of it, as PDF."""
    from reports.pdf.icing_status import icing_status_pdf

    sheet = icing_sheet(request.GET)
    if sheet is None:
        return _explain(request, "checks:icing_status")
    moment = timezone.localtime(sheet.at)
    return attachment(icing_status_pdf(sheet), "application/pdf", f"icing-status-{moment:%Y-%m-%d-%H%M}.pdf")


@require_safe
@needs("checks.view_records")
def drift_pdf(request: HttpRequest) -> HttpResponse:
    """The drift of the fleet as the ranking shows it for the same query, all pages of it, as PDF."""
    from reports.pdf.fleet_trend import fleet_trend_pdf

    told = fleet_trend(request.GET)
    if told is None:
        return _explain(request, "checks:drift_ranking")
    if told.fit:
        keep_printed(told.fit.number)
    name = f"drift-{told.today.isoformat()}.pdf"
    return attachment(fleet_trend_pdf(told), "application/pdf", name)


@require_safe
@needs("checks.view_records")
def reliability_pdf(request: HttpRequest) -> HttpResponse:
    """Rates, alert levels and lives between purges as of today, as PDF."""
    from reports.pdf.reliability import reliability_pdf as paper

    report, operator = reliability(timezone.localdate()), Operator.current()
    content = paper(report, operator.name, operator.is_demo)
    return attachment(content, "application/pdf", f"reliability-{report.today.isoformat()}.pdf")


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
    return attachment(paper.record_pdf(record), "application/pdf", name)


@require_safe
@needs("checks.view_records")
def traceback_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    """The traceback of an instrument found out of calibration, as PDF."""
    from reports.pdf.traceback import traceback_pdf as paper

    told = instrument_traceback(get_object_or_404(InstrumentFinding, pk=pk))
    name = f"traceback-{told.instrument_code}-{told.found_on.isoformat()}.pdf"
    return attachment(paper(told), "application/pdf", name)


@require_safe
@needs("checks.view_records")
def worksheet_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    """A blank worksheet of a revision for ?aircraft=; with ?check= its code opens that draft."""
    from reports.pdf.worksheet import worksheet_pdf as paper

    revision = get_object_or_404(revisions(), pk=pk)
    known = Aircraft.objects.filter(variant=revision.procedure.variant_id).select_related("variant", "base")
    aircraft = known.filter(registration=request.GET.get("aircraft", "")).first()
    if aircraft is None:
        messages.error(
            request, f"Choose an aircraft with the {revision.procedure.variant} for the worksheet."
        )
        return redirect("checks:revision", pk=pk)
    draft, asked = None, request.GET.get("check", "")
    if asked:
        draft = _draft(asked, aircraft, pk)
        if draft is None:
            messages.error(request, "That check is no draft of this aircraft and revision, so no worksheet.")
            return redirect("checks:revision", pk=pk)
    link = reverse("checks:new", query={"aircraft": aircraft.registration, "task": revision.procedure.code})
    if draft:
        link = reverse("checks:check", args=[draft.pk])
    sheet = worksheet(revision, aircraft, link=request.build_absolute_uri(link), draft=draft)
    name = f"worksheet-{sheet.registration}-{sheet.procedure_code}-{slugify(sheet.revision)}.pdf"
    return attachment(paper(sheet), "application/pdf", name)


def _draft(key: str, aircraft: Aircraft, revision: int) -> CheckEvent | None:
    """The draft with this key, where it is one of the aircraft and the revision."""
    try:
        uuid = uuids.UUID(key)
    except ValueError:
        return None
    drafts = CheckEvent.objects.filter(pk=uuid, state=CheckEvent.State.DRAFT, aircraft=aircraft)
    return drafts.filter(revision=revision).select_related("base", "started_by").first()


def _explain(request: HttpRequest, page: str = "checks:due_list") -> HttpResponse:
    """A filter that was not understood is explained by the page; no file pretends to be the answer."""
    return redirect(f"{reverse(page)}?{request.GET.urlencode()}")


def _name(listed: DueList, kind: str) -> str:
    return f"due-list-{listed.today.isoformat()}.{kind}"
