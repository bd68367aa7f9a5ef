"""The packages of one base as a calendar of weeks; accepting several at once; hours of single days."""

import datetime as dt

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from checks.forms.packages import WorkDayForm, week_asked
from checks.models import WorkPackage
from checks.selectors.package_calendar import WEEKS, weeks_of
from checks.services.errors import RecordError
from checks.services.packages import accept_package, set_work_day, usual_hours_again
from checks.services.plan_runs import PLAN
from checks.views.access import needs
from fleet.models import Base


@require_http_methods(["GET", "HEAD", "POST"])
@needs("checks.view_records")
def packages_base(request: HttpRequest, code: str) -> HttpResponse:
    """Five weeks of a base; a post sets the hours of a day (do=hours) or accepts what is marked."""
    base = get_object_or_404(Base, code=code)
    form = WorkDayForm()
    if request.method == "POST":
        if not request.user.has_perm(PLAN):
            raise PermissionDenied("Your role does not include planning work packages. Nothing was changed.")
        if request.POST.get("do") != "hours":
            return accept_marked(request, base)
        form = WorkDayForm(request.POST)
        if form.is_valid():
            hours_set(request, base, form)
            return redirect(here(request, base))
    today = timezone.localdate(timezone=base.zone)
    first = week_asked(request.GET.get("from", ""), today)
    context = {
        "base": base,
        "weeks": weeks_of(base, first, today),
        "first": first,
        "last": first + dt.timedelta(days=7 * WEEKS - 1),
        "before": first - dt.timedelta(days=7 * WEEKS),
        "after": first + dt.timedelta(days=7 * WEEKS),
        "form": form,
        "may": request.user.has_perm(PLAN),
    }
    status = 422 if request.method == "POST" else 200
    return render(request, "checks/packages_base.html", context, status=status)


def hours_set(request: HttpRequest, base: Base, form: WorkDayForm) -> None:
    given = form.cleaned_data
    if given["hours"] is None:
        usual_hours_again(base=base, on=given["on"], by=request.user)
    else:
        set_work_day(base=base, by=request.user, **given)
    messages.success(request, f"Hours of {given['on']:%d %b %Y} are kept. The next plan goes by them.")


def accept_marked(request: HttpRequest, base: Base) -> HttpResponse:
    """Accept every proposal that is marked; each that can't be is named, the others are accepted."""
    keys = [key for key in request.POST.getlist("package") if key.isdecimal()][:500]
    found = WorkPackage.objects.proposed().filter(base=base, pk__in=keys).select_related("aircraft")
    accepted = 0
    for package in found:
        try:
            accept_package(package=package, by=request.user)
        except RecordError as refused:
            messages.error(request, f"{package.aircraft}, {package.on:%d %b %Y}: {refused}")
        else:
            accepted += 1
    if accepted:
        messages.success(request, f"{accepted} accepted: what is accepted stays put in the next plan.")
    if not keys:
        messages.error(request, "Nothing was marked. Mark the proposals to accept, then press again.")
    return redirect(here(request, base))


def here(request: HttpRequest, base: Base) -> str:
    query = request.GET.urlencode()
    return reverse("checks:packages_base", args=[base.code]) + (f"?{query}" if query else "")
