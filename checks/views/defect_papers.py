"""What stands beside a defect: parts on order and ferry permits."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_http_methods

from checks.forms.defect_papers import FerryPermitForm, PartOrderForm
from checks.selectors.defects import CLOSED
from checks.services.defect_papers import order_part, record_ferry_permit
from checks.views.access import needs
from checks.views.defect_acts import Act, act_page, said_closed
from checks.views.defects import METHODS, defect_of

PART = Act(
    "Part on order",
    "Keep it",
    "Kept.",
    (
        "A changed date or an arrival is an entry of its own that takes the place of the earlier one; both "
        "stay.",
    ),
)
PERMIT = Act(
    "Record a ferry permit",
    "Sign the record",
    "The permit is on record. It changes neither the defect nor the icing status.",
    (
        "A permit is granted by the authority or who issues for it. It is only recorded here, as it was "
        "granted.",
        "Its conditions rule the flight, and the crew decides.",
    ),
)


@require_http_methods(METHODS)
@needs("checks.defer_defect")
def part_order(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a part on order on record, or change an entry (?replaces=)."""
    one = defect_of(pk)
    if one.now_is == CLOSED:
        return said_closed(request, one)
    key = request.GET.get("replaces", "")
    earlier = one.part_orders.standing().filter(pk=key).first() if key.isdecimal() else None
    kept = ("what", "reference", "expected_on")
    start = {name: getattr(earlier, name) for name in kept} | {"replaces": earlier} if earlier else {}
    form = PartOrderForm(request.POST or None, defect=one, initial=start)

    def keep(**fields: Any) -> None:
        order_part(defect=one, **fields)

    return act_page(request, one, PART, form, keep)


@require_http_methods(METHODS)
@needs("checks.defer_defect")
def ferry_permit(request: HttpRequest, pk: int) -> HttpResponse:
    """Record a ferry permit."""
    one = defect_of(pk)
    if one.now_is == CLOSED:
        return said_closed(request, one)

    def keep(**fields: Any) -> None:
        record_ferry_permit(defect=one, **fields)

    return act_page(request, one, PERMIT, FerryPermitForm(request.POST or None), keep)
