"""The utilisation sheet: totals of one day for a whole base or fleet, typed once."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from checks.forms.utilisation_sheet import Row, SheetHead, rows_of
from checks.selectors.due_counting import totals_of
from checks.services.utilisation import enter_sheet
from checks.views.access import needs
from fleet.models import Aircraft, Operator


@require_http_methods(["GET", "HEAD", "POST"])
@needs("fleet.add_utilisationentry")
def utilisation_sheet(request: HttpRequest) -> HttpResponse:
    """Rows that are right are entered; what is wrong or odd stays on the sheet as typed, with what to do."""
    head = SheetHead({"on": timezone.localdate(), **request.GET.dict(), **request.POST.dict()})
    rows = _rows(head, request.POST or None)
    wrong = _enter(request, head, rows) if request.method == "POST" and head.is_valid() else 0
    if request.method == "POST" and head.is_valid() and not wrong:
        return redirect("checks:utilisation")
    context = {"head": head, "rows": rows, "wrong": wrong}
    status = 422 if wrong or not head.is_valid() else 200
    return render(request, "checks/utilisation_sheet.html", context, status=status)


def _rows(head: SheetHead, data: dict | None) -> list[Row]:
    """The aircraft that fly from the base asked for, with their totals. Five queries."""
    chosen = head.cleaned_data if head.is_valid() else {}
    fleet = Aircraft.objects.filter(state=Aircraft.State.IN_SERVICE).select_related("base")
    if chosen.get("base"):
        fleet = fleet.filter(base=chosen["base"])
    found = list(fleet.order_by("registration"))
    totals = totals_of([one.pk for one in found], timezone.localdate())
    gap_days = Operator.current().stale_use_days
    return list(rows_of(found, totals, on=chosen.get("on"), gap_days=gap_days, data=data))


def _enter(request: HttpRequest, head: SheetHead, rows: list[Row]) -> int:
    """Enter what is right; the number of rows that stay on the sheet."""
    typed = [row for row in rows if row.form.has_changed()]
    right = [row for row in typed if row.form.is_valid()]
    on = head.cleaned_data["on"]
    entered, refused = enter_sheet(
        on=on,
        rows=[(r.aircraft, r.form.cleaned_data["hours"], r.form.cleaned_data["landings"]) for r in right],
        by=request.user,
    )
    for row in right:
        row.entered = entered.get(row.aircraft.pk)
        if row.aircraft.pk in refused:
            _put_beside(row, refused[row.aircraft.pk].message_dict)
    if entered:
        messages.success(request, f"Entered for {len(entered)} aircraft at the end of {on:%d %b %Y}.")
    elif not typed:
        messages.info(request, "Nothing was typed, so nothing was entered.")
    return len(typed) - len(entered)


def _put_beside(row: Row, problems: dict[str, list[str]]) -> None:
    """What the service refused goes beside the fields of the row; the day is the sheet's, not the row's."""
    for field, texts in problems.items():
        row.form.add_error(field if field in row.form.fields else None, texts)
