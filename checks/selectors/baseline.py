"""What an aircraft's measuring points usually read: the reference for a reading that is far too low."""

from collections import defaultdict
from decimal import Decimal

import numpy as np

from checks.engine.drift_reference import AT, Reference
from checks.engine.units import EXACT
from checks.models import CheckEvent, Reset, Result
from checks.selectors.due_counting import counting_events
from fleet.models import MeasuringPoint, ReferenceRow

_STEP = Decimal("0.0001")


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


def baselines(event: CheckEvent, references: dict[int, list[ReferenceRow]]) -> dict[int, Decimal]:
    """Mean at 20 °C, by point, of the aircraft's accepted readings since the point's last reset.

    Up to the day of this event, itself and what it corrects left out. Points without such a reading are
    left out. Two queries.
    """
    earlier = counting_events().filter(aircraft=event.aircraft_id, work_date__lte=event.work_date)
    earlier = earlier.exclude(pk__in=[event.pk, event.supersedes_id or event.pk])
    order = ("event__work_date", "event__signed_at")
    resets = Reset.objects.filter(event__in=CheckEvent.objects.standing().filter(aircraft=event.aircraft_id))
    last_reset = {point: (day, at) for point, day, at in resets.order_by(*order).values_list("point", *order)}
    read: dict[int, list[Result]] = defaultdict(list)
    results = Result.objects.filter(event__in=earlier, value__isnull=False).select_related("point", "event")
    for result in results:
        moment = (result.event.work_date, result.event.signed_at)
        if result.point_id in last_reset and moment <= last_reset[result.point_id]:
            continue
        read[result.point_id].append(result)
    return {point: _mean_at_20(found, references.get(point, [])) for point, found in read.items()}


def _mean_at_20(results: list[Result], rows: list[ReferenceRow]) -> Decimal:
    """Mean of one point's values, each brought to 20 °C."""
    factors = _factors(results[0].point, rows, [result.temperature for result in results])
    values = [EXACT.divide(r.value, factor) for r, factor in zip(results, factors, strict=True)]
    return (sum(values, Decimal(0)) / len(values)).quantize(_STEP)
