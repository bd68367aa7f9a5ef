"""How much the use of an aircraft varies: the range of its rates over spans of two weeks and more."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

import numpy as np

from checks.engine.use_rate import RECENT_DAYS
from checks.engine.use_season import Season, used_up_on

SPAN_DAYS = 14  # shorter spans say more about single flights than about use
SHARES = (0.1, 0.9)
_STEP = Decimal("0.0001")


@dataclass(frozen=True)
class UseRange:
    """Eight in ten of the spans seen had a use a day between low and high."""

    low: Decimal
    high: Decimal


def use_range(
    days: Sequence[date], totals: Sequence[Decimal | int], *, now: date, recent_days: int = RECENT_DAYS
) -> UseRange | None:
    """The tenth and the ninetieth percentile of the use a day between any two totals of the recent_days that
    are at least SPAN_DAYS apart. None with fewer than three such spans. ValueError where the numbers differ.

    It says how use went, not how it will go: a range, no probability.
    """
    if len(days) != len(totals):
        raise ValueError(f"{len(days)} days but {len(totals)} totals")
    first = now - timedelta(days=recent_days)
    recent = {day: total for day, total in zip(days, totals, strict=True) if first <= day <= now}
    x = np.array([day.toordinal() for day in recent])
    y = np.array([float(total) for total in recent.values()])
    apart = x[None, :] - x[:, None] if len(x) else np.zeros((0, 0))
    early, late = np.nonzero(apart >= SPAN_DAYS)
    if len(early) < 3:
        return None
    low, high = np.quantile((y[late] - y[early]) / apart[early, late], SHARES)
    return UseRange(*(Decimal(float(rate)).quantize(_STEP) for rate in (low, high)))


def dates_between(
    left: Decimal | int, used: UseRange | None, *, since: date, season: Season | None = None
) -> tuple[date | None, date | None]:
    """The earliest and the latest day on which what is left would be used up at the range of rates.

    None: it cannot be told (no range, used up already), or no date within a century.
    """
    if used is None or left <= 0:
        return None, None
    return tuple(used_up_on(since, Decimal(left), rate, season) for rate in (used.high, used.low))
