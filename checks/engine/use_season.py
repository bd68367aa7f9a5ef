"""How busy the calendar months are, and the day on which hours or landings will be used up.

The recent rate of use was seen in its own months; a day to come is expected to be as much busier or quieter
than these as its month is. Factors are whole thousandths of the mean of the year, rates ten-thousandths: so
the way by objects and the way in arrays (due_dates) count alike, without rounding.
"""

from calendar import monthrange
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import ROUND_FLOOR, Decimal

FARTHEST_DAYS = 36500  # a projection beyond a century is no date


@dataclass(frozen=True)
class Season:
    """months: use of January to December in thousandths of the mean of the year, all above 0; recent: their
    sum over the recent_days on which the rate of use was seen."""

    months: tuple[int, ...]
    recent: int
    recent_days: int

    def __post_init__(self) -> None:
        if len(self.months) != 12 or min(self.months) <= 0 or self.recent <= 0 or self.recent_days <= 0:
            raise ValueError("a season needs twelve months above 0 and the days that the rate was seen on")


def season_as_of(months: tuple[int, ...], now: date, recent_days: int) -> Season:
    """The season beside a rate that was seen in the recent_days up to now."""
    seen = (now - timedelta(days=back) for back in range(recent_days))
    return Season(months, sum(months[day.month - 1] for day in seen), recent_days)


def used_up_on(
    since: date, left: Decimal, per_day: Decimal | None, season: Season | None = None
) -> date | None:
    """The day on which what is left is used up, rounded to the earlier one; `since` where it is already.

    since: the day at whose end so much was left. None: no rate, or no day within a century.
    """
    if left <= 0:
        return since
    if per_day is None or per_day <= 0:
        return None
    if season is None:
        days = int((left / per_day).to_integral_value(ROUND_FLOOR))
    else:
        share = left * season.recent / (per_day * season.recent_days)
        days = _days_of(season.months, since, int(share.to_integral_value(ROUND_FLOOR)))
    return since + timedelta(days=days) if days <= FARTHEST_DAYS else None


def _days_of(months: tuple[int, ...], since: date, share: int) -> int:
    """How many whole days after `since` the share lasts, month by month; above FARTHEST_DAYS: too many."""
    days, day = 0, since + timedelta(days=1)
    while days <= FARTHEST_DAYS:
        factor = months[day.month - 1]
        rest = monthrange(day.year, day.month)[1] - day.day + 1
        if share < factor * rest:
            return days + share // factor
        share, days, day = share - factor * rest, days + rest, day + timedelta(days=rest)
    return days
