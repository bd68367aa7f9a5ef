"""What an aircraft's measuring points usually read: the reference for a reading that is far too low."""

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping
from decimal import Decimal
from uuid import UUID

import numpy as np

from checks.engine.drift_reference import AT, Reference
from checks.engine.units import EXACT
from checks.models import CheckEvent, Reset, Result
from checks.selectors.due_counting import counting_events
from fleet.models import MeasuringPoint, ReferenceRow

_STEP = Decimal("0.0001")
_Moment = tuple[dt.date, dt.datetime]  # date of work, then of signing


def reference_rows(point_ids: list[int]) -> dict[int, list[ReferenceRow]]:
    """The frozen reference tables of the points, coldest row first. One query."""
    rows: dict[int, list[ReferenceRow]] = defaultdict(list)
    for row in ReferenceRow.objects.filter(point__in=point_ids).order_by("temperature"):
        rows[row.point_id].append(row)
    return rows


def compensation(point: MeasuringPoint, rows: list[ReferenceRow], temperature: Decimal | None) -> Decimal:
    """The factor by which a reading at this fluid temperature (°C) differs from the same one at 20 °C.

    By the point's reference table; without one, pressure by viscosity alone and flow not at all. 1 where
    neither reaches: limits are not extrapolated either, so such a reading is never valid.
    """
    return _factors(point, rows, [temperature])[0]


def _factors(
    point: MeasuringPoint, rows: list[ReferenceRow], temperatures: list[Decimal | None]
) -> list[Decimal]:
    """The factors at many temperatures; the table is read once for all of them."""
    nominal = float(point.nominal)
    table = Reference(
        temperatures=tuple(float(row.temperature) for row in rows) or (AT,),
        values=tuple(float(row.value) for row in rows) or (nominal,),
        nominal=nominal,
        viscosity_exponent=1.0 if point.quantity == MeasuringPoint.Quantity.PRESSURE else 0.0,
    )
    wanted = np.array([np.nan if t is None else float(t) for t in temperatures])
    factors = (table.at(wanted) / table.limit_20).tolist()
    return [Decimal(repr(f)).quantize(_STEP) if np.isfinite(f) else Decimal(1) for f in factors]


def baselines(event: CheckEvent, references: Mapping[int, list[ReferenceRow]]) -> dict[int, Decimal]:
    """Mean at 20 °C, by point, of the aircraft's accepted readings since the point's last reset.

    Up to the day of this event, itself and what it corrects left out. Points without such a reading are
    left out. Two queries.
    """
    return baselines_of([event], references)[event.pk]


def baselines_of(
    events: list[CheckEvent], references: Mapping[int, list[ReferenceRow]]
) -> dict[UUID, dict[int, Decimal]]:
    """The baselines of many events, by the key of the event. Two queries however many they are.

    A signed event is looked at with what was signed before it, whatever has come since.
    """
    aircraft, last = {e.aircraft_id for e in events}, max(e.work_date for e in events)
    order = ("event__work_date", "event__signed_at")
    resets: dict[tuple[int, int], list[_Moment]] = defaultdict(list)
    standing = CheckEvent.objects.standing().filter(aircraft__in=aircraft, work_date__lte=last)
    found = Reset.objects.filter(event__in=standing).order_by(*order)
    for craft, point, *moment in found.values_list("event__aircraft", "point", *order):
        resets[craft, point].append(tuple(moment))
    read: dict[int, list[Result]] = defaultdict(list)
    earlier = counting_events().filter(aircraft__in=aircraft, work_date__lte=last)
    results = Result.objects.filter(event__in=earlier, value__isnull=False).select_related("point", "event")
    for result in results:
        read[result.event.aircraft_id].append(result)
    return {event.pk: _baselines(event, read[event.aircraft_id], resets, references) for event in events}


def _baselines(
    event: CheckEvent,
    results: list[Result],
    resets: Mapping[tuple[int, int], list[_Moment]],
    references: Mapping[int, list[ReferenceRow]],
) -> dict[int, Decimal]:
    """Those of one event, from all results and resets of its aircraft. No query."""

    def earlier(moment: _Moment) -> bool:
        day, signed_at = moment
        return day <= event.work_date and (event.signed_at is None or signed_at < event.signed_at)

    since = {
        point: max(filter(earlier, moments), default=None)
        for (craft, point), moments in resets.items()
        if craft == event.aircraft_id
    }
    own = {event.pk, event.supersedes_id}
    read: dict[int, list[Result]] = defaultdict(list)
    for result in results:
        moment, reset = (result.event.work_date, result.event.signed_at), since.get(result.point_id)
        if result.event_id in own or not earlier(moment) or (reset and moment <= reset):
            continue
        read[result.point_id].append(result)
    return {point: _mean_at_20(found, references.get(point, [])) for point, found in read.items()}


def _mean_at_20(results: list[Result], rows: list[ReferenceRow]) -> Decimal:
    """Mean of one point's values, each brought to 20 °C."""
    factors = _factors(results[0].point, rows, [result.temperature for result in results])
    values = [EXACT.divide(r.value, factor) for r, factor in zip(results, factors, strict=True)]
    return (sum(values, Decimal(0)) / len(values)).quantize(_STEP)
