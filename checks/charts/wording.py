"""How charts say dates, values and times."""

from datetime import date, datetime
from decimal import Decimal

from checks.charts.ticks import MONTHS

Day = date | datetime


def day_number(day: Day) -> float:
    """A date as day number; a moment adds its part of the day, so that two of one day keep their order."""
    if isinstance(day, datetime):
        return day.toordinal() + (day.hour * 60 + day.minute) / 1440
    return float(day.toordinal())


def day_words(day: Day) -> str:
    """A date as on every page: 25 Nov 2026."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def value_words(value: float | Decimal | None, unit: str) -> str:
    """A value with its unit in chart words; a dash for none."""
    if value is None:
        return "–"
    digits = f"{float(value):,.4g}" if abs(value) < 10_000 else f"{float(value):,.0f}"
    return f"{digits} {unit}".strip().replace("-", "−").replace(",", "\u202f")


def minutes_words(minutes: float) -> str:
    """Minutes as 2:30 min."""
    seconds = round(minutes * 60)
    return f"{seconds // 60}:{seconds % 60:02d} min"
