"""The programme: its tasks, one task on every aircraft, and typing what it shall be."""

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from checks.forms.programme import ChooseProcedureForm, ProgrammeFilter, TermsForm
from checks.models import IntervalRevision, Procedure, RecurringCheck
from checks.selectors.programme import AWAITING, IN_FORCE, standings, with_states
from checks.selectors.programme_words import (
    COUNTING_NOTES,
    aircraft_in_words,
    counting_note,
    interval_in_words,
    terms_in_words,
    tolerance_in_words,
)
from checks.services.errors import RecordError
from checks.services.programme import TERMS, TYPES, type_revision, type_task
from checks.views.access import needs
from checks.views.defects import show_refusal
from checks.views.paging import page_of
from checks.views.parts import in_order, is_part
from fleet.models import Aircraft

PER_PAGE = 50
METHODS = ["GET", "HEAD", "POST"]
SORTS = {"task": "title", "variant": "procedure__variant__name", "counting": "counting"}


@require_safe
@needs("checks.view_records")
def programme(request: HttpRequest) -> HttpResponse:
    """Every task of the programme by title; htmx gets the list alone."""
    found = ProgrammeFilter(request.GET, queryset=with_states(RecurringCheck.objects.all()))
    context = {"filter": found, "understood": found.is_valid()}
    if context["understood"]:
        page = page_of(request, listed(found), PER_PAGE)
        context |= {"page_obj": page, "rows": [task_row(task) for task in page]}
    template = "checks/programme_part.html" if is_part(request) else "checks/programme.html"
    return render(request, template, context)


def listed(found: ProgrammeFilter) -> QuerySet[RecurringCheck]:
    """What the filter leaves, in the order asked for: by title unless another is."""
    related = found.qs.select_related("procedure__variant", "modification").prefetch_related("only_on")
    order = in_order(found.data.get("sort", ""), SORTS, "title", "procedure__variant__name", "pk")
    return related.order_by(*order)


def task_row(task: RecurringCheck) -> dict:
    """One line of the list. No query."""
    return {
        "task": task,
        "interval": interval_in_words(task),
        "tolerance": tolerance_in_words(task),
        "aircraft": aircraft_in_words(task, [one.registration for one in task.only_on.all()]),
    }


@require_safe
@needs("checks.view_records")
def task(request: HttpRequest, pk: int) -> HttpResponse:
    """One task: its terms, how it counts, where it stands on each aircraft, how it was revised."""
    tasks = with_states(RecurringCheck.objects.select_related("procedure__variant", "modification"))
    one = get_object_or_404(tasks, pk=pk)
    today = timezone.localdate()
    flying = Aircraft.objects.filter(variant=one.procedure.variant_id).select_related("base")
    fleet = {craft.pk: craft for craft in flying}
    found = standings(one, today=today) if one.active else {}
    named = list(one.only_on.values_list("registration", flat=True))
    points = dict(one.due_points.values_list("aircraft", "pk"))
    context = {
        "task": one,
        "terms": terms_in_words(one, named),
        "note": counting_note(one.counting),
        "lines": [
            {"aircraft": fleet[key], "standing": standing, "point": points.get(key)}
            for key, standing in sorted(found.items(), key=lambda pair: fleet[pair[0]].registration)
        ],
        "revisions": one.revisions.select_related("typed_by", "approved_by").order_by("-number"),
        "may_revise": request.user.has_perm(TYPES) and not one.waits and one.now_is != AWAITING,
        "in_force": one.now_is == IN_FORCE,
    }
    return render(request, "checks/task.html", context)


@require_http_methods(METHODS)
@needs(TYPES)
def task_new(request: HttpRequest) -> HttpResponse:
    """Type a new task: first its procedure, then its terms."""
    choose = ChooseProcedureForm(request.GET or None)
    if not (choose.is_bound and choose.is_valid()):
        return render(request, "checks/task_new.html", {"choose": choose})
    procedure: Procedure = choose.cleaned_data["procedure"]
    form = TermsForm(request.POST or None, procedure=procedure, instance=IntervalRevision())
    if request.method == "POST" and form.is_valid():
        try:
            revision = type_task(procedure=procedure, by=request.user, **form.given())
        except RecordError as refused:
            show_refusal(form, refused)
        else:
            messages.success(request, "Typed. It counts once another person has approved it.")
            return redirect("checks:interval_revision", pk=revision.pk)
    return _terms_page(request, form, {"procedure": procedure, "is_new": True})


@require_http_methods(METHODS)
@needs(TYPES)
def task_revise(request: HttpRequest, pk: int) -> HttpResponse:
    """Type new terms for a task; the old ones stay in force until another person approves."""
    one = get_object_or_404(RecurringCheck.objects.select_related("procedure__variant"), pk=pk)
    waiting = one.revisions.filter(approved_at=None).first()
    if waiting is not None:
        messages.info(request, "A revision of this task waits already.")
        return redirect("checks:interval_revision", pk=waiting.pk)
    initial = {name: getattr(one, name) for name in TERMS} | {"only_on": list(one.only_on.all())}
    form = TermsForm(
        request.POST or None, procedure=one.procedure, instance=IntervalRevision(), initial=initial
    )
    if request.method == "POST" and form.is_valid():
        try:
            revision = type_revision(check=one, by=request.user, **form.given())
        except RecordError as refused:
            show_refusal(form, refused)
        else:
            messages.success(request, "Typed. This is what it would move; another person approves it.")
            return redirect("checks:interval_revision", pk=revision.pk)
    return _terms_page(request, form, {"procedure": one.procedure, "task": one})


def _terms_page(request: HttpRequest, form: TermsForm, more: dict) -> HttpResponse:
    context = {"form": form, "parts": list(form.parts()), "notes": COUNTING_NOTES} | more
    status = 422 if request.method == "POST" else 200
    return render(request, "checks/task_terms.html", context, status=status)
