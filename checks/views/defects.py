"""Defects: the list, one with its history, and the page that raises one. What is signed: defect_acts."""

from django.contrib import messages
from django.db.models import Prefetch, QuerySet
from django.forms import Form
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from checks.forms.defects import DefectFilter, FindAircraftForm, RaiseForm
from checks.models import Defect, Deferral, Extension, OutsideRelease
from checks.selectors.check_story import attempts
from checks.selectors.defects import CLOSED, EXPIRED, recorded_day, shown, with_states
from checks.selectors.release import deferral_day
from checks.selectors.repeats import repeats_of
from checks.selectors.story import WHO_DECIDES, escalated, told
from checks.services.defects import raise_defect
from checks.services.errors import RecordError
from checks.views.access import needs
from checks.views.paging import page_of
from checks.views.parts import in_order, is_part
from fleet import certificates
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
    related = found.qs.select_related("aircraft__base", "position").prefetch_related(*Deferral.WHOLE)
    return related.order_by(*in_order(found.data.get("sort", ""), SORTS, "-raised_at", "-pk"))


@require_safe
@needs("checks.view_records")
def defects(request: HttpRequest) -> HttpResponse:
    """Defects not closed unless asked otherwise, the newest first; htmx gets the list alone."""
    found = found_defects(request.GET)
    context = {"filter": found, "understood": found.is_valid()}
    if context["understood"]:
        page = page_of(request, listed(found), PER_PAGE)
        context |= {
            "page_obj": page,
            "defects": [shown(one) for one in page],
            "repeats": repeats_of(page.object_list),
        }
    template = "checks/defects_part.html" if is_part(request) else "checks/defects.html"
    return render(request, template, context)


def defect_of(pk: int) -> Defect:
    """The defect with its state today and what every page of it names. 404 where there is none."""
    found = with_states(Defect.objects.all(), deferral_day(timezone.now()))
    related = ("aircraft__base", "aircraft__variant", "position", "raised_by", "event__revision__procedure")
    more = ("point", "rectification__outside", "rectification__release", "rectification__rectified_by")
    return get_object_or_404(found.select_related(*related, *more), pk=pk)


@require_safe
@needs("checks.view_records")
def defect(request: HttpRequest, pk: int) -> HttpResponse:
    """One defect with its history. A fixed number of queries."""
    one = defect_of(pk)
    deferrals = one.deferrals.select_related("deferred_by", "item", "use", "record__chain__aircraft")
    extensions = Extension.objects.select_related(
        "asked_by", "record__chain__aircraft", "answer__answered_by", "answer__record__chain__aircraft"
    )
    deferrals = deferrals.prefetch_related(Prefetch("extensions", extensions)).order_by("deferred_at")
    story = attempts(one.event) if one.event else []
    rectification = getattr(one, "rectification", None)
    context = {
        "defect": one,
        "closed": one.now_is == CLOSED,
        "recorded_on": recorded_day(one),
        "escalated": escalated(story) if one.now_is != CLOSED else None,
        "who_decides": WHO_DECIDES,
        "told": told(story) if story else [],
        "deferrals": list(deferrals),
        "rectification": rectification,
        "outside": getattr(rectification, "outside", None),
        "release": getattr(rectification, "release", None),
        "story": story,
        "base_of_days": Operator.current().deferral_time_zone,
        "repeats": repeats_of([one]).get(one.pk, []),
        "orders": one.part_orders.standing().select_related("entered_by"),
        "permits": one.ferry_permits.select_related("recorded_by", "record__chain__aircraft"),
    }
    return render(request, "checks/defect.html", context)


@require_safe
@needs("checks.view_records")
def deferrals_expired(request: HttpRequest) -> HttpResponse:
    """Deferrals that have run out, as a part for pages of other lists; by itself it leads to the defects."""
    if not is_part(request):
        return redirect(f"{reverse('checks:defects')}?state=deferral+expired")
    found = with_states(Defect.objects.open(), deferral_day(timezone.now())).filter(now_is=EXPIRED)
    context = {"expired": found.select_related("aircraft").order_by("holds_until", "pk")}
    return render(request, "checks/deferrals_expired.html", context)


@require_safe
@needs("checks.view_records")
def release_certificate(request: HttpRequest, pk: int) -> FileResponse:
    """The release certificate with which work done outside came back, always as a download."""
    kept = get_object_or_404(OutsideRelease.objects.select_related("rectification"), pk=pk)
    if not kept.file or not kept.file.storage.exists(kept.file.name):
        raise Http404("No file is kept of this certificate.")
    name = certificates.download_name("release", kept.certificate_number, kept.file.name)
    response = FileResponse(kept.file.open("rb"), as_attachment=True, filename=name)
    response["Content-Type"] = certificates.media_type(kept.file.name)
    response["X-Content-Type-Options"] = "nosniff"
    # The file comes from outside: even opened in a window of its own it may run nothing.
    response["Content-Security-Policy"] = "default-src 'none'; sandbox"
    return response


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


def show_refusal(form: Form, refused: RecordError) -> None:
    """Each problem at its field; one of a field that the form does not show, above them all."""
    for problem in refused.problems:
        form.add_error(problem.field if problem.field in form.fields else None, problem.message)
