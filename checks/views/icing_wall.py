"""The icing status on a wall: large and dark, no menu, one base or all of them, read anew by itself."""

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from checks.selectors.icing import IcingStatus, icing_statuses
from checks.views.access import needs
from checks.views.icing import line
from checks.views.parts import is_part
from fleet.models import Aircraft, Base

ROWS = 7  # aircraft with something recorded against that stay readable from 5 m on one screen
CHIPS = 24
SECONDS = 20


class WallForm(forms.Form):
    """Which base, and which screenful of it."""

    base = forms.ModelChoiceField(Base.objects.all(), to_field_name="code", required=False)
    page = forms.IntegerField(min_value=1, required=False)


@require_safe
@needs("checks.view_records")
def icing_wall(request: HttpRequest) -> HttpResponse:
    """One screenful; each refresh shows the next one where there are several. A base that is not known shows
    every base rather than nothing."""
    asked = WallForm(request.GET)
    asked.full_clean()
    base: Base | None = asked.cleaned_data.get("base")
    fleet = Aircraft.objects.filter(base=base).values_list("pk", flat=True) if base else None
    at = timezone.now()
    statuses = icing_statuses(at=at, aircraft_ids=fleet)
    lines = sorted((told(one) for one in statuses if one.reasons), key=lambda one: one["rank"])
    quiet = [one.aircraft for one in statuses if not one.reasons]
    pages = max(-(-len(lines) // ROWS), 1)
    page = min(asked.cleaned_data.get("page") or 1, pages)
    query = f"?base={base.code}&" if base else "?"
    context = {
        "base": base,
        "bases": Base.objects.all(),
        "at": at,
        "seconds": SECONDS,
        "lines": lines[(page - 1) * ROWS : page * ROWS],
        "against": len(lines),
        "quiet": quiet[:CHIPS],
        "quiet_more": max(len(quiet) - CHIPS, 0),
        "number": len(statuses),
        "page": page,
        "pages": pages,
        "next": f"{reverse('checks:icing_wall')}{query}page={page % pages + 1}",
    }
    template = "checks/icing_wall_part.html" if is_part(request) else "checks/icing_wall.html"
    return render(request, template, context)


def told(status: IcingStatus) -> dict:
    """A line with the one reason that the wall shows, of the gravest tone; rank: red before amber."""
    shown = line(status)
    first = next(reason for reason in shown["reasons"] if reason.tone == shown["tone"] or not shown["tone"])
    order = {"act": 0, "heed": 1}.get(shown["tone"], 2)
    return shown | {"first": first, "more": len(shown["reasons"]) - 1, "rank": (order, *status.gravity)}
