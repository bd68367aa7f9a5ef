"""One revision of an interval: what it would move on every aircraft, its approval, taking it back."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from checks.forms.check_sign import PasswordForm
from checks.models import IntervalRevision
from checks.selectors.programme import effect_of
from checks.selectors.programme_words import changed, counting_note, terms_in_words
from checks.services.errors import RecordError
from checks.services.programme import (
    APPROVES,
    TYPES,
    approve_interval,
    kept_terms,
    withdraw_revision,
)
from checks.views.access import needs
from checks.views.defects import show_refusal

METHODS = ["GET", "HEAD", "POST"]


def revision_of(pk: int) -> IntervalRevision:
    """The revision with what every page of it names. 404 where there is none."""
    related = ("check_revised__procedure__variant", "modification", "typed_by", "approved_by")
    return get_object_or_404(IntervalRevision.objects.select_related(*related), pk=pk)


def contents(revision: IntervalRevision) -> dict:
    """What a page shows of a revision: the terms, what they change, and while it waits what they move."""
    task, waits = revision.check_revised, revision.approved_at is None
    terms = terms_in_words(revision, list(revision.only_on.values_list("registration", flat=True)))
    earlier = task.revisions.filter(approved_at__isnull=False).exclude(pk=revision.pk).exists()
    is_first = not revision.replaced if not waits else not earlier and not task.active
    old = [] if is_first else (kept_terms(task) if waits else revision.replaced)["words"]
    effects = effect_of(revision, today=timezone.localdate()) if waits else []
    return {
        "revision": revision,
        "task": task,
        "waits": waits,
        "is_first": is_first,
        "terms": terms,
        "changes": changed(old, terms) if old else [],
        "note": counting_note(revision.counting),
        "effects": effects,
        "late": [one for one in effects if one.becomes_overdue],
        "moved": sum(one.is_moved for one in effects),
    }


@require_safe
@needs("checks.view_records")
def interval_revision(request: HttpRequest, pk: int) -> HttpResponse:
    """One revision of an interval. A fixed number of queries."""
    one = revision_of(pk)
    is_own = one.typed_by_id == request.user.pk
    context = contents(one) | {
        "may_approve": one.approved_at is None and not is_own and request.user.has_perm(APPROVES),
        "may_withdraw": one.approved_at is None and is_own,
    }
    return render(request, "checks/interval_revision.html", context)


@require_http_methods(METHODS)
@needs(APPROVES)
def interval_approve(request: HttpRequest, pk: int) -> HttpResponse:
    """Approve a revision that another person typed."""
    one = revision_of(pk)
    if one.approved_at:
        messages.info(request, "It is approved already.")
        return redirect("checks:interval_revision", pk=one.pk)
    form = PasswordForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            approve_interval(revision=one, by=request.user, **form.cleaned_data)
        except RecordError as refused:
            show_refusal(form, refused)
        else:
            messages.success(request, "Approved: in force from now on, and the due list is counted anew.")
            return redirect("checks:task", pk=one.check_revised_id)
    context = contents(one) | {"form": form, "own": one.typed_by_id == request.user.pk}
    status = 422 if request.method == "POST" else 200
    return render(request, "checks/interval_approve.html", context, status=status)


@require_POST
@needs(TYPES)
def interval_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    """Take back a revision that waits."""
    one = revision_of(pk)
    try:
        withdraw_revision(revision=one, by=request.user)
    except RecordError as refused:
        messages.error(request, str(refused))
        return redirect("checks:interval_revision", pk=one.pk)
    messages.success(request, "Taken back: the terms in force stay as they are.")
    return redirect("checks:programme")
