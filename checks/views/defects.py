"""Defects: the list, one with its history, and the pages that raise, defer and rectify."""

import datetime as dt

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.forms import Form
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from checks.forms.defects import (
    DefectFilter,
    DeferForm,
    FindAircraftForm,
    LastDayForm,
    RaiseForm,
    RectifyForm,
)
from checks.models import Defect
from checks.selectors.check_story import attempts
from checks.selectors.defects import CLOSED, retests, shown, supports, with_states
from checks.selectors.release import deferral_day
from checks.selectors.story import WHO_DECIDES, escalated, told
from checks.services.defects import defer, raise_defect, rectify
from checks.services.errors import RecordError
from checks.views.access import needs
from checks.views.parts import in_order, is_part
from fleet.models import Aircraft, Operator

PER_PAGE = 50
METHODS = ["GET", "HEAD", "POST"]
SORTS = {
    "raised": "raised_at",
    "aircraft": "aircraft__registration",
    "state": "now_is",
    "base": "aircraft__base__name",
}


def found_defects(query: QueryDict) -> DefectFilter:
    today = deferral_day(timezone.now())
    return DefectFilter(query, queryset=with_states(Defect.objects.all(), today))


def listed(found: DefectFilter) -> QuerySet[Defect]:
    """What the filter leaves, in the order asked for: the newest raised first unless another is."""
    related = found.qs.select_related("aircraft__base", "position").prefetch_related("deferrals")
    return related.order_by(*in_order(found.data.get("sort", ""), SORTS, "-raised_at", "-pk"))


@require_safe
@needs("checks.view_records")
def defects(request: HttpRequest) -> HttpResponse:
    """Defects not closed unless asked otherwise, the newest first; htmx gets the list alone."""
    found = found_defects(request.GET)
    context = {"filter": found, "understood": found.is_valid()}
    if context["understood"]:
        page = Paginator(listed(found), PER_PAGE).get_page(request.GET.get("page"))
        context |= {"page_obj": page, "defects": [shown(one) for one in page]}
    template = "checks/defects_part.html" if is_part(request) else "checks/defects.html"
    return render(request, template, context)


def defect_of(pk: int) -> Defect:
    """The defect with its state today and what every page of it names. 404 where there is none."""
    found = with_states(Defect.objects.all(), deferral_day(timezone.now()))
    related = ("aircraft__base", "aircraft__variant", "position", "raised_by", "event__revision__procedure")
    return get_object_or_404(found.select_related(*related, "rectification"), pk=pk)


@require_safe
@needs("checks.view_records")
def defect(request: HttpRequest, pk: int) -> HttpResponse:
    """One defect with its history. A fixed number of queries."""
    one = defect_of(pk)
    deferrals = one.deferrals.select_related("deferred_by", "record__chain__aircraft").order_by("deferred_at")
    story = attempts(one.event) if one.event else []
    context = {
        "defect": one,
        "closed": one.now_is == CLOSED,
        "escalated": escalated(story) if one.now_is != CLOSED else None,
        "who_decides": WHO_DECIDES,
        "told": told(story) if story else [],
        "deferrals": list(deferrals),
        "rectification": getattr(one, "rectification", None),
        "story": story,
        "base_of_days": Operator.current().deferral_time_zone,
    }
    return render(request, "checks/defect.html", context)


@require_http_methods(METHODS)
@needs("checks.raise_defect")
def defect_raise(request: HttpRequest) -> HttpResponse:
    """Put a finding on record: the aircraft first, then what was found and where."""
    given = request.POST.get("aircraft") or request.GET.get("aircraft", "")
    chosen = FindAircraftForm({"aircraft": given.strip().upper()} if given else None)
    status = 422 if request.method == "POST" else 200
    if not (chosen.is_bound and chosen.is_valid()):
        return render(request, "checks/defect_raise.html", {"find": chosen}, status=status)
    craft: Aircraft = chosen.cleaned_data["aircraft"]
    form = RaiseForm(request.POST or None, aircraft=craft)
    if request.method == "POST" and form.is_valid():
        try:
            raised = raise_defect(aircraft=craft, by=request.user, **form.cleaned_data)
        except RecordError as refused:
            show_refusal(form, refused)
        else:
            messages.success(request, f"The defect of {craft} is on record.")
            return redirect("checks:defect", pk=raised.pk)
    context = {"aircraft": craft, "form": form}
    return render(request, "checks/defect_raise.html", context, status=status)


@require_http_methods(METHODS)
@needs("checks.defer_defect")
def defect_defer(request: HttpRequest, pk: int) -> HttpResponse:
    """Defer an open defect; htmx gets the last day that follows from what is typed so far."""
    if is_part(request) and request.method != "POST":
        return render(
            request, "checks/defect_last_day.html", {"last_days": LastDayForm(request.GET).last_days()}
        )
    one = defect_of(pk)
    if one.now_is == CLOSED:
        return said_closed(request, one)
    start = {"recorded_on": first_day(one), "limits_icing": True}
    form = DeferForm(request.POST or None, initial=start)
    if request.method == "POST" and form.is_valid():
        try:
            deferral = defer(defect=one, by=request.user, **form.cleaned_data)
        except RecordError as refused:
            show_refusal(form, refused)
        else:
            messages.success(request, f"Deferred. The last day is {deferral.expires_on:%d %b %Y}.")
            return redirect("checks:defect", pk=one.pk)
    typed = request.POST if form.is_bound else start
    context = {"defect": one, "form": form, "last_days": LastDayForm(typed).last_days()}
    return render(
        request, "checks/defect_defer.html", context, status=422 if request.method == "POST" else 200
    )


def first_day(defect: Defect) -> dt.date:
    """The latest recorded date that the records allow: of an earlier deferral, else the day of raising."""
    earlier = defect.deferrals.order_by("recorded_on").values_list("recorded_on", flat=True).first()
    return earlier or deferral_day(defect.raised_at)


@require_http_methods(METHODS)
@needs("checks.rectify_defect")
def defect_rectify(request: HttpRequest, pk: int) -> HttpResponse:
    """Sign a defect as rectified."""
    one = defect_of(pk)
    if one.now_is == CLOSED:
        return said_closed(request, one)
    events = retests(one)
    newest = next((event for event in events if supports(event)), None) if one.event else None
    form = RectifyForm(
        request.POST or None, retests=events, initial={"retest": str(newest.pk) if newest else ""}
    )
    if request.method == "POST" and form.is_valid():
        try:
            rectify(defect=one, by=request.user, **form.cleaned_data)
        except RecordError as refused:
            show_refusal(form, refused)
        else:
            messages.success(request, "Signed as rectified. The defect is closed.")
            return redirect("checks:defect", pk=one.pk)
    context = {"defect": one, "form": form, "retests": events}
    return render(
        request, "checks/defect_rectify.html", context, status=422 if request.method == "POST" else 200
    )


def said_closed(request: HttpRequest, defect: Defect) -> HttpResponse:
    messages.info(request, "It is closed already. Raise a new one if it is back.")
    return redirect("checks:defect", pk=defect.pk)


def show_refusal(form: Form, refused: RecordError) -> None:
    """Each problem at its field; one of a field that the form does not show, above them all."""
    for problem in refused.problems:
        form.add_error(problem.field if problem.field in form.fields else None, problem.message)
