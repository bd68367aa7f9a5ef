"""Stock at the bases: fluid, items, serialised parts, and the entries that they rest on."""

from typing import Any

from django.contrib import messages
from django.forms import Form
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from checks.forms.stock import MixForm, MovementForm, StockFilter
from checks.models import StockItem, StockMovement
from checks.selectors.season_need import item_needs, replacements
from checks.selectors.stock import BatchStock, fluid_stock, item_stock, mixes, parts_in_store
from checks.services.errors import RecordError
from checks.services.stock import record_mix, record_movement
from checks.views.access import needs
from checks.views.defects import show_refusal
from checks.views.paging import page_of
from checks.views.parts import is_part
from fleet.models import Base, Operator

PER_PAGE = 50
METHODS = ["GET", "HEAD", "POST"]
RELATED = ("base", "to_base", "batch", "item", "part", "aircraft", "entered_by", "corrects", "corrected_by")


def batch_state(row: BatchStock, today: Any, soon_days: int) -> str:
    """The word of a batch at a base as of a day."""
    if row.litres < 0:
        return "records disagree"
    left = (row.batch.expires_on - today).days
    return "expired" if left < 0 else "ends soon" if left <= soon_days else "valid"


@require_safe
@needs("checks.view_records")
def stock(request: HttpRequest) -> HttpResponse:
    """What is there at every base, or at one."""
    today, soon = timezone.localdate(), Operator.current().due_soon_days
    bases = list(Base.objects.all())
    chosen = next((base for base in bases if base.code == request.GET.get("base")), None)
    fluid, pieces, parts = fluid_stock(), item_stock(), parts_in_store()
    items, wanted = list(StockItem.objects.all()), replacements()
    shown = [
        {
            "base": base,
            "batches": [
                {"row": row, "state": batch_state(row, today, soon)}
                for row in fluid
                if row.base_id == base.pk and row.litres
            ],
            "items": item_needs(base.pk, today, items, pieces, wanted),
            "parts": [part for part in parts if part.base_id == base.pk],
        }
        for base in ([chosen] if chosen else bases)
    ]
    mix = sorted(mixes().values(), key=lambda one: (one.kind_a, one.kind_b))
    context = {"shown": shown, "bases": bases, "chosen": chosen, "today": today, "mixes": mix}
    return render(request, "checks/stock.html", context)


def found_entries(query: QueryDict) -> StockFilter:
    return StockFilter(query, queryset=StockMovement.objects.select_related(*RELATED))


@require_safe
@needs("checks.view_records")
def stock_entries(request: HttpRequest) -> HttpResponse:
    """The entries, the newest first; corrected ones only where they are asked for."""
    found = found_entries(request.GET)
    context: dict[str, Any] = {"filter": found, "understood": found.is_valid()}
    if context["understood"]:
        context["page_obj"] = page_of(request, found.qs, PER_PAGE)
    template = "checks/stock_entries_part.html" if is_part(request) else "checks/stock_entries.html"
    return render(request, template, context)


@require_http_methods(METHODS)
@needs("checks.add_stockmovement")
def stock_entry(request: HttpRequest) -> HttpResponse:
    """Enter what came, moved, was used, scrapped or counted."""
    start = {name: request.GET.get(name, "") for name in ("thing", "kind", "base", "aircraft")}
    form = MovementForm(request.POST or None, initial={"on": timezone.localdate(), **start})
    if request.method == "POST" and form.is_valid() and written(form, request):
        messages.success(request, "Entered.")
        return redirect("checks:stock")
    status = 422 if request.method == "POST" else 200
    return render(request, "checks/stock_entry.html", {"form": form}, status=status)


@require_http_methods(METHODS)
@needs("checks.add_stockmovement")
def stock_correct(request: HttpRequest, pk: int) -> HttpResponse:
    """Put another entry in the place of one; both stay on record."""
    entry = get_object_or_404(StockMovement.objects.select_related(*RELATED), pk=pk)
    kept = ("kind", "quantity", "on", "base", "to_base")
    start = {name: getattr(entry, name) for name in kept}
    start["aircraft"] = entry.aircraft.registration if entry.aircraft else ""
    form = MovementForm(request.POST or None, initial=start, corrects=entry)
    if request.method == "POST" and form.is_valid() and written(form, request, entry):
        messages.success(request, "Corrected. The earlier entry stays on record.")
        return redirect("checks:stock_entries")
    status = 422 if request.method == "POST" else 200
    return render(request, "checks/stock_entry.html", {"form": form, "entry": entry}, status=status)


@require_http_methods(METHODS)
@needs("checks.add_fluidmix")
def mix_record(request: HttpRequest) -> HttpResponse:
    """Enter what the operator's source says of two kinds of fluid."""
    form = MixForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            record_mix(by=request.user, **form.cleaned_data)
        except RecordError as refused:
            show_refusal(form, refused)
        else:
            messages.success(request, "Entered. An earlier entry of the same pair holds no longer.")
            return redirect("checks:stock")
    status = 422 if request.method == "POST" else 200
    return render(request, "checks/mix_record.html", {"form": form}, status=status)


def written(form: Form, request: HttpRequest, corrects: StockMovement | None = None) -> bool:
    """Whether the service took it; what it refused is put beside the fields."""
    given = dict(form.cleaned_data)
    thing = corrects.thing if corrects else given.pop("thing")
    event = corrects.event if corrects else None
    try:
        record_movement(by=request.user, thing=thing, corrects=corrects, event=event, **given)
    except RecordError as refused:
        show_refusal(form, refused)
        return False
    return True
