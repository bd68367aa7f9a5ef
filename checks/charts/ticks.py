"""Where an axis is marked: round numbers, or the first days of months and years."""

from collections.abc import Iterator
from datetime import date
from math import ceil, floor, log10

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
Tick = tuple[float, str]


def numbers(low: float, high: float, most: int) -> list[Tick]:
    """At most `most` round ticks (steps of 1, 2 or 5 times a power of ten) within low..high, with labels."""
    if not high > low:
        raise ValueError("An axis needs a range: low must lie below high.")
    most = max(most, 2)
    rough = (high - low) / most
    power = 10.0 ** floor(log10(rough))
    for factor in (1, 2, 5, 10, 20):
        step = factor * power
        first, last = ceil(low / step - 1e-9), floor(high / step + 1e-9)
        if last - first + 1 <= most:
            break
    places = max(0, -floor(log10(step) + 1e-9))
    return [(k * step, _label(k * step, places)) for k in range(first, last + 1)]


def _label(value: float, places: int) -> str:
    text = f"{value:,.{places}f}".replace(",", "\u202f")
    return text.replace("-", "−") if float(value) else text.lstrip("-")


def dates(low: float, high: float, most: int) -> list[Tick]:
    """At most `most` ticks of day numbers: days for a short range, else first days of months or years.

    A label holds a line break where the year is named: at the first tick and in each January.
    """
    if high - low < 70:
        return _days(ceil(low), floor(high), most)
    for step in (1, 2, 3, 6, 12, 24, 60, 120, 240, 600, 1200):
        found = list(_firsts(low, high, step))
        if len(found) <= max(most, 2):
            break
    if step >= 12:
        return [(day.toordinal(), str(day.year)) for day in found]
    named = [
        f"{MONTHS[day.month - 1]}\n{day.year}" if day.month == 1 or k == 0 else MONTHS[day.month - 1]
        for k, day in enumerate(found)
    ]
    return [(day.toordinal(), label) for day, label in zip(found, named, strict=True)]


def _firsts(low: float, high: float, step: int) -> Iterator[date]:
    """First days of every `step`-th month counted from January of a round year."""
    start = date.fromordinal(max(1, floor(low)))
    count = (start.year * 12 + start.month - 1) // step * step
    while True:
        day = date(count // 12, count % 12 + 1, 1)
        if day.toordinal() > high:
            return
        if day.toordinal() >= low:
            yield day
        count += step


def _days(low: int, high: int, most: int) -> list[Tick]:
    step = next(s for s in (1, 2, 5, 7, 14, 28, 70) if (high - low) // s + 1 <= max(most, 2))
    days = [date.fromordinal(n) for n in range(low, high + 1, step)]
    return [(day.toordinal(), f"{day.day} {MONTHS[day.month - 1]}") for day in days]
