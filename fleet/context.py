"""What the page frame needs on every page."""

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse
from django.utils.functional import SimpleLazyObject

from fleet.models import Operator


@dataclass(frozen=True)
class Place:
    """One entry of the navigation: address name, label, permission that opens it ('' = every person)."""

    name: str
    label: str
    permission: str = ""


# The order is the order on the page. A place whose address does not exist is left out.
PLACES = (
    Place("reports:home", "Home"),
    Place("checks:due_list", "Due list", "checks.view_records"),
    Place("checks:packages", "Packages", "checks.view_records"),
    Place("checks:icing_status", "Icing status", "checks.view_records"),
    Place("checks:season", "Season plan", "checks.view_records"),
    Place("checks:aircraft_list", "Aircraft", "checks.view_records"),
    Place("checks:new", "New check", "checks.record_check"),
    Place("checks:drift_ranking", "Drift", "checks.view_records"),
    Place("checks:records", "Records", "checks.view_records"),
    Place("reports:audit_packs", "Audit packs", "checks.take_pack"),
    Place("checks:defects", "Defects", "checks.view_records"),
    Place("checks:mel", "MEL", "checks.view_records"),
    Place("checks:reliability", "Reliability", "checks.view_records"),
    Place("checks:utilisation", "Utilisation", "checks.view_records"),
    Place("checks:instruments", "Instruments", "checks.view_records"),
    Place("checks:stock", "Stock", "checks.view_records"),
    Place("checks:programme", "Programme", "checks.view_records"),
    Place("checks:procedures", "Procedures", "checks.view_records"),
)


def frame(request: HttpRequest) -> dict[str, Any]:
    """`nav_items`: dicts of label, url, current; `demo_banner`: bool; `user_role`: the person's roles. All
    are worked out only where a template shows them, so the parts that htmx asks for don't pay."""
    return {
        "nav_items": SimpleLazyObject(lambda: nav_items(request)),
        "user_role": SimpleLazyObject(lambda: roles_of(request)),
        "demo_banner": SimpleLazyObject(is_demo),
    }


def nav_items(request: HttpRequest) -> list[dict[str, Any]]:
    """The places that this person may open, with the one being shown marked as current."""
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return []
    items = []
    for place in PLACES:
        if place.permission and not user.has_perm(place.permission):
            continue
        try:
            url = reverse(place.name)
        except NoReverseMatch:
            continue
        current = request.path == url or (url != "/" and request.path.startswith(url))
        items.append({"label": place.label, "url": url, "current": current})
    if user.is_staff or user.has_perm("fleet.view_variant"):
        url = reverse("admin:index")
        items.append({"label": "Master data", "url": url, "current": request.path.startswith(url)})
    return items


def roles_of(request: HttpRequest) -> str:
    """The names of the person's roles, '' for a person without one (one query)."""
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return ""
    return ", ".join(user.groups.order_by("name").values_list("name", flat=True))


def is_demo() -> bool:
    """Whether these records belong to the invented operator of the demo (one query)."""
    return Operator.objects.filter(is_demo=True).exists()
