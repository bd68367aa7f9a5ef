"""The sheet of a work package, and the calendars of the bases."""

from django.http import Http404, HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from checks.views.access import needs
from reports.package import package_sheet


@require_safe
@needs("checks.view_records")
def package_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    """One sheet to hand over with the aircraft."""
    from reports.pdf.package import package_pdf as paper  # reportlab is slow to import

    sheet = package_sheet(pk, request.build_absolute_uri)
    if sheet is None:
        raise Http404("There is no package of this number: a newer plan may have taken its place.")
    name = f"package-{sheet.number}-{sheet.registration}-{sheet.on.isoformat()}.pdf"
    return HttpResponse(
        paper(sheet),
        content_type="application/pdf",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
