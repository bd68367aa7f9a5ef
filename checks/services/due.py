"""Due points, stored: the only writer of them.

Called for one aircraft by whatever changes what they rest on (signing, correcting, a decision, utilisation,
the programme), inside the transaction of that change; for the whole fleet by `manage.py refresh_due` every
night, because estimated dates move with the days.
"""

import datetime as dt
from collections.abc import Iterable
from typing import Any

from django.db import transaction
from django.utils import timezone

from checks.engine.due import DAYS, HOURS, LANDINGS, MONTHS, SEASON, LimbProjection
from checks.models import DuePoint
from checks.selectors.due_counting import Counted, count_due
from fleet.models import Aircraft

_GOVERNING = {
    DAYS: DuePoint.Governing.CALENDAR,
    MONTHS: DuePoint.Governing.CALENDAR,
    HOURS: DuePoint.Governing.HOURS,
    LANDINGS: DuePoint.Governing.LANDINGS,
    SEASON: DuePoint.Governing.SEASON,
}
_USE = (HOURS, LANDINGS)
_KEYS = ("aircraft", "check_due")
_STORED = [
    field.name
    for field in DuePoint._meta.concrete_fields
    if not field.primary_key and field.name not in _KEYS
]


@transaction.atomic
def refresh_due(*, aircraft_ids: Iterable[int] | None = None, today: dt.date | None = None) -> int:
    """Count the due points of the aircraft (None: the whole fleet) anew and store them; gives their number.

    Points of checks no longer in the programme, of another variant or of an aircraft that left are removed.
    """
    ids = None if aircraft_ids is None else sorted(set(aircraft_ids))
    stored = DuePoint.objects.all() if ids is None else DuePoint.objects.filter(aircraft__in=ids)
    fleet = Aircraft.objects.all() if ids is None else Aircraft.objects.filter(pk__in=ids)
    # Two refreshes of one aircraft wait for each other, so that the later one has seen both changes.
    list(fleet.order_by("pk").select_for_update(no_key=True).values_list("pk"))
    now, today = timezone.now(), today or timezone.localdate()
    counted = count_due(aircraft_ids=ids, today=today)
    keep = {(one.aircraft_id, one.check_id) for one in counted}
    gone = [pk for pk, *key in stored.values_list("pk", "aircraft", "check_due") if tuple(key) not in keep]
    if gone:
        stored.filter(pk__in=gone).delete()
    points = [DuePoint(computed_at=now, **_values(one, today)) for one in counted]
    DuePoint.objects.bulk_create(
        points, update_conflicts=True, unique_fields=_KEYS, update_fields=_STORED, batch_size=500
    )
    return len(points)


def _values(one: Counted, today: dt.date) -> dict[str, Any]:
    """The fields of one due point."""
    limbs = {limb.limb.kind: limb for limb in one.projection.limbs}
    governing = one.projection.governing
    calendar = [limbs[kind].on for kind in (DAYS, MONTHS) if kind in limbs]
    first = limbs[governing.kind] if governing else None
    return {
        "aircraft_id": one.aircraft_id,
        "check_due_id": one.check_id,
        "last_event_id": one.event_id,
        "done_on": one.done and one.done.on,
        "done_hours": one.done and one.done.hours,
        "done_landings": one.done and one.done.landings,
        "calendar_on": min(calendar) if calendar else None,
        "due_hours": _at(limbs.get(HOURS)),
        "due_landings": _at(limbs.get(LANDINGS)),
        "season_on": limbs[SEASON].on if SEASON in limbs else None,
        "due_on": one.projection.on,
        "latest_on": _latest_on(one, today),
        "governing": _GOVERNING[governing.kind] if governing else "",
        "estimated": bool(first and first.limb.kind in _USE and first.remaining > 0),
        "hours_left": _left(limbs.get(HOURS)),
        "landings_left": _left(limbs.get(LANDINGS)),
    }


def _latest_on(one: Counted, today: dt.date) -> dt.date | None:
    """The day on which the first tolerance ends. One told from the rate of use, which by the totals on
    record has not ended, ends today at the earliest: an estimate alone makes nothing overdue."""
    ends = [
        max(limb.latest_on, today)
        if limb.remaining_latest >= 0 and limb.limb.kind in _USE
        else limb.latest_on
        for limb in one.projection.limbs
        if limb.latest_on is not None
    ]
    return min(ends, default=None)


def _at(limb: LimbProjection | None) -> Any:
    return limb.limb.at if limb else None


def _left(limb: LimbProjection | None) -> Any:
    return limb.remaining if limb else None
