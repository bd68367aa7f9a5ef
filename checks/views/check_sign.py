"""The signatures of a check: performed, inspected, released. Each is a page and a password of its own."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from checks.forms.check import CheckForm
from checks.forms.check_sign import PasswordForm
from checks.models import CheckEvent, Signature
from checks.selectors.release import release_obstacles
from checks.services.errors import Problem, RecordError
from checks.services.evaluate import evaluate
from checks.services.handover import not_held
from checks.services.sign import STATEMENTS, sign_inspected, sign_performed, sign_released
from checks.views.access import needs
from checks.views.check_edit import event_of
from checks.views.check_panel import panel_of_draft, panel_of_signed
from checks.views.check_show import defects_shown
from checks.views.check_unread import forget, recall
from checks.views.handover import HandoverShown, handover_shown

METHODS = ["GET", "HEAD", "POST"]


@dataclass(frozen=True)
class Page:
    """What the page of one act says, and the service that signs it."""

    act: str
    heading: str
    button: str
    done: str
    sign: Callable[..., Any]


PERFORMED = Page(
    "performed", "Sign as performed", "Sign as performed", "Signed as performed.", sign_performed
)
INSPECTED = Page("inspected", "Second signature", "Sign as inspected", "Signed as inspected.", sign_inspected)
RELEASED = Page("released", "Release to service", "Sign the release", "Release signed.", sign_released)


@require_http_methods(METHODS)
@needs("checks.record_check")
def check_sign(request: HttpRequest, uuid: object) -> HttpResponse:
    """Sign a draft as performed: it is final from then on."""
    event = event_of(uuid)
    if not event.is_draft:
        messages.info(request, "This check is signed already.")
        return redirect("checks:check", uuid=event.pk)
    evaluation = evaluate(event)
    unread = recall(request, CheckForm(event)).problems
    barred = (*not_held(event, request.user), *unread, *evaluation.missing)
    shown = handover_shown(event, request.user, evaluation)
    response = signing(request, event, PERFORMED, barred, panel_of_draft(event, evaluation), shown)
    if response.status_code == 302:
        forget(request, event)
    return response


@require_http_methods(METHODS)
@needs("checks.inspect_check")
def check_inspect(request: HttpRequest, uuid: object) -> HttpResponse:
    """The second signature."""
    return later(request, event_of(uuid), INSPECTED)


@require_http_methods(METHODS)
@needs("checks.release_check")
def check_release(request: HttpRequest, uuid: object) -> HttpResponse:
    """The release, with everything that is recorded against it."""
    event = event_of(uuid)
    obstacles = [] if event.is_draft else release_obstacles(event, timezone.now())
    return later(request, event, RELEASED, tuple(Problem(words) for words in obstacles))


def later(
    request: HttpRequest, event: CheckEvent, page: Page, barred: Iterable[Problem] = ()
) -> HttpResponse:
    """A signature under a signed check."""
    if event.is_draft:
        messages.error(request, "It is not signed as performed yet. That signature comes first.")
        return redirect("checks:check", uuid=event.pk)
    return signing(request, event, page, tuple(barred), panel_of_signed(event))


def signing(
    request: HttpRequest,
    event: CheckEvent,
    page: Page,
    barred: tuple[Problem, ...],
    panel: Any,
    handover: HandoverShown | None = None,
) -> HttpResponse:
    """Show what is signed and what bars it; with a password, sign. What the service refuses is shown.

    handover: who holds the draft.
    """
    form = PasswordForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and not barred and form.is_valid():
        try:
            page.sign(event=event, by=request.user, password=form.cleaned_data["password"])
        except RecordError as refused:
            barred = put(form, refused)
        else:
            messages.success(request, page.done)
            return redirect("checks:check", uuid=event.pk)
    context = {
        "event": event,
        "page": page,
        "panel": panel,
        "form": form,
        "barred": barred,
        "statement": STATEMENTS[Signature.Act(page.act)],
        "signatures": event.signatures.order_by("signed_at"),
        "defects": defects_shown(event),
        "handover": handover,
    }
    refused = request.method == "POST"
    return render(request, "checks/check_sign.html", context, status=422 if refused else 200)


def put(form: PasswordForm, refused: RecordError) -> tuple[Problem, ...]:
    """Put beside the form's fields what belongs there; the rest comes back."""
    rest = []
    for problem in refused.problems:
        if problem.field in form.fields:
            form.add_error(problem.field, problem.message)
        else:
            rest.append(problem)
    return tuple(rest)
