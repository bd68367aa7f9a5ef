"""How fast an aircraft is used: hours or landings a day, from its totals of the recent past."""

from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal

import numpy as np

RECENT_DAYS = 90
LEAST_SPAN_DAYS = 7  # totals of fewer days say nothing about a usual week
_STEP = Decimal("0.0001")


def use_per_day(
    days: Sequence[date],
    totals: Sequence[Decimal | int],
    *,
    now: date,
    recent_days: int = RECENT_DAYS,
) -> Decimal | None:
    """Use per day in the recent_days up to now, to four places; None where that cannot be told.

    The median of the slopes between every two totals (Theil 1950, Sen 1968), so that one mistyped total, one
    ferry flight or one stay in the hangar hardly moves it. None with totals that span less than a week.
    ValueError where days and totals differ in number.
    """
    if len(days) != len(totals):
        raise ValueError(f"{len(days)} days but {len(totals)} totals")
    first = now - timedelta(days=recent_days)
    pairs = [(day, total) for day, total in zip(days, totals, strict=True) if first <= day <= now]
    if not pairs:
        return None
    x = np.array([(day - first).days for day, _ in pairs], dtype=float)
    if np.ptp(x) < LEAST_SPAN_DAYS:
        return None
    y = np.array([float(total) for _, total in pairs])
    earlier, later = np.triu_indices(len(x), k=1)
    apart = x[later] - x[earlier]
    slopes = (y[later] - y[earlier])[apart != 0] / apart[apart != 0]
    return Decimal(float(np.median(slopes))).quantize(_STEP)
