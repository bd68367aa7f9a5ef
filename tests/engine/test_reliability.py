"""Rates, alert levels and shortening lives, against SciPy and published distributions."""

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from checks.engine.reliability import CHANCE, Count, alert_level, occasions, rate_range, trend_of

COUNTS = st.integers(0, 60)
HOURS = st.floats(10, 50_000)


def test_rate_is_per_thousand_hours() -> None:
    assert Count(3, 2000).rate == 1.5
    assert Count(3, 0).rate is None and rate_range(Count(3, 0)) is None


@given(COUNTS, HOURS)
def test_range_is_the_exact_poisson_one(events: int, hours: float) -> None:
    """General-purpose reference: SciPy's chi-squared quantiles, the other way to write Garwood's interval."""
    low, high = rate_range(Count(events, hours))
    expected = stats.chi2.ppf([0.05, 0.95], [2 * events or 1, 2 * events + 2]) / 2 * 1000 / hours
    assert high == pytest.approx(expected[1]) and low == pytest.approx(expected[0] if events else 0.0)


@pytest.mark.parametrize(("events", "low", "high"), [(0, 0, 2.996), (1, 0.0513, 4.744), (10, 5.425, 16.96)])
def test_range_of_small_counts(events: int, low: float, high: float) -> None:
    """Garwood's table at 90 %, from memory: 0: 0-3.00, 1: 0.05-4.74, 10: 5.43-16.96."""
    assert rate_range(Count(events, 1000)) == pytest.approx((low, high), rel=1e-3)


@given(COUNTS, HOURS, HOURS)
def test_alert_level_is_the_binomial_one(events: int, hours_before: float, hours: float) -> None:
    """General-purpose reference: SciPy's binomial test, one-sided."""
    level = alert_level(Count(events, hours_before), hours)

    def chance(number: int) -> float:
        part = hours / (hours + hours_before)
        return stats.binomtest(number, number + events, part, alternative="greater").pvalue if number else 1.0

    if level < 400:
        assert chance(level) < CHANCE <= chance(level - 1)


def test_alerts_without_change_stay_under_their_chance() -> None:
    rng = np.random.default_rng(5)
    before, now = rng.poisson(6.0, 4000), rng.poisson(2.0, 4000)
    levels = {n: alert_level(Count(n, 3000), 1000) for n in set(before.tolist())}
    alarms = np.mean([n >= levels[b] for b, n in zip(before.tolist(), now.tolist(), strict=True)])
    assert 0.005 < alarms <= CHANCE


def test_a_doubled_rate_is_mostly_seen_with_enough_events() -> None:
    rng = np.random.default_rng(6)
    before, now = rng.poisson(60, 1000), rng.poisson(60, 1000)  # 60 where 20 would be usual
    seen = [
        n >= alert_level(Count(b, 3000), 1000) for b, n in zip(before.tolist(), now.tolist(), strict=True)
    ]
    assert np.mean(seen) > 0.95


def test_nothing_to_compare() -> None:
    assert alert_level(Count(3, 0), 100) is None and alert_level(Count(3, 100), 0) is None


def test_distribution_of_four_lives_is_the_published_one() -> None:
    """1 3 5 6 5 3 1 of 24 orders have 0..6 reversals (D. Stanley, 'Reverse arrangement test PDF', MATLAB
    Central File Exchange 44358, after Bendat and Piersol 2010)."""
    counts = np.zeros(7)
    for order in permutations([1.0, 2.0, 3.0, 4.0]):
        counts[trend_of([order]).longer] += 1
    assert counts.tolist() == [1, 3, 5, 6, 5, 3, 1]
    sorted_down = trend_of([[4.0, 3.0, 2.0, 1.0]])
    assert (sorted_down.longer, sorted_down.pairs) == (0, 6)
    assert sorted_down.chance == pytest.approx(1 / 24) and sorted_down.shortens


@given(st.lists(st.floats(1, 1000), min_size=2, max_size=7, unique=True))
def test_one_aircraft_is_kendall_s_exact_test(own: list[float]) -> None:
    """General-purpose reference: SciPy's exact Kendall test of the lives against their order."""
    expected = stats.kendalltau(range(len(own)), own, method="exact", alternative="less").pvalue
    assert trend_of([own]).chance == pytest.approx(expected)


def test_short_rows_of_many_aircraft_add_up() -> None:
    fleet = [[300.0, 200.0, 150.0]] * 4
    assert not trend_of(fleet[:1]).shortens
    together = trend_of(fleet)
    assert together.pairs == 12 and together.chance == pytest.approx(1 / 6**4) and together.shortens


def test_equal_lives_are_no_finding() -> None:
    assert trend_of([[100.0] * 6]).chance == pytest.approx(1.0)
    assert trend_of([]).chance == 1.0 and trend_of([[5.0]]).pairs == 0


@pytest.mark.parametrize(
    ("days", "first"),
    [
        ([], []),
        ([3], [3]),
        ([3, 4, 12], [3, 12]),
        ([3, 10, 17, 25], [3, 25]),
        ([1, 100, 101, 300], [1, 100, 300]),
    ],
)
def test_purges_of_one_occasion(days: list[int], first: list[int]) -> None:
    assert occasions(days) == first
