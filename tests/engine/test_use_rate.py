"""Recent use of an aircraft against another implementation, and the laws it must keep."""

import datetime as dt
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import siegelslopes

from checks.engine.use_rate import LEAST_SPAN_DAYS, use_per_day

DAY_0 = dt.date(2025, 1, 1)
NOW = dt.date(2025, 3, 1)


def on(days: list[int]) -> list[dt.date]:
    return [DAY_0 + dt.timedelta(days=day) for day in days]


def test_agrees_with_another_implementation() -> None:
    """scipy.stats.siegelslopes (repeated medians), on Sen's data of 1968 as scipy's tests give them and on a
    seeded run of uneven days: two implementations, not print."""
    sen = [1, 2, 3, 4, 10, 12, 18], [9, 15, 19, 20, 45, 55, 78]
    rng = np.random.default_rng(7)
    uneven = np.sort(rng.choice(59, 25, replace=False)).tolist()
    for x, y in (sen, (uneven, np.cumsum(rng.integers(0, 9, 25)).tolist())):
        expected = siegelslopes(y, x).slope
        assert abs(float(use_per_day(on(x), y, now=NOW)) - expected) < 1e-4


def test_one_wild_total_moves_nothing() -> None:
    """On a straight line every slope is 1 but those of the wild total; least squares would say 1.71."""
    days = [1, 3, 5, 7, 9, 11, 13]
    assert use_per_day(on(days), [1, 3, 5, 7, 9, 32, 13], now=NOW) == 1


@pytest.mark.parametrize("stay", [0, 10, 20, 25])
def test_a_stay_in_the_hangar_moves_nothing(stay: int) -> None:
    """60 days, 2 h on each day of flying, and so many days on the ground in between: it flies 2 h a day."""
    days = list(range(60))
    totals = [2 * (min(day, 30) + max(0, day - 30 - stay)) for day in days]
    assert use_per_day(on(days), totals, now=NOW) == 2


@pytest.mark.parametrize("days", [[], [50], [50, 50 + LEAST_SPAN_DAYS - 1]])
def test_too_short_a_time_tells_nothing(days: list[int]) -> None:
    assert use_per_day(on(days), [Decimal(day) for day in days], now=NOW) is None


def test_only_the_recent_past_counts() -> None:
    long_ago, recent = [0, 10, 20], [100, 110, 120]
    totals = [0, 100, 200, 300, 310, 320]
    now = DAY_0 + dt.timedelta(days=121)
    assert use_per_day(on(long_ago + recent), totals, now=now) == 1
    later = [*recent, 130]
    assert use_per_day(on(later), [300, 310, 320, 999], now=now) == 1  # nothing after the day asked


def test_aircraft_that_stands_is_used_at_nought() -> None:
    assert use_per_day(on([1, 20, 40]), [Decimal("500.5")] * 3, now=NOW) == 0


def test_days_and_totals_belong_together() -> None:
    with pytest.raises(ValueError, match="2 days but 1 totals"):
        use_per_day(on([1, 20]), [1], now=NOW)


@given(
    steps=st.lists(st.integers(0, 500), min_size=8, max_size=25),
    shift=st.integers(0, 20_000),
    factor=st.integers(1, 9),
)
def test_zero_of_the_meter_and_scale(steps: list[int], shift: int, factor: int) -> None:
    """Where the totals begin does not matter; totals counted in smaller units give as many more a day."""
    days = on(list(range(len(steps))))
    totals = [sum(steps[: k + 1]) for k in range(len(steps))]
    rate = use_per_day(days, totals, now=NOW)
    assert use_per_day(days, [total + shift for total in totals], now=NOW) == rate
    more = use_per_day(days, [total * factor for total in totals], now=NOW)
    assert abs(more - rate * factor) <= Decimal("0.0001") * factor
    assert min(steps[1:]) <= rate <= max(steps[1:])
