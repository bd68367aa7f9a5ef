"""Correcting a signed check: a new entry that supersedes it, begun as a draft with all that it holds."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from checks.forms.check_sign import CorrectForm
from checks.services.correct import correct
from checks.services.errors import RecordError
from checks.views.access import needs
from checks.views.check_edit import event_of
from checks.views.check_sign import put


@require_http_methods(["GET", "HEAD", "POST"])
@needs("checks.record_check")
def check_correct(request: HttpRequest, uuid: object) -> HttpResponse:
    """Ask for the reason, then go to the correction's draft."""
    event = event_of(uuid)
    if event.is_draft:
        messages.info(request, "It is a draft: change it as it is.")
        return redirect("checks:check", uuid=event.pk)
    form, barred = CorrectForm(request.POST if request.method == "POST" else None), ()
    if request.method == "POST" and form.is_valid():
        try:
            draft = correct(event=event, by=request.user, reason=form.cleaned_data["reason"])
        except RecordError as refused:
            barred = put(form, refused)
        else:
            messages.success(
                request, "Correct what is wrong, then sign; the earlier entry stands until then."
            )
            return redirect("checks:check", uuid=draft.pk)
    context = {"event": event, "form": form, "barred": barred}
    status = 422 if request.method == "POST" else 200
    return render(request, "checks/check_correct.html", context, status=status)
