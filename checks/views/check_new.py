"""New check: the aircraft, then the task, one tap each."""

import datetime as dt
import uuid

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from checks.forms.check_start import FindAircraft, StartForm
from checks.selectors.check_start import aircraft_for, most_pressing, open_drafts, tasks_for
from checks.services.errors import RecordError
from checks.services.record import start_check
from checks.views.access import needs
from checks.views.paging import page_of
from fleet.models import Aircraft

PER_PAGE = 24
SHOWN_DRAFTS = 12


@require_http_methods(["GET", "HEAD", "POST"])
@needs("checks.record_check")
def new(request: HttpRequest) -> HttpResponse:
    """Choose the aircraft; with ?aircraft= choose its task; a post starts the check."""
    if request.method == "POST":
        return start(request)
    known = Aircraft.objects.exclude(state=Aircraft.State.LEFT).select_related("base", "variant")
    registration = request.GET.get("aircraft", "").strip().upper()
    aircraft = known.filter(registration=registration).first() if registration else None
    if aircraft:
        return task_page(request, aircraft, StartForm(initial=initial(aircraft)))
    return aircraft_page(request, registration)


def initial(aircraft: Aircraft) -> dict:
    """What the tool knows already: today in the base's own time, and the base."""
    return {
        "uuid": uuid.uuid4(),
        "aircraft": aircraft.registration,
        "base": aircraft.base_id,
        "work_date": timezone.localdate(timezone=aircraft.base.zone),
    }


def aircraft_page(request: HttpRequest, unknown: str = "") -> HttpResponse:
    """The fleet to choose from, with what each aircraft has most pressing, and the drafts that wait."""
    find = FindAircraft(request.GET or None)
    given = find.cleaned_data if find.is_bound and find.is_valid() else {}
    home = request.user.home_base
    found = aircraft_for(home=home, text=given.get("q", ""), base=given.get("base"))
    page = page_of(request, found, PER_PAGE)
    states = most_pressing(page.object_list, timezone.localdate())
    context = {
        "form": find,
        "page_obj": page,
        "tiles": [{"aircraft": one, "state": states.get(one.pk, "")} for one in page],
        "home": home,
        "unknown": unknown,
        "drafts": open_drafts()[:SHOWN_DRAFTS],
    }
    template = "checks/_check_aircraft.html" if request.htmx else "checks/check_new.html"
    return render(request, template, context)


def task_page(request: HttpRequest, aircraft: Aircraft, form: StartForm, status: int = 200) -> HttpResponse:
    """The tasks of one aircraft, those due first; the one of ?task= (a worksheet's code) before all."""
    today = timezone.localdate(timezone=aircraft.base.zone)
    asked = request.GET.get("task", "")
    tasks = tasks_for(aircraft, day_of(form, today), today)
    context = {
        "aircraft": aircraft,
        "form": form,
        "asked": asked,
        "tasks": sorted(tasks, key=lambda task: task.revision.procedure.code != asked),
        "drafts": open_drafts(aircraft)[:SHOWN_DRAFTS],
    }
    return render(request, "checks/check_task.html", context, status=status)


def day_of(form: StartForm, today: dt.date) -> dt.date:
    cleaned = getattr(form, "cleaned_data", {})
    return cleaned.get("work_date") or today


def start(request: HttpRequest) -> HttpResponse:
    """Start the draft and go to its page; a refusal is shown on the page of tasks."""
    form = StartForm(request.POST)
    if form.is_valid():
        try:
            event = start_check(by=request.user, **form.cleaned_data)
        except RecordError as refused:
            form.add_error(None, refused)
        else:
            return redirect("checks:check", uuid=event.pk)
    aircraft = form.cleaned_data.get("aircraft")
    if aircraft is None:
        return aircraft_page(request, request.POST.get("aircraft", ""))
    # A key that stands for another check already would be refused again: the next try gets its own.
    form.data = form.data.copy()
    form.data["uuid"] = str(uuid.uuid4())
    return task_page(request, aircraft, form, status=422)
