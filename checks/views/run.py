"""The runner's own addresses: sending a draft from a phone, the copies kept beside it, the service worker."""

import uuid as uuids
from pathlib import Path

from django.contrib.auth.decorators import login_not_required
from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from checks.forms.check import CheckForm
from checks.forms.run import Sending, Unreadable, sending
from checks.models import CheckEvent
from checks.selectors.copies import beside, others_at_work
from checks.services.copies import Answer, keep_sent
from checks.services.evaluate import evaluate
from checks.views.access import needs
from checks.views.check_panel import panel_of_draft
from checks.views.check_unread import remember
from checks.views.run_copies import differences, shown
from checks.views.run_data import at_work_words

WORDS = {
    "conflict": "This check was changed elsewhere since this phone last sent. Both are kept: the draft as it "
    "stands, and what this phone holds, beside it. Choose which one to go on with.",
    "signed": "This check was signed meanwhile and can't change. What this phone holds is kept beside it. If "
    "it matters, correct the check by a new signed entry.",
    "gone": "This draft was thrown away meanwhile. What this phone holds is kept; read it from there, and "
    "start the check anew if it is still to be done.",
    "other person": "Another person is signed in on this phone now. What was written before stays on this "
    "phone until its own person signs in again; nothing of it was sent.",
}
STATUS = {"kept": 200, "conflict": 409, "signed": 409, "gone": 410}
SKEW_SHOWN_S = 5


@require_POST
@needs("checks.record_check")
def run_send(request: HttpRequest, uuid: uuids.UUID) -> JsonResponse:
    """Take what a phone holds of a check. Twice is once; what does not fit is kept beside the draft."""
    try:
        given = sending(request)
    except Unreadable as wrong:
        return JsonResponse({"state": "unreadable", "words": str(wrong)}, status=400)
    if given.person != request.user.pk:
        return JsonResponse({"state": "other person", "words": WORDS["other person"]}, status=403)
    events = CheckEvent.objects.select_related("aircraft__variant", "revision__procedure", "base")
    form = next((CheckForm(one, text=dict(given.sent.text)) for one in events.filter(pk=uuid)), None)
    answer = keep_sent(
        uuid=uuid,
        by=request.user,
        sent=given.sent,
        given=form.given() if form else None,
        standing=form.stored if form else {},
    )
    said = _common(request, answer, given)
    if answer.state == "kept" and form:
        said |= _panel(request, CheckForm(events.get(pk=uuid), form.text, answer.problems))
    elif answer.state == "conflict" and form:
        said["differs"] = differences(form, form.stored, given.sent.text)
    return JsonResponse(said, status=STATUS[answer.state])


def _common(request: HttpRequest, answer: Answer, given: Sending) -> dict[str, object]:
    """What every answer says: state, revision, time, the phone's clock, who else is at work."""
    now = timezone.now()
    skew = round((given.sent.clock - now).total_seconds()) if given.sent.clock else 0
    others = others_at_work(answer.copy.event_id, request.user, given.sent.device, now)
    return {
        "state": answer.state,
        "words": WORDS.get(answer.state, ""),
        "revision": answer.revision,
        "at": round(now.timestamp() * 1000),
        "skew": skew if abs(skew) > SKEW_SHOWN_S else 0,
        "others": at_work_words(others, request.user),
        "copies": reverse("checks:run_copies", args=[answer.copy.event_id]),
    }


def _panel(request: HttpRequest, form: CheckForm) -> dict[str, object]:
    """The outcome as the server judges it: its part of the page, and word and value of each point."""
    remember(request, form)
    evaluation = evaluate(form.event)
    panel = panel_of_draft(form.event, evaluation)
    context = {"event": form.event, "form": form, "panel": panel, "saved": True}
    return {
        "panel": render_to_string("checks/_check_outcome.html", context, request),
        "points": {line.point.pk: line.outcome for line in evaluation.points},
        "asked": {one.step.pk: one.words for one in evaluation.questions if one.open},
        "missing": len(panel.missing),
        "problems": [{"field": name, "message": message} for name, message in form.summary],
    }


@require_safe
@needs("checks.view_records")
def run_copies(request: HttpRequest, uuid: uuids.UUID) -> HttpResponse:
    """Everything that phones sent of a check and is not, or no longer, in it."""
    found = CheckEvent.objects.select_related("aircraft__variant", "revision__procedure", "base")
    event = found.filter(pk=uuid).first()
    context = {"event": event, "uuid": uuid, "copies": shown(event, beside(uuid))}
    return render(request, "checks/run_copies.html", context)


@require_safe
@login_not_required
def run_worker(request: HttpRequest) -> HttpResponse:
    """The service worker, from the root so that it may answer for every page. It holds nothing private."""
    source = Path(finders.find("checks/run/worker.js")).read_text()
    headers = {"Cache-Control": "no-cache", "Service-Worker-Allowed": "/"}
    return HttpResponse(source, content_type="text/javascript; charset=utf-8", headers=headers)
