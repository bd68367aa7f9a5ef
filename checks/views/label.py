"""What a scanned label opens: the aircraft, the aircraft that a part is fitted to, the instrument."""

from collections.abc import Callable

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from checks.selectors.labels import checks_for, latest_fitment
from checks.views import addresses
from checks.views.access import needs
from checks.views.instruments import known_today
from fleet.models import Aircraft, Part

LONGEST_KEY = 18  # digits


@require_safe
@needs("checks.view_records")
def label(request: HttpRequest, kind: str, code: str) -> HttpResponse:
    """Lead on to what the label stands on. 404, with words, where nothing has that label."""
    lead = LEADS.get(kind)
    if lead is None:
        raise Http404("No label is of this kind.")
    return lead(request, code)


def _aircraft(_request: HttpRequest, code: str) -> HttpResponse:
    return redirect(
        addresses.of_aircraft(get_object_or_404(Aircraft, registration=code.upper()).registration)
    )


def _part(request: HttpRequest, code: str) -> HttpResponse:
    """The aircraft that it is fitted to, at its position; a part on the shelf says where it was last."""
    if not (code.isascii() and code.isdecimal() and len(code) <= LONGEST_KEY):
        raise Http404("No part has this label.")
    part = get_object_or_404(Part, pk=code)
    fitment = latest_fitment(part)
    if fitment and fitment.removed_on is None:
        place = addresses.of_aircraft(fitment.aircraft.registration)
        return redirect(f"{place}#position-{fitment.position.code}")
    return render(request, "checks/label_part.html", {"part": part, "fitment": fitment})


def _instrument(request: HttpRequest, code: str) -> HttpResponse:
    """Its page; where the person has a check open that asks for one like it, first the way into that."""
    instrument = get_object_or_404(known_today(), code=code)
    may = request.user.has_perm("checks.record_check")
    found = checks_for(instrument, request.user, timezone.now()) if may else []
    if not found:
        return redirect("checks:instrument_detail", code=code)
    uses = [
        {"use": use, "href": reverse("checks:check", args=[use.event.pk], query={"instrument": code})}
        for use in found
    ]
    return render(request, "checks/label_instrument.html", {"instrument": instrument, "uses": uses})


LEADS: dict[str, Callable[[HttpRequest, str], HttpResponse]] = {
    "aircraft": _aircraft,
    "part": _part,
    "instrument": _instrument,
}
