"""Due points, stored: the only writer of them.

Called for one aircraft by whatever changes what they rest on (signing, correcting, a decision, utilisation,
the programme), inside the transaction of that change; for the whole fleet by `manage.py refresh_due` every
night, because estimated dates move with the days. Owner and remarks of a point are a person's and stay.
"""

import datetime as dt
from collections.abc import Iterable, Iterator
from decimal import Decimal
from typing import Any

import numpy as np
from django.db import transaction
from django.utils import timezone

from checks.engine.due import DAYS, HOURS, LANDINGS, MONTHS, SEASON
from checks.engine.due_arrays import KINDS, UNKNOWN, Ints
from checks.models import DuePoint
from checks.selectors.due_fleet import CountedFleet, Known, count_fleet, number
from checks.services.deferral_use import refresh_deferral_use
from checks.services.errors import RecordError
from checks.services.persons import may
from fleet.models import Aircraft, User

_GOVERNING = {
    DAYS: DuePoint.Governing.CALENDAR,
    MONTHS: DuePoint.Governing.CALENDAR,
    HOURS: DuePoint.Governing.HOURS,
    LANDINGS: DuePoint.Governing.LANDINGS,
    SEASON: DuePoint.Governing.SEASON,
}
_USE = (HOURS, LANDINGS)
_KEYS = ("aircraft", "check_due")
_NOTED = ("owner", "remarks", "noted_at")
_STORED = [
    field.name
    for field in DuePoint._meta.concrete_fields
    if not field.primary_key and field.name not in (*_KEYS, *_NOTED)
]


@transaction.atomic
def refresh_due(*, aircraft_ids: Iterable[int] | None = None, today: dt.date | None = None) -> int:
    """Count the due points of the aircraft (None: the whole fleet) anew and store them; gives their number.

    Points of checks no longer in the programme, of another variant or of an aircraft that left are removed.
    Deferrals limited by flight hours or flight days rest on the same totals, and are counted with them.
    """
    ids = None if aircraft_ids is None else sorted(set(aircraft_ids))
    stored = DuePoint.objects.all() if ids is None else DuePoint.objects.filter(aircraft__in=ids)
    fleet = Aircraft.objects.all() if ids is None else Aircraft.objects.filter(pk__in=ids)
    # Two refreshes of one aircraft wait for each other, so that the later one has seen both changes.
    list(fleet.order_by("pk").select_for_update(no_key=True).values_list("pk"))
    now, today = timezone.now(), today or timezone.localdate()
    points = [
        DuePoint(computed_at=now, **values)
        for values in stored_values(count_fleet(aircraft_ids=ids, today=today), today)
    ]
    keep = {(one.aircraft_id, one.check_due_id) for one in points}
    gone = [pk for pk, *key in stored.values_list("pk", "aircraft", "check_due") if tuple(key) not in keep]
    if gone:
        stored.filter(pk__in=gone).delete()
    DuePoint.objects.bulk_create(
        points, update_conflicts=True, unique_fields=_KEYS, update_fields=_STORED, batch_size=500
    )
    refresh_deferral_use(aircraft_ids=ids)
    return len(points)


@transaction.atomic
def note_due_point(*, point: DuePoint, by: User, owner: User | None, remarks: str) -> DuePoint:
    """Say who sees to a due point, and remarks. They stay when it is counted anew."""
    may(by, "checks.change_recurringcheck")
    if owner is not None and not owner.is_active:
        raise RecordError("This person no longer works here. Choose another.", field="owner")
    point = DuePoint.objects.select_for_update(of=("self",)).get(pk=point.pk)
    point.owner, point.remarks, point.noted_at = owner, remarks, timezone.now()
    point.clean_fields(exclude={*_STORED, *_KEYS})
    point.save(update_fields=list(_NOTED))
    return point


def stored_values(counted: CountedFleet, today: dt.date) -> Iterator[dict[str, Any]]:
    """The fields of each due point, all columns turned from arrays at once; none of what is finished."""
    known, at, dates = counted.known, counted.points.at, counted.dates
    has = counted.points.has
    columns: dict[str, list] = {
        "aircraft_id": known.aircraft_ids[known.aircraft].tolist(),
        "check_due_id": known.task_ids[known.task].tolist(),
        "last_event_id": [known.events[row] if row >= 0 else None for row in known.last.tolist()],
        "calendar_on": _days(_first(at[DAYS], at[MONTHS])),
        "due_hours": _hundredths(at[HOURS]),
        "due_landings": _whole(at[LANDINGS]),
        "season_on": _days(at[SEASON]),
        "due_on": _days(dates.due_on),
        "latest_on": _days(_latest_on(counted, number(today))),
        "governing": [_GOVERNING[KINDS[kind]] if kind >= 0 else "" for kind in dates.governing.tolist()],
        "estimated": _estimated(counted).tolist(),
        "hours_left": _hundredths(np.where(has[HOURS], dates.remaining[HOURS], UNKNOWN)),
        "landings_left": _whole(np.where(has[LANDINGS], dates.remaining[LANDINGS], UNKNOWN)),
        "untold": dates.untold.tolist(),
    }
    columns |= {
        "done_on": _days(_last(known, known.history.on)),
        "done_hours": _hundredths(_last(known, known.history.hours)),
        "done_landings": _whole(_last(known, known.history.landings)),
    }
    finished, rows = counted.points.finished.tolist(), zip(*columns.values(), strict=True)
    for is_finished, row in zip(finished, rows, strict=True):
        if not is_finished:
            yield dict(zip(columns, row, strict=True))


def _last(known: Known, column: Ints) -> Ints:
    """By series, the column of the history where it was last done."""
    values = np.full(len(known.last), UNKNOWN)
    done = known.last >= 0
    values[done] = column[known.last[done]]
    return values


def _latest_on(counted: CountedFleet, today: int) -> Ints:
    """The day on which the first tolerance ends. One told from the rate of use, which by the totals on
    record has not ended, ends today at the earliest: an estimate alone makes nothing overdue."""
    ends = np.full(len(counted.dates.due_on), UNKNOWN)
    for kind in KINDS:
        on = counted.dates.latest_on[kind]
        if kind in _USE:
            going = (on != UNKNOWN) & (counted.dates.remaining_latest[kind] >= 0)
            on = np.where(going, np.maximum(on, today), on)
        ends = _first(ends, on)
    return ends


def _estimated(counted: CountedFleet) -> np.ndarray:
    """Whether the first date rests on the rate of use."""
    found = np.zeros(len(counted.dates.governing), bool)
    for kind in _USE:
        governs = counted.dates.governing == KINDS.index(kind)
        found |= governs & (counted.dates.remaining[kind] > 0)
    return found


def _first(one: Ints, other: Ints) -> Ints:
    """The smaller of two, where both are known."""
    return np.where(one == UNKNOWN, other, np.where(other == UNKNOWN, one, np.minimum(one, other)))


def _days(values: Ints) -> list[dt.date | None]:
    dates = np.where(values == UNKNOWN, 0, values).astype("datetime64[D]").tolist()
    return [None if unknown else on for unknown, on in zip((values == UNKNOWN).tolist(), dates, strict=True)]


def _hundredths(values: Ints) -> list[Decimal | None]:
    return [None if value == UNKNOWN else Decimal(value).scaleb(-2) for value in values.tolist()]


def _whole(values: Ints) -> list[int | None]:
    return [None if value == UNKNOWN else value for value in values.tolist()]
