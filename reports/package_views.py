"""The sheet of a work package, and the calendars of the bases."""

import hashlib

from django.contrib.auth.decorators import login_not_required
from django.core.cache import cache
from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.views.decorators.http import require_safe

from checks.services.notices import open_feed
from checks.views.access import needs
from reports.calendar import RETRY_HOURS, base_calendar
from reports.files import attachment
from reports.package import package_sheet

#: requests of one address (of a machine) to calendars in so many seconds, and wrong keys among them
MOST_ASKED, MOST_WRONG, WITHIN_SECONDS = 120, 20, 300
MOST_KEY = 100
PLAIN = "text/plain; charset=utf-8"


@require_safe
@needs("checks.view_records")
def package_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    """One sheet to hand over with the aircraft."""
    from reports.pdf.package import package_pdf as paper  # reportlab is slow to import

    sheet = package_sheet(pk, request.build_absolute_uri)
    if sheet is None:
        raise Http404("There is no package of this number: a newer plan may have taken its place.")
    name = f"package-{sheet.number}-{sheet.registration}-{sheet.on.isoformat()}.pdf"
    return attachment(paper(sheet), "application/pdf", name)


@require_safe
@login_not_required
def calendar(request: HttpRequest, code: str) -> HttpResponse:
    """The calendar of a base for who has its key (?key=), without log-in.

    The key stands in the query, which Django's own log leaves out. Unknown, revoked or of a leaver: 404 for
    all alike; without any: 400. Asked too often by one machine: 429 (counted by each server process).
    """
    who = hashlib.sha256(request.META.get("REMOTE_ADDR", "").encode()).hexdigest()[:16]
    if counted(f"calendar-asked-{who}") > MOST_ASKED or cache.get(f"calendar-wrong-{who}", 0) >= MOST_WRONG:
        words = "Asked too often. Come again in a few minutes."
        return HttpResponse(words, status=429, content_type=PLAIN, headers={"Retry-After": WITHIN_SECONDS})
    key = request.GET.get("key", "")
    if not key:
        words = "This address is not complete: it ends in ?key= and a key."
        return HttpResponse(words, status=400, content_type=PLAIN)
    feed = open_feed(code, key) if len(key) <= MOST_KEY else None
    if feed is None:
        counted(f"calendar-wrong-{who}")
        words = "There is no calendar at this address, or it was revoked."
        return HttpResponse(words, status=404, content_type=PLAIN)
    from reports.tables.ical import ical  # slow to import

    text = ical(base_calendar(feed.base, timezone.now()), RETRY_HOURS)
    mark = f'"{hashlib.sha256(text).hexdigest()[:32]}"'
    name = f"weepwatch-{feed.base.code}.ics"
    response = HttpResponse(
        text,
        content_type="text/calendar; charset=utf-8",
        headers={
            "Content-Disposition": f'inline; filename="{name}"',
            "Cache-Control": "private, max-age=900",
            "ETag": mark,
            "X-Robots-Tag": "noindex",
        },
    )
    return get_conditional_response(request, etag=mark, response=response)


def counted(key: str) -> int:
    """How often it was asked in the last while, this time included."""
    cache.add(key, 0, WITHIN_SECONDS)
    try:
        return cache.incr(key)
    except ValueError:  # it ended between the two
        return 1
