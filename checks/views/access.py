"""Who may open a page: log-in first, then one permission, and words for the person who is refused."""

from collections.abc import Callable
from functools import wraps
from typing import Concatenate

from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse

View = Callable[Concatenate[HttpRequest, ...], HttpResponse]

# What the permission opens, as the refusal says it.
WORDS = {
    "checks.view_records": "reading the records of the fleet",
    "checks.record_check": "recording checks and signing them as performed",
    "checks.inspect_check": "the second signature",
    "checks.release_check": "signing a release to service",
    "checks.decide_reading": "deciding in writing on a reading far under the baseline",
    "checks.accept_import": "importing and accepting records",
    "checks.raise_defect": "raising defects",
    "checks.defer_defect": "deferring defects",
    "checks.rectify_defect": "signing defects as rectified",
    "checks.approve_revision": "approving revisions",
    "checks.add_melitem": "typing items of the MEL",
    "checks.change_melitem": "changing items of the MEL",
    "checks.approve_melitem": "approving items of the MEL",
    "checks.approve_extension": "approving extensions of deferrals",
    "checks.take_pack": "taking audit packs",
    "checks.plan_packages": "planning work packages",
    "checks.change_recurringcheck": "typing the programme and saying who sees to a due point",
    "fleet.add_calibration": "reporting instruments out of calibration",
    "fleet.add_utilisationentry": "entering utilisation",
    "fleet.add_plannedmove": "planning moves of aircraft",
    "fleet.change_plannedmove": "planning moves of aircraft",
    "checks.add_stockmovement": "keeping the stock",
    "checks.add_fluidmix": "entering what mixes with what",
}


def needs(permission: str) -> Callable[[View], View]:
    """Open a function view to people with the permission, e.g. ``@needs("checks.view_records")``.

    Anonymous: sent to the log-in page and back. Signed in without it: 403, a page that says what is
    missing. Set ``@require_http_methods`` outside it, so that a wrong method is answered with 405.
    """

    def closed(view: View) -> View:
        @login_required
        @wraps(view)
        def opened(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponse:
            if not request.user.has_perm(permission):
                what = WORDS.get(permission, "this page")
                raise PermissionDenied(f"Your role does not include {what}. Nothing was changed.")
            return view(request, *args, **kwargs)

        opened.permission = permission  # type: ignore[attr-defined]
        return opened

    return closed
