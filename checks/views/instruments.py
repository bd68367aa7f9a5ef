"""Instruments: the state of their calibration, and the certificates."""

from django.db.models import QuerySet
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from checks.engine.units import UNITS, plain
from checks.forms.instruments import InstrumentFilter
from checks.selectors.doubt import with_findings
from checks.views.access import needs
from checks.views.paging import page_of
from checks.views.parts import in_order
from fleet import certificates
from fleet.models import Calibration, Instrument, Operator
from fleet.models.instruments import DUE_SOON, OUT_OF_CALIBRATION

PER_PAGE = 50
TONES = {OUT_OF_CALIBRATION: "act", DUE_SOON: "heed"}
SORTS = {
    "code": "code",
    "kind": "kind",
    "owner": "owner",
    "base": "base__name",
    "due": "calibration_due",
}
COLUMNS = [
    {"label": "Instrument", "sort": "code"},
    {"label": "Kind", "sort": "kind"},
    {"label": "Calibration"},
    {"label": "Calibration due", "sort": "due"},
    {"label": "Range"},
    {"label": "Owner", "sort": "owner"},
    {"label": "Base", "sort": "base"},
]


def known_today() -> QuerySet[Instrument]:
    """Every instrument with the state of its calibration today. The operator is one query."""
    today = timezone.localdate()
    known = Instrument.objects.with_calibration(today, Operator.current().due_soon_days)
    return with_findings(known, today)


def found_instruments(query: QueryDict) -> InstrumentFilter:
    known = known_today()
    if not query.get("use"):
        known = known.filter(in_use=True)
    return InstrumentFilter(query, queryset=known.select_related("base"))


def listed(found: InstrumentFilter) -> QuerySet[Instrument]:
    """What the filter leaves, in the order asked for: by code unless another is."""
    return found.qs.order_by(*in_order(found.data.get("sort", ""), SORTS, "code"))


@require_safe
@needs("checks.view_records")
def instruments(request: HttpRequest) -> HttpResponse:
    """Every instrument with the state of its calibration today; those in use unless asked otherwise."""
    found = found_instruments(request.GET)
    page = page_of(request, listed(found), PER_PAGE)
    context = {"filter": found, "page_obj": page, "columns": COLUMNS, "rows": [row(one) for one in page]}
    template = "checks/_instruments_list.html" if request.htmx else "checks/instruments.html"
    return render(request, template, context)


def row(instrument: Instrument) -> dict:
    """One row for partials/_table.html. No query."""
    due = instrument.calibration_due
    return {
        "tone": TONES.get(instrument.calibration_state, ""),
        "cells": [
            {"text": instrument.code, "href": reverse("checks:instrument_detail", args=[instrument.code])},
            {"text": instrument.get_kind_display()},
            {"state": instrument.calibration_state},
            {"text": f"{due:%d %b %Y}" if due else None, "note": "" if due else why_no_date(instrument)},
            {"text": range_of(instrument)},
            {"text": instrument.owner},
            {"text": instrument.base.name if instrument.base else None},
        ],
    }


def why_no_date(instrument: Instrument) -> str:
    return "no calibration on file" if instrument.needs_calibration else "needs none"


@require_safe
@needs("checks.view_records")
def instrument_detail(request: HttpRequest, code: str) -> HttpResponse:
    """One instrument with all its calibrations, newest first."""
    known = known_today()
    instrument = get_object_or_404(known.select_related("base"), code=code)
    context = {
        "instrument": instrument,
        "calibrations": [
            (one, None if one.error_found is None else plain(one.error_found).replace("-", "−"))
            for one in instrument.calibrations.order_by("-calibrated_on")
        ],
        "findings": instrument.findings.select_related("instrument", "replaced_by"),
        "facts": facts(instrument),
        "unit_label": unit_label(instrument),
    }
    return render(request, "checks/instrument_detail.html", context)


def facts(instrument: Instrument) -> list[dict]:
    """Names and values for partials/_facts.html. No query."""
    due = instrument.calibration_due
    pairs = [
        ("Kind", instrument.get_kind_display()),
        ("Description", instrument.description or None),
        ("Serial number", instrument.serial_number or None),
        ("Owner", instrument.owner),
        ("Base", instrument.base),
        ("Range", range_of(instrument)),
        ("Resolution", f"{plain(instrument.resolution)} {unit_label(instrument)}"),
        ("Accuracy", f"±{plain(instrument.accuracy)} {accuracy_unit(instrument)}"),
        ("Calibration due", f"{due:%d %b %Y}" if due else why_no_date(instrument)),
        ("In use", "yes" if instrument.in_use else "no"),
    ]
    state = {"name": "Calibration today", "state": instrument.calibration_state}
    return [state, *({"name": name, "value": value} for name, value in pairs)]


def range_of(instrument: Instrument) -> str:
    return f"{plain(instrument.range_low)} to {plain(instrument.range_high)} {unit_label(instrument)}"


def unit_label(instrument: Instrument) -> str:
    """The unit as people write it; an unknown one as it was entered."""
    known = UNITS.get(instrument.unit)
    return known.label if known else instrument.unit


def accuracy_unit(instrument: Instrument) -> str:
    kinds = Instrument.AccuracyKind
    if instrument.accuracy_kind == kinds.ABSOLUTE:
        return unit_label(instrument)
    return kinds(instrument.accuracy_kind).label


@require_safe
@needs("checks.view_records")
def certificate(request: HttpRequest, pk: int) -> FileResponse:
    """The certificate file of one calibration, always as a download."""
    calibration = get_object_or_404(Calibration.objects.select_related("instrument"), pk=pk)
    stored = calibration.certificate_file
    if not stored or not stored.storage.exists(stored.name):
        raise Http404("No certificate file is kept for this calibration.")
    name = certificates.download_name(
        calibration.instrument.code, calibration.certificate_number, stored.name
    )
    response = FileResponse(stored.open("rb"), as_attachment=True, filename=name)
    response["Content-Type"] = certificates.media_type(stored.name)
    response["X-Content-Type-Options"] = "nosniff"
    # The file comes from outside: even opened in a window of its own it may run nothing.
    response["Content-Security-Policy"] = "default-src 'none'; sandbox"
    return response
