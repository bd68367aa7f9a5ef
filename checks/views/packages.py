"""The plan of work packages: asked for, on its way, and what it came to base by base."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from checks.forms.packages import PlanForm
from checks.models import PlanRun, WorkPackage
from checks.services.errors import RecordError
from checks.services.plan_runs import PLAN, SECONDS, ask_plan, launch, seems_silent
from checks.views.access import needs
from fleet.models import Base

NO_PROCESS = (
    "The plan waits, but this server could not start a process for it. It is reckoned as soon as "
    "“manage.py plan_packages” runs."
)


@require_http_methods(["GET", "HEAD", "POST"])
@needs("checks.view_records")
def packages(request: HttpRequest) -> HttpResponse:
    """Every base with its packages, and the newest plan; a post asks for a new one."""
    form = PlanForm(request.POST or None)
    if request.method == "POST":
        if not request.user.has_perm(PLAN):
            raise PermissionDenied("Your role does not include planning work packages. Nothing was changed.")
        if form.is_valid() and asked(request, form):
            return redirect("checks:packages")
    context = {"form": form, "bases": bases(), **progress()}
    status = 422 if request.method == "POST" else 200
    return render(request, "checks/packages.html", context, status=status)


def asked(request: HttpRequest, form: PlanForm) -> bool:
    """Ask for the plan and start its process; False with the reason in the form."""
    try:
        run = ask_plan(by=request.user, **form.cleaned_data)
    except RecordError as refused:
        form.add_error(None, str(refused))
        return False
    if launch(run):
        messages.success(request, "The plan is being reckoned. You may leave this page meanwhile.")
    else:
        messages.warning(request, NO_PROCESS)
    return True


@require_safe
@needs("checks.view_records")
def package_progress(request: HttpRequest) -> HttpResponse:
    """How far the newest plan is: the part that fetches itself anew until it is there."""
    if not request.htmx:
        return redirect("checks:packages")
    return render(request, "checks/packages_run.html", {**progress(), "bases": bases()})


def progress() -> dict[str, Any]:
    """The newest run as the page shows it. One query."""
    run = PlanRun.objects.select_related("asked_by").first()
    now = timezone.now()
    waits = run is not None and run.active
    since = (run.started_at or run.asked_at) if waits else now
    return {
        "run": run,
        "runs": waits and not seems_silent(run, now),
        "silent": waits and seems_silent(run, now),
        "seconds": round((now - since).total_seconds()),
        "most_seconds": round(SECONDS),
        "share": round(100 * run.solved / run.bases) if run and run.bases else 0,
        "late": sum(line["late"] for line in run.result) if run else 0,
    }


def bases() -> list[Base]:
    """Bases with the numbers of their packages still to come, those proposed and those accepted."""
    ahead = Q(packages__on__gte=timezone.localdate())
    state = WorkPackage.State
    return list(
        Base.objects.annotate(
            proposed=Count("packages", filter=ahead & Q(packages__state=state.PROPOSED)),
            accepted=Count("packages", filter=ahead & Q(packages__state=state.ACCEPTED)),
        )
    )
