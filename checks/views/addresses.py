"""Where the records that several pages name are to be seen."""

from functools import cache

from django.urls import get_script_prefix, reverse

from checks.models import SeriesState
from checks.selectors.icing import Reason


def of_aircraft(registration: str) -> str:
    return reverse("checks:aircraft", args=[registration])


def of_series(series: SeriesState) -> str:
    return reverse("checks:drift_series", args=[series.pk])


def of_due_point(key: int) -> str:
    """A page of the icing status names hundreds: the way to them is worked out once."""
    return _way_to_due_points(get_script_prefix()).replace("/0/", f"/{key}/")


@cache
def _way_to_due_points(prefix: str) -> str:
    return reverse("checks:due_point", args=[0])


def of_reason(reason: Reason) -> str:
    """The record that speaks against: the defect, the due point or the check; an empty text without one."""
    if reason.defect_id:
        return reverse("checks:defect", args=[reason.defect_id])
    if reason.due_point_id:
        return of_due_point(reason.due_point_id)
    return reverse("checks:check", args=[reason.event_id]) if reason.event_id else ""
