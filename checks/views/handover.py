"""Handing a check over, taking it over, and beginning one for somebody else."""

import uuid as uuids
from dataclasses import dataclass

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from checks.forms.handover import AssignForm, FindAircraft, HandOverForm
from checks.models import CheckEvent, Handover
from checks.selectors.handover import handovers_of, may_assign
from checks.services.errors import RecordError
from checks.services.evaluate import Evaluation
from checks.services.handover import assign_check, hand_over, open_steps, seen_key, take_over
from checks.views.access import needs
from fleet.models import Aircraft, User

METHODS = ["GET", "HEAD", "POST"]


@dataclass(frozen=True)
class HandoverShown:
    """Who holds a draft, as one person sees it. offer: what waits for an answer; lines: the open steps."""

    holder: User
    offer: Handover | None
    history: tuple[Handover, ...]
    lines: tuple[str, ...]
    mine: bool
    offered: bool

    @property
    def seen(self) -> str:
        return seen_key(list(self.lines))


def handover_shown(event: CheckEvent, person: User, evaluation: Evaluation | None = None) -> HandoverShown:
    """Two queries, and those of evaluate where it was not called before."""
    rows = handovers_of(event)
    accepted = [row for row in rows if row.accepted_at]
    holder = accepted[-1].receiver if accepted else event.started_by
    offer = rows[-1] if rows and rows[-1].accepted_at is None and event.is_draft else None
    return HandoverShown(
        holder=holder,
        offer=offer,
        history=tuple(rows),
        lines=tuple(open_steps(event, evaluation)) if event.is_draft else (),
        mine=holder == person,
        offered=bool(offer) and offer.receiver_id == person.pk,
    )


@require_http_methods(METHODS)
def handover(request: HttpRequest, uuid: uuids.UUID) -> HttpResponse:
    """Who holds a draft and what is open; a post hands it over (do=give) or takes it over."""
    return change(request, uuid) if request.method == "POST" else opened(request, uuid)


@needs("checks.view_records")
def opened(request: HttpRequest, uuid: uuids.UUID) -> HttpResponse:
    event = _event(uuid)
    form = HandOverForm(request.user) if request.user.has_perm("checks.record_check") else None
    return page(request, event, form)


@needs("checks.record_check")
def change(request: HttpRequest, uuid: uuids.UUID) -> HttpResponse:
    event = _event(uuid)
    return give(request, event) if request.POST.get("do") == "give" else take(request, event)


def give(request: HttpRequest, event: CheckEvent) -> HttpResponse:
    form = HandOverForm(request.user, request.POST)
    if form.is_valid():
        try:
            row = hand_over(event=event, by=request.user, **form.cleaned_data)
        except RecordError as refused:
            form.add_error(None, refused)
        else:
            words = f"Offered to {row.receiver_name}. It stays with you until it is accepted."
            messages.success(request, words)
            return redirect("checks:check", uuid=event.pk)
    return page(request, event, form, status=422)


def take(request: HttpRequest, event: CheckEvent) -> HttpResponse:
    try:
        take_over(event=event, by=request.user, seen=request.POST.get("seen", ""))
    except RecordError as refused:
        messages.error(request, str(refused))
        return redirect("checks:handover", uuid=event.pk)
    messages.success(request, "You hold this check now, with the steps that were open.")
    return redirect("checks:check_sign" if request.POST.get("then") == "sign" else "checks:check", event.pk)


def page(
    request: HttpRequest, event: CheckEvent, form: HandOverForm | None, status: int = 200
) -> HttpResponse:
    shown = handover_shown(event, request.user)
    context = {"event": event, "handover": shown, "form": form}
    return render(request, "checks/handover.html", context, status=status)


@require_http_methods(METHODS)
@needs("checks.view_records")
def handover_assign(request: HttpRequest) -> HttpResponse:
    """Begin a check for somebody else: the aircraft first, then task, day and person."""
    if not may_assign(request.user):
        raise PermissionDenied("Your role does not include assigning work. Nothing was changed.")
    find = FindAircraft(request.GET or None)
    aircraft = find.cleaned_data["aircraft"] if find.is_bound and find.is_valid() else None
    if aircraft is None:
        status = 422 if request.method == "POST" else 200
        return render(request, "checks/handover_assign.html", {"find": find}, status=status)
    form = AssignForm(aircraft, request.user, request.POST or None, request.GET.get("procedure", ""))
    if request.method == "POST" and form.is_valid():
        event = _assigned(request, aircraft, form)
        if event:
            return redirect("checks:check", uuid=event.pk)
    status = 422 if request.method == "POST" else 200
    context = {"find": find, "aircraft": aircraft, "form": form}
    return render(request, "checks/handover_assign.html", context, status=status)


def _assigned(request: HttpRequest, aircraft: Aircraft, form: AssignForm) -> CheckEvent | None:
    try:
        event = assign_check(aircraft=aircraft, by=request.user, **form.cleaned_data)
    except RecordError as refused:
        form.add_error(None, refused)
        return None
    messages.success(request, f"Begun for {form.cleaned_data['to']}, who finds it on the first page.")
    return event


def _event(uuid: uuids.UUID) -> CheckEvent:
    related = ("aircraft__variant", "aircraft__base", "base", "revision__procedure", "started_by")
    return get_object_or_404(CheckEvent.objects.select_related(*related), pk=uuid)
