"""Home: the page after logging in. Each role has its section; a person with two roles has both."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from checks.charts.svg import spark
from checks.views.icing import line
from fleet.models import User
from reports.home import answers_waiting, auditor, controller, signer, technician
from reports.home_director import director

READ = "checks.view_records"
TECHNICIAN, SIGNER, CONTROLLER, DIRECTOR, AUDITOR = (
    "technician",
    "signer",
    "controller",
    "director",
    "auditor",
)


def sections_of(user: User) -> list[str]:
    """The sections of a person's home, by what the roles may do; the auditor's where they may only read."""
    wanted = {
        TECHNICIAN: ("checks.record_check",),
        SIGNER: ("checks.inspect_check", "checks.release_check"),
        CONTROLLER: ("checks.defer_defect",),
        DIRECTOR: ("checks.approve_revision",),
    }
    found = [section for section, any_of in wanted.items() if any(map(user.has_perm, any_of))]
    return found or ([AUDITOR] if user.has_perm(READ) else [])


@require_safe
def home(request: HttpRequest) -> HttpResponse:
    """The sections of the person who asks; words for one who has no role yet."""
    at = timezone.now()
    sections = sections_of(request.user)
    context: dict[str, object] = {"sections": sections, "roomy": sections in ([TECHNICIAN], [SIGNER])}
    if TECHNICIAN in sections:
        context["technician"] = technician(request.user, at)
    if SIGNER in sections:
        context["signer"] = signer(request.user, at)
    if CONTROLLER in sections:
        context["controller"] = told = controller(at)
        context["lines"] = [line(status) for status in told.icing]
    if DIRECTOR in sections:
        context["director"] = ranked = director(at)
        context["drift"] = [(row, spark(row.spark)) for row in ranked.drift]
    if request.user.has_perm("checks.approve_extension"):
        context["answers"] = answers_waiting()
    if AUDITOR in sections:
        context["auditor"] = auditor()
    return render(request, "reports/home.html", context)
