"""What is signed on a defect: deferral, extension and its answer, rectification and the release after it."""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from checks.engine.deferral import EXTENDABLE, latest_extension
from checks.forms.check_sign import PasswordForm
from checks.forms.defect_acts import (
    AnswerForm,
    ChooseItemForm,
    DeferForm,
    ExtendForm,
    LastDayForm,
    RectifyForm,
)
from checks.models import Defect, Deferral, Extension, MelItem
from checks.selectors.defects import CLOSED, recorded_day, retests, supports
from checks.selectors.release import aircraft_obstacles
from checks.services.defect_release import STATEMENT, release_rectification
from checks.services.defects import defer, rectify
from checks.services.errors import RecordError
from checks.services.extension import answer_extension, ask_extension
from checks.views.access import needs
from checks.views.defects import METHODS, defect_of, show_refusal
from checks.views.parts import is_part
from fleet.models import UtilisationEntry


@dataclass(frozen=True)
class Act:
    """The words of a page on which one thing about a defect is signed or kept."""

    heading: str
    button: str
    done: str
    aside: tuple[str, ...] = ()


def act_page(
    request: HttpRequest,
    defect: Defect,
    act: Act,
    form: Form,
    keep: Callable[..., Any],
    template: str = "checks/defect_act.html",
    **context: Any,
) -> HttpResponse:
    """Show the form; posted and in order, keep what it says and lead back to the defect. What the service
    refuses stands at its field, and nothing that was typed is lost."""
    posted = request.method == "POST"
    if posted and form.is_valid():
        try:
            keep(by=request.user, **form.cleaned_data)
        except RecordError as refused:
            show_refusal(form, refused)
        else:
            messages.success(request, act.done)
            return redirect("checks:defect", pk=defect.pk)
    context |= {"defect": defect, "act": act, "form": form}
    return render(request, template, context, status=422 if posted else 200)


def said(request: HttpRequest, defect: Defect, words: str) -> HttpResponse:
    messages.info(request, words)
    return redirect("checks:defect", pk=defect.pk)


def said_closed(request: HttpRequest, defect: Defect) -> HttpResponse:
    return said(request, defect, "It is closed already. Raise a new one if it is back.")


# --- deferring ------------------------------------------------------------------------------------

DEFER = Act(
    "Defer a defect",
    "Sign the deferral",
    "Deferred.",
    (
        "The operator’s MEL says whether this may be deferred, for how long and under which limitation. The "
        "tool "
        "counts the days and keeps the record; it gives no permission.",
        "A deferral expires by its recorded date, whatever day it is typed in. Deferring again never sets "
        "the "
        "clock back.",
    ),
)


@require_http_methods(METHODS)
@needs("checks.defer_defect")
def defect_defer(request: HttpRequest, pk: int) -> HttpResponse:
    """Choose the item of the MEL, then sign under it; htmx gets the last day that follows from what is
    typed."""
    one = defect_of(pk)
    if one.now_is == CLOSED:
        return said_closed(request, one)
    given = request.POST if request.method == "POST" else request.GET
    choice = ChooseItemForm(given if "item" in given else None, variant_id=one.aircraft.variant_id)
    if not (choice.is_bound and choice.is_valid()):
        status = 422 if request.method == "POST" else 200
        context = {"defect": one, "form": choice, "items": choice.fields["item"].queryset}
        return render(request, "checks/defect_defer_item.html", context, status=status)
    item: MelItem = choice.cleaned_data["item"]
    if is_part(request) and request.method != "POST":
        last = LastDayForm(request.GET).last_day(item)
        return render(request, "checks/defect_last_day.html", {"item": item, "last_day": last})
    start = {"recorded_on": first_day(one), "from_hours": hours_on(one)}
    form = DeferForm(request.POST or None, item=item, initial=start)
    last = LastDayForm(request.POST if form.is_bound else start).last_day(item)

    def keep(**fields: Any) -> None:
        defer(defect=one, item=item, **fields)

    page = "checks/defect_defer.html"
    return act_page(request, one, DEFER, form, keep, page, item=item, last_day=last)


def first_day(defect: Defect) -> dt.date:
    """The latest recorded date that the records allow: of an earlier deferral, else its own."""
    earlier = defect.deferrals.order_by("recorded_on").values_list("recorded_on", flat=True).first()
    return earlier or recorded_day(defect)


def hours_on(defect: Defect) -> Any:
    """The total flight hours entered by the recorded date, to start from."""
    entries = UtilisationEntry.objects.standing().filter(aircraft=defect.aircraft, on__lte=first_day(defect))
    return entries.order_by("-on").values_list("hours", flat=True).first()


# --- extending ------------------------------------------------------------------------------------

