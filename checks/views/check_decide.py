"""A written decision on a reading far under the aircraft's baseline."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from checks.forms.check_sign import DecideForm
from checks.selectors.check_story import decision_open
from checks.services.decide import decide_too_low
from checks.services.errors import RecordError
from checks.views.access import needs
from checks.views.check_edit import event_of
from checks.views.check_panel import panel_of_signed
from checks.views.check_sign import put


@require_http_methods(["GET", "HEAD", "POST"])
@needs("checks.decide_reading")
def check_decide(request: HttpRequest, uuid: object) -> HttpResponse:
    """Accept the reading as true or not, with the reason and the password."""
    event = event_of(uuid)
    if event.is_draft:
        messages.error(request, "It is not signed as performed yet. That signature comes first.")
        return redirect("checks:check", uuid=event.pk)
    if not decision_open(event):
        messages.info(request, "There is nothing to decide on this check.")
        return redirect("checks:check", uuid=event.pk)
    form, barred = DecideForm(request.POST if request.method == "POST" else None), ()
    if request.method == "POST" and form.is_valid():
        try:
            decide_too_low(event=event, by=request.user, **form.cleaned_data)
        except RecordError as refused:
            barred = put(form, refused)
        else:
            messages.success(request, "The decision is on record.")
            return redirect("checks:check", uuid=event.pk)
    context = {"event": event, "form": form, "barred": barred, "panel": panel_of_signed(event)}
    status = 422 if request.method == "POST" else 200
    return render(request, "checks/check_decide.html", context, status=status)
