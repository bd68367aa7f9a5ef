"""A check while it is carried out: the page of a draft, saving it, and its outcome at once."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from checks.forms.check import CheckForm
from checks.forms.check_around import Around
from checks.models import CheckEvent
from checks.services.errors import RecordError
from checks.services.evaluate import evaluate
from checks.services.record import discard_draft, save_draft
from checks.views.access import needs
from checks.views.cause_part import cause_part
from checks.views.check_panel import panel_of_draft
from checks.views.check_show import show
from checks.views.check_unread import forget, recall, remember
from checks.views.evidence import evidence_part
from checks.views.handover import handover_shown
from checks.views.run_data import Run, Seen


def event_of(uuid: object) -> CheckEvent:
    """The event with what every page of it names. 404 where there is none."""
    related = ("aircraft__variant", "aircraft__base", "base", "revision__procedure", "started_by")
    more = ("fluid_batch", "supersedes", "follows__revision__procedure", "import_batch")
    return get_object_or_404(CheckEvent.objects.select_related(*related, *more), pk=uuid)


@require_http_methods(["GET", "HEAD", "POST"])
def check(request: HttpRequest, uuid: object) -> HttpResponse:
    """One check: its form while it is a draft and the person may record, its record otherwise."""
    return save(request, uuid) if request.method == "POST" else opened(request, uuid)


@needs("checks.view_records")
def opened(request: HttpRequest, uuid: object) -> HttpResponse:
    """?instrument= is the code of one whose label was scanned: it is chosen wherever it may serve."""
    event = event_of(uuid)
    if event.is_draft and request.user.has_perm("checks.record_check"):
        seen = Seen.now(event)
        event = event_of(uuid)
        form = recall(request, CheckForm(event))
        form.use(request.GET.get("instrument", ""))
        return edit_page(request, event, form, seen=seen)
    return show(request, event)


@needs("checks.record_check")
def save(request: HttpRequest, uuid: object) -> HttpResponse:
    """Keep the draft. What could not be read is shown again as typed, with what is wrong and the way out."""
    event, do = event_of(uuid), request.POST.get("do", "save")
    if do == "discard":
        return discard(request, event)
    form = CheckForm(event, text=request.POST.dict())
    try:
        saved = save_draft(event=event, by=request.user, given=form.given())
    except RecordError as refused:
        form.problems = refused.problems
        return edit_page(request, event, form, status=409)
    form.event, form.problems = saved.event, saved.problems
    remember(request, form)
    if do.startswith("again-") and do.removeprefix("again-").isdecimal():
        return read_again(request, form, int(do.removeprefix("again-")))
    if do.startswith("rows-") and do.removeprefix("rows-").isdecimal():
        form.more_rows(int(do.removeprefix("rows-")))
        return edit_page(request, event_of(uuid), form)
    if saved.problems:
        return edit_page(request, event_of(uuid), form, status=422)
    if do == "sign":
        return redirect("checks:check_sign", uuid=event.pk)
    messages.success(request, "Draft saved.")
    return redirect("checks:check", uuid=event.pk)


def read_again(request: HttpRequest, form: CheckForm, step: int) -> HttpResponse:
    """Keep what was read at the step as its first reading, and show its boxes empty for the repeat."""
    form.read_again(step)
    saved = save_draft(event=form.event, by=request.user, given=form.given())
    form.event, form.problems = saved.event, saved.problems
    remember(request, form)
    return edit_page(request, event_of(form.event.pk), form)


def discard(request: HttpRequest, event: CheckEvent) -> HttpResponse:
    """Throw the draft away; a signed check answers that it can't be."""
    try:
        discard_draft(event=event, by=request.user)
    except RecordError as refused:
        messages.error(request, str(refused))
        return redirect("checks:check", uuid=event.pk)
    forget(request, event)
    messages.success(request, f"The draft “{event}” was thrown away. Nothing of it is on record.")
    return redirect("checks:new")


def edit_page(
    request: HttpRequest, event: CheckEvent, form: CheckForm, status: int = 200, *, seen: Seen | None = None
) -> HttpResponse:
    form.event = event
    judged = evaluate(event)
    form.questions = judged.questions
    panel = panel_of_draft(event, judged)
    run = Run(form, request.user, seen)
    context = {"event": event, "form": form, "around": Around(form), "panel": panel, "run": run}
    context |= {"handover": handover_shown(event, request.user, judged), **evidence_part(event)}
    context |= cause_part(request, event, judged)
    response = render(request, "checks/check_edit.html", context, status=status)
    response["X-Run-Person"] = str(request.user.pk)  # the service worker keeps it for this person alone
    return response


@require_POST
@needs("checks.record_check")
def check_outcome(request: HttpRequest, uuid: object) -> HttpResponse:
    """The part of the page that says what the readings mean: keeps the draft as it is, then judges it."""
    event = event_of(uuid)
    form = CheckForm(event, text=request.POST.dict())
    try:
        saved = save_draft(event=event, by=request.user, given=form.given())
    except RecordError as refused:
        form.problems = refused.problems
        panel, cause = None, {}
    else:
        form.event, form.problems = saved.event, saved.problems
        remember(request, form)
        judged = evaluate(saved.event)
        panel, cause = panel_of_draft(saved.event, judged), cause_part(request, saved.event, judged)
    context = {"event": event, "form": form, "panel": panel, "saved": panel is not None, **cause}
    return render(request, "checks/_check_outcome.html", context)
