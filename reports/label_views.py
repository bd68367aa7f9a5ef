"""Choosing labels, and the sheet of them."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from checks.views.access import needs
from reports.files import attachment
from reports.labels import KINDS, MOST, Kind, label_sheet


@require_safe
@needs("checks.view_records")
def labels(request: HttpRequest, kind: str) -> HttpResponse:
    """Which labels of a kind the filter leaves, and the way to the sheet."""
    chosen = _kind(kind)
    context = {
        "kind": kind,
        "chosen": chosen,
        "kinds": [{"key": key, "title": one.title} for key, one in KINDS.items()],
        "filter": chosen.filter(request.GET, queryset=chosen.rows()),
        "sheet": label_sheet(chosen, request.GET),
        "most": MOST,
        "site": site_of(request),
    }
    return render(request, "reports/labels.html", context)


@require_safe
@needs("checks.view_records")
def labels_pdf(request: HttpRequest, kind: str) -> HttpResponse:
    """The labels as the page shows them for the same query, as PDF."""
    from reports.pdf.labels import labels_pdf as paper  # reportlab is slow to import

    sheet = label_sheet(_kind(kind), request.GET)
    if sheet is None:
        return redirect(f"{reverse('reports:labels', args=[kind])}?{request.GET.urlencode()}")
    name = f"labels-{kind}-{sheet.made_at:%Y-%m-%d}.pdf"
    return attachment(paper(sheet, site_of(request)), "application/pdf", name)


def _kind(kind: str) -> Kind:
    if kind not in KINDS:
        raise Http404("No labels are of this kind.")
    return KINDS[kind]


def site_of(request: HttpRequest) -> str:
    """Scheme and host by which the person reached the site, e.g. https://fleet.example."""
    return request.build_absolute_uri("/").rstrip("/")
