"""Last day of a deferral by repair category: consecutive calendar days, the day of recording excluded.

Categories B 3, C 10, D 120 days; A as the MEL states (Transport Canada TP 9155 3.11; FAA MMEL policy letter
PL-25 definition 22 as quoted by others). The operator sets one time base for what 'day' means.
"""

from datetime import date, timedelta

CATEGORY_DAYS = {"B": 3, "C": 10, "D": 120}


def deferral_expiry(category: str, recorded_on: date, *, stated_days: int | None = None) -> date:
    """The last day on which the deferral holds; it has expired on any later day.

    ValueError where category A states no days, another category states some, or the category is unknown.
    """
    if category == "A":
        if stated_days is None or stated_days < 0:
            raise ValueError("category A runs for the days stated in the MEL item; state them")
        return recorded_on + timedelta(days=stated_days)
    if category not in CATEGORY_DAYS:
        raise ValueError(f"repair category {category!r} is not known; use A, B, C or D")
    if stated_days is not None:
        raise ValueError(f"category {category} has its own number of days; state days for category A only")
    return recorded_on + timedelta(days=CATEGORY_DAYS[category])


def deferral_expired(expiry: date, today: date) -> bool:
    """Whether a deferral with this last day has run out today (both by the operator's time base)."""
    return today > expiry
