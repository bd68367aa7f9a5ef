"""An instrument found out of calibration: the report, the traceback, the review of what it touched."""

from collections.abc import Iterable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from checks.forms.doubt import FindingForm, ReviewForm
from checks.models import InstrumentFinding
from checks.selectors.doubt import Doubt, drafts_with, standing_findings, traceback
from checks.services.doubt import report_out_of_calibration, review_doubt
from checks.services.errors import RecordError
from checks.views.access import needs
from checks.views.check_show import address
from checks.views.check_sign import put
from checks.views.doubt_words import error_words, label_of, shift_words
from fleet.models import Calibration, Instrument

METHODS = ["GET", "HEAD", "POST"]
COLUMNS = [
    {"label": "Date of work"},
    {"label": "Aircraft"},
    {"label": "Task"},
    {"label": "As recorded"},
    {"label": "Error corrected"},
    {"label": "Read with it"},
    {"label": "Doubt"},
]


def finding_of(pk: int) -> InstrumentFinding:
    """A finding with what its pages name. Http404 where there is none."""
    related = ("instrument__base", "calibration", "reported_by", "record__chain__aircraft", "replaced_by")
    return get_object_or_404(InstrumentFinding.objects.select_related(*related, "replaces"), pk=pk)


@require_http_methods(METHODS)
@needs("fleet.add_calibration")
def doubt_report(request: HttpRequest, code: str) -> HttpResponse:
    """Report an instrument; what its newest failed calibration says is filled in beforehand."""
    instrument = get_object_or_404(Instrument.objects.select_related("base"), code=code)
    earlier = list(standing_findings().filter(instrument=instrument))
    start = beforehand(instrument)
    form = FindingForm(request.POST or None, unit=label_of(instrument), earlier=earlier, initial=start)
    barred: Iterable = ()
    if request.method == "POST" and form.is_valid():
        given = {"instrument": instrument, "by": request.user, **form.cleaned_data}
        try:
            finding = report_out_of_calibration(**given)
        except RecordError as refused:
            barred = put(form, refused)
        else:
            messages.success(request, f"On record: {finding}.")
            return redirect("checks:doubt_finding", pk=finding.pk)
    context = {"instrument": instrument, "form": form, "barred": barred, "unit": label_of(instrument)}
    status = 422 if request.method == "POST" else 200
    return render(request, "checks/doubt_report.html", context, status=status)


def beforehand(instrument: Instrument) -> dict[str, Any]:
    failed = instrument.calibrations.filter(result=Calibration.Result.FAILED).first()
    if failed is None or instrument.findings.filter(found_on=failed.calibrated_on).exists():
        return {"found_on": timezone.localdate()}
    error = failed.error_found
    return {"found_on": failed.calibrated_on, "error": "" if not error else f"{error.normalize():+f}"}


@require_safe
@needs("checks.view_records")
def doubt_finding(request: HttpRequest, pk: int) -> HttpResponse:
    """One finding with its traceback. A fixed number of queries, however many checks it touches."""
    finding = finding_of(pk)
    doubts = traceback(finding)
    replaced = getattr(finding, "replaced_by", None)
    waiting = [doubt for doubt in doubts if doubt.is_open and not replaced]
    may_review = request.user.has_perm("checks.release_check")
    context = {
        "finding": finding,
        "replaced": replaced,
        "facts": facts(finding),
        "columns": COLUMNS,
        "rows": [row(doubt, may_review and not replaced) for doubt in doubts],
        "number": len(doubts),
        "changed": sum(doubt.would_change for doubt in doubts),
        "waiting": len(waiting),
        "unchanged": sum(not doubt.would_change for doubt in waiting),
        "drafts": drafts_with(finding),
        "pdf": address("reports:traceback_pdf", finding.pk),
    }
    return render(request, "checks/doubt_finding.html", context)


def facts(finding: InstrumentFinding) -> list[dict[str, Any]]:
    """Names and values for partials/_facts.html. No query."""
    good, instrument = finding.calibration, finding.instrument
    since = (
        f"{good.calibrated_on:%d %b %Y}, certificate {good.certificate_number}" if good else "none on file"
    )
    return [
        {"name": "Instrument", "value": instrument, "href": instrument_page(instrument)},
        {"name": "Day found", "value": f"{finding.found_on:%d %b %Y}"},
        {"name": "Error found", "value": error_words(finding)},
        {"name": "Last good calibration", "value": since},
        {"name": "How it was found", "value": finding.text},
        {"name": "Reported", "value": f"{finding.reported_by}, {finding.reported_at:%d %b %Y}"},
        {"name": "Record", "value": finding.record.reference},
    ]


def instrument_page(instrument: Instrument) -> str:
    return reverse("checks:instrument_detail", args=[instrument.code])


def row(doubt: Doubt, may_review: bool) -> dict[str, Any]:
    """One check for partials/_table.html. No query."""
    event, known = doubt.event, doubt.corrected is not None
    review: dict[str, Any] = {"state": doubt.state}
    if doubt.review:
        review["note"] = f"{doubt.review.reviewed_by}, {doubt.review.reviewed_at:%d %b %Y}"
    elif doubt.is_open and may_review:
        address_ = reverse("checks:doubt_review", args=[doubt.finding.pk])
        review |= {"href": f"{address_}?check={event.pk}", "note": "review it"}
    return {
        "tone": "act" if doubt.against else "",
        "cells": [
            {"text": f"{event.work_date:%d %b %Y}", "href": reverse("checks:check", args=[event.pk])},
            {"text": event.aircraft.registration},
            {"text": event.revision.procedure.title},
            {"state": event.outcome} if event.outcome else {"text": None},
            {
                "state": doubt.outcome,
                "note": "would change" if known and doubt.would_change else "",
            },
            {"text": "; ".join(shift_words(shift) for shift in doubt.shifts) or None},
            review,
        ],
    }


@require_http_methods(METHODS)
@needs("checks.release_check")
def doubt_review(request: HttpRequest, pk: int) -> HttpResponse:
    """Decide about checks in doubt: one (?check=), those that would not change (?unchanged), or any."""
    finding = finding_of(pk)
    if getattr(finding, "replaced_by", None):
        messages.error(request, "A later finding took the place of that one. Review its checks here.")
        return redirect("checks:doubt_finding", pk=finding.replaced_by.pk)
    doubts = [doubt for doubt in traceback(finding) if doubt.is_open]
    form = ReviewForm(request.POST or None, doubts=doubts, initial={"events": chosen(request, doubts)})
    barred: Iterable = ()
    if request.method == "POST" and form.is_valid():
        try:
            reviews = review_doubt(finding=finding, by=request.user, **form.cleaned_data)
        except RecordError as refused:
            barred = put(form, refused)
        else:
            messages.success(request, f"On record: {len(reviews)} reviewed.")
            return redirect("checks:doubt_finding", pk=finding.pk)
    context = {"finding": finding, "form": form, "barred": barred, "number": len(doubts)}
    context["error_words"] = error_words(finding)
    status = 422 if request.method == "POST" else 200
    return render(request, "checks/doubt_review.html", context, status=status)


def chosen(request: HttpRequest, doubts: Iterable[Doubt]) -> list[str]:
    """Keys of the checks that the address asks for."""
    if "unchanged" in request.GET:
        return [str(doubt.event.pk) for doubt in doubts if not doubt.would_change]
    return request.GET.getlist("check")
