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

    Repeated medians (Siegel 1982, Biometrika 69): of every total the median slope to all others, and of these
    the median. One mistyped total, one ferry flight or a month in the hangar does not move it, where a mean
    or a single median of slopes would plan the aircraft as flying less than it does. Of several totals on
    one day the last counts. None with totals that span less than a week. ValueError where days and totals
    differ in number.
    """
    if len(days) != len(totals):
        raise ValueError(f"{len(days)} days but {len(totals)} totals")
    first = now - timedelta(days=recent_days)
    recent = {day: total for day, total in zip(days, totals, strict=True) if first <= day <= now}
    if not recent or (max(recent) - min(recent)).days < LEAST_SPAN_DAYS:
        return None
    x = np.array([(day - first).days for day in recent], dtype=float)
    y = np.array([float(total) for total in recent.values()])
    others = ~np.eye(len(x), dtype=bool)
    rise = (y[:, None] - y)[others].reshape(len(x), -1)
    run = (x[:, None] - x)[others].reshape(len(x), -1)
    return Decimal(float(np.median(np.median(rise / run, axis=1)))).quantize(_STEP)
