"""Icing status: one line for each aircraft, what the records hold against flight in icing."""

from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from checks.forms.aircraft import IcingFilter
from checks.selectors import icing
from checks.selectors.icing import IcingStatus, Reason
from checks.selectors.icing_board import Line, statuses_of
from checks.views import addresses
from checks.views.access import needs
from checks.views.paging import page_of_list
from checks.views.parts import is_part
from fleet import shapes
from fleet.models import Aircraft

PER_PAGE = 100
# The state whose shape and tone a reason is shown with; its text says the word itself.
SHOWN_AS = {
    icing.DEFECT: "open",
    icing.EXPIRED: "deferral expired",
    icing.LIMIT_UNKNOWN: "deferral limit not known",
    icing.DEACTIVATED: "deactivated",
    icing.DISTURBED: "not put back",
    icing.NOT_VALID: "not valid",
    icing.DOUBT: "in doubt",
    icing.LIMITED: "deferred",
    icing.LATE: "overdue",
    icing.UNKNOWN: "no record",
    icing.STALE: "utilisation stale",
    icing.STORED: "stored",
}


@dataclass(frozen=True)
class ReasonShown:
    """A reason for a page: its words, shape and tone, and where the record is."""

    text: str
    shape: str
    tone: str
    href: str


def shown(reason: Reason, registration: str) -> ReasonShown:
    """How a reason is shown; one without a record of its own leads to the aircraft. No query."""
    state = shapes.state(SHOWN_AS[reason.kind])
    href = addresses.of_reason(reason) or addresses.of_aircraft(registration)
    return ReasonShown(reason.text, state.shape, state.tone, href)


def line(status: IcingStatus) -> dict:
    """One aircraft with its reasons and the tone of the gravest, for a page. No query."""
    reasons = [shown(reason, status.aircraft.registration) for reason in status.reasons]
    tones = {reason.tone for reason in reasons}
    tone = next((tone for tone in ("act", "heed") if tone in tones), "")
    return {
        "aircraft": status.aircraft,
        "words": status.words,
        "reasons": reasons,
        "tone": tone,
        "expired": any(reason.kind == icing.EXPIRED for reason in status.reasons),
    }


def key_of(line: Line) -> int:
    """What an address calls the line of an aircraft."""
    return line.pk


@require_safe
@needs("checks.view_records")
def icing_status(request: HttpRequest) -> HttpResponse:
    """Every aircraft that has not left; htmx gets the list alone, each minute and when the filter changes."""
    fleet = Aircraft.objects.exclude(state=Aircraft.State.LEFT)
    found = IcingFilter(request.GET, queryset=fleet)
    at = timezone.now()
    context = {"filter": found, "understood": found.is_valid(), "at": at}
    if context["understood"]:
        standing = found.board_at(at)
        lines = found.lines(standing)
        page = page_of_list(request, lines, PER_PAGE, key=key_of)
        context |= {
            "page_obj": page,
            "lines": [line(status) for status in statuses_of(standing, page)],
            "against": sum(map(standing.against, lines)),
            "number": len(lines),
            "demo_banner": standing.operator.is_demo,  # known already: the frame need not ask
        }
    template = "checks/icing_part.html" if is_part(request) else "checks/icing_status.html"
    return render(request, template, context)
