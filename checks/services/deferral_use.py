"""Deferrals limited by flight hours or flight days, counted from the recorded utilisation: the only writer.

Called for a new deferral, and by refresh_due: utilisation entered, corrected or loaded, and every night.
"""

from collections import defaultdict
from collections.abc import Iterable

from django.db.models import Q

from checks.engine.deferral import Total, UseCount, count_flight_days, count_hours
from checks.models import Deferral, DeferralUse
from fleet.models import Operator, UtilisationEntry

_COUNTED = ("used", "left", "counted_to", "last_on", "known_until")


def refresh_deferral_use(*, aircraft_ids: Iterable[int] | None = None) -> int:
    """Count them anew for the open defects of the aircraft (None: the whole fleet); gives their number.

    Four queries where there is any, one where there is none.
    """
    limited = Deferral.objects.filter(
        Q(limit_hours__isnull=False) | Q(limit_flight_days__isnull=False), defect__rectification=None
    )
    if aircraft_ids is not None:
        limited = limited.filter(defect__aircraft__in=list(aircraft_ids))
    found = list(limited.select_related("defect"))
    if not found:
        return 0
    totals = _totals({one.defect.aircraft_id for one in found})
    known_days = Operator.current().stale_use_days
    rows = []
    for one in found:
        count = _count(one, totals[one.defect.aircraft_id], known_days)
        rows.append(DeferralUse(deferral=one, **{name: getattr(count, name) for name in _COUNTED}))
    DeferralUse.objects.bulk_create(
        rows, update_conflicts=True, unique_fields=["deferral"], update_fields=_COUNTED
    )
    return len(rows)


def _totals(aircraft_ids: Iterable[int]) -> dict[int, list[Total]]:
    totals: dict[int, list[Total]] = defaultdict(list)
    entries = UtilisationEntry.objects.standing().filter(aircraft__in=aircraft_ids).order_by("on", "pk")
    for aircraft, *total in entries.values_list("aircraft_id", "on", "hours", "landings"):
        totals[aircraft].append(Total(*total))
    return totals


def _count(one: Deferral, totals: list[Total], known_days: int) -> UseCount:
    if one.limit_flight_days is not None:
        return count_flight_days(one.limit_flight_days, totals, recorded_on=one.recorded_on)
    return count_hours(
        one.limit_hours, one.from_hours, totals, recorded_on=one.recorded_on, known_days=known_days
    )