EXTEND = Act(
    "Ask for an extension",
    "Ask for it",
    "Asked for. Another person approves or refuses it.",
    (
        "One extension of a defect, of categories B and C only, for no longer than the interval once more. "
        "Another "
        "person than who asks approves it; until then nothing is extended.",
        "Whether the operator may extend at all is said by its own approval, not by this tool.",
    ),
)


@require_http_methods(METHODS)
@needs("checks.defer_defect")
def deferral_extend(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask for the extension of a deferral."""
    deferral = get_object_or_404(Deferral.objects.select_related("defect"), pk=pk)
    one = defect_of(deferral.defect_id)
    if one.now_is == CLOSED:
        return said_closed(request, one)
    if deferral.category not in EXTENDABLE or deferral.expires_on is None:
        return said(request, one, "Only deferrals of categories B and C can be extended.")
    latest = latest_extension(deferral.category, deferral.expires_on)
    form = ExtendForm(request.POST or None, initial={"expires_on": latest})

    def keep(**fields: Any) -> None:
        ask_extension(deferral=deferral, **fields)

    note = (
        f"Recorded {deferral.recorded_on:%d %b %Y}, last day {deferral.expires_on:%d %b %Y}. "
        f"It can be extended to {latest:%d %b %Y} at the latest."
    )
    return act_page(request, one, EXTEND, form, keep, note=note)


ANSWER = Act(
    "Answer an extension",
    "Sign the answer",
    "The answer is on record.",
    ("It is your decision under the operator’s approval. A refused extension leaves the last day as it is.",),
)


@require_http_methods(METHODS)
@needs("checks.approve_extension")
def extension_answer(request: HttpRequest, pk: int) -> HttpResponse:
    """Approve or refuse an extension that another person asked for."""
    asked = get_object_or_404(Extension.objects.select_related("deferral", "asked_by", "record"), pk=pk)
    one = defect_of(asked.deferral.defect_id)
    if hasattr(asked, "answer"):
        return said(request, one, f"It was answered already: {asked.answer}.")

    def keep(**fields: Any) -> None:
        answer_extension(extension=asked, **fields)

    under = asked.deferral
    note = (
        f"{asked.asked_by} asks on {asked.asked_at:%d %b %Y}: {under.mel_item}, category {under.category}, "
        f"from {under.expires_on:%d %b %Y} to {asked.expires_on:%d %b %Y}."
    )
    form = AnswerForm(request.POST or None)
    return act_page(request, one, ANSWER, form, keep, note=note, typed=asked.justification)


# --- rectifying and releasing ---------------------------------------------------------------------

RECTIFY = Act(
    "Sign a defect as rectified",
    "Sign as rectified",
    "Signed as rectified. The defect is closed; the release is a signature of its own.",
    (
        "You decide, by the approved maintenance manual. The retest only supports it. Signing closes the "
        "defect; it "
        "is not the release of the aircraft.",
    ),
)


@require_http_methods(METHODS)
@needs("checks.rectify_defect")
def defect_rectify(request: HttpRequest, pk: int) -> HttpResponse:
    """Sign a defect as rectified, with the release certificate where the work was done outside."""
    one = defect_of(pk)
    if one.now_is == CLOSED:
        return said_closed(request, one)
    events = retests(one)
    newest = next((event for event in events if supports(event)), None) if one.event else None
    start = {"retest": str(newest.pk) if newest else ""}
    form = RectifyForm(request.POST or None, request.FILES or None, retests=events, initial=start)
    missing = bool(one.event) and not events

    def keep(**fields: Any) -> None:
        rectify(defect=one, **fields)

    return act_page(request, one, RECTIFY, form, keep, no_retest=missing)


RELEASE = Act(
    "Release after rectification",
    "Sign the release",
    "Released to service as far as this work goes.",
    (
        "You decide, by the approved manual, the operator’s programme and the regulations. The records say "
        "only what "
        "was recorded.",
    ),
)


@require_http_methods(METHODS)
@needs("checks.release_check")
def defect_release(request: HttpRequest, pk: int) -> HttpResponse:
    """Sign the release after a rectification, with everything that is recorded against it."""
    one = defect_of(pk)
    if one.now_is != CLOSED:
        return said(request, one, "It is not signed as rectified yet. That signature comes first.")
    if hasattr(one.rectification, "release"):
        return said(request, one, "It is released already.")
    form = PasswordForm(request.POST or None)

    def keep(**fields: Any) -> None:
        release_rectification(defect=one, **fields)

    barred = aircraft_obstacles(one.aircraft_id, timezone.now())
    return act_page(request, one, RELEASE, form, keep, statement=STATEMENT, barred=barred)
