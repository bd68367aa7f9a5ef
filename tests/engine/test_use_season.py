"""The day on which hours are used up by season, and the season learnt from totals of whole years."""

import datetime as dt
from decimal import Decimal as D

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.engine.use_rate import RECENT_DAYS
from checks.engine.use_season import FARTHEST_DAYS, Season, season_as_of, used_up_on
from checks.engine.use_season_fit import BOUNDS, fit_season, month_ends

NOW = dt.date(2025, 3, 31)
FLAT = (1000,) * 12
months = st.tuples(*[st.integers(*BOUNDS)] * 12)
left_over = st.integers(1, 100_000).map(lambda n: D(n) / 100)
rates = st.integers(1, 200_000).map(lambda n: D(n) / 10_000)


def test_a_busy_month_uses_hours_up_sooner() -> None:
    """Arithmetic: seen in months of 1.0 at 2 h a day, April at 1.5 uses 3 h a day: 90 h last its 30 days,
    where they would have lasted 45; the 3 h more of May, again at 1.0, last one whole day."""
    season = season_as_of((1000, 1000, 1000, 1500, *[1000] * 8), NOW, 90)
    assert season.recent == 90_000
    assert used_up_on(NOW, D(90), D(2), season) == dt.date(2025, 4, 30)
    assert used_up_on(NOW, D(93), D(2), season) == dt.date(2025, 5, 1)
    assert used_up_on(NOW, D(90), D(2)) == dt.date(2025, 5, 15)


def test_a_rate_seen_in_quiet_months_is_more_in_usual_ones() -> None:
    """Seen at half the mean of the year, 1 h a day stands for 2 h a day in a month at the mean."""
    season = season_as_of((500, 500, 500, *[1000] * 9), NOW, 90)
    assert used_up_on(NOW, D(20), D(1), season) == NOW + dt.timedelta(days=10)


@given(left_over, rates, st.integers(200, 3000))
def test_a_flat_season_changes_nothing(left: D, rate: D, level: int) -> None:
    season = season_as_of((level,) * 12, NOW, RECENT_DAYS)
    assert used_up_on(NOW, left, rate, season) == used_up_on(NOW, left, rate)


@given(months, left_over, left_over, rates)
def test_more_left_is_never_sooner(factors: tuple, left: D, more: D, rate: D) -> None:
    season = season_as_of(factors, NOW, RECENT_DAYS)
    sooner, later = (used_up_on(NOW, some, rate, season) for some in (left, left + more))
    assert sooner is None or later is None or sooner <= later
    if sooner is None:
        assert later is None


@given(months, left_over, rates)
def test_the_day_is_the_last_that_the_sum_of_days_allows(factors: tuple, left: D, rate: D) -> None:
    """Counted again day by day, in fractions."""
    season = season_as_of(factors, NOW, RECENT_DAYS)
    on, used, per_unit = NOW, D(0), rate * RECENT_DAYS / season.recent
    for _ in range(2000):
        nxt = on + dt.timedelta(days=1)
        used += factors[nxt.month - 1]
        if used * rate * RECENT_DAYS > left * season.recent:
            assert per_unit > 0 and used_up_on(NOW, left, rate, season) == on
            return
        on = nxt


def test_used_up_already_or_never() -> None:
    season = season_as_of(FLAT, NOW, RECENT_DAYS)
    assert used_up_on(NOW, D(0), None, season) == used_up_on(NOW, D(-4), D(2), season) == NOW
    assert used_up_on(NOW, D(4), None, season) is used_up_on(NOW, D(4), D(0), season) is None
    assert used_up_on(NOW, D(FARTHEST_DAYS), D(1), season) == NOW + dt.timedelta(days=FARTHEST_DAYS)
    assert used_up_on(NOW, D(FARTHEST_DAYS + 1), D(1), season) is None


@pytest.mark.parametrize("season", [((1000,) * 11, 1, 1), ((0,) + (1000,) * 11, 1, 1), (FLAT, 0, 1)])
def test_no_season_without_twelve_months_above_nothing(season: tuple) -> None:
    with pytest.raises(ValueError, match="twelve months"):
        Season(*season)


def lengths(years: int) -> np.ndarray:
    return np.tile([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31], years)


def totals_of(factors: np.ndarray, years: int, aircraft: int, scatter: float) -> np.ndarray:
    """Month-end totals of aircraft used differently, in months that scatter (seeded)."""
    rng = np.random.default_rng(11)
    rates = rng.uniform(1, 6, (aircraft, 1)) * np.tile(factors, years)
    rates *= rng.lognormal(0, scatter, rates.shape) if scatter else 1
    used = rates * lengths(years)
    return np.hstack([np.full((aircraft, 1), 5000.0), 5000 + used.cumsum(axis=1)])


TRUE = 1 + 0.3 * np.sin(np.arange(12) / 12 * 2 * np.pi)


def test_agrees_with_classical_decomposition() -> None:
    """The ratio to a centred moving mean of twelve months (2 × 12, the textbook's way; from memory), worked
    out by pandas on one aircraft's rates without scatter; ours on three such aircraft."""
    totals = totals_of(TRUE, 4, 3, 0)
    rate = np.diff(totals[0]) / lengths(4)
    series = pd.Series(rate)
    trend = series.rolling(12).mean().rolling(2).mean().shift(-6)
    ratio = (series / trend).groupby(series.index % 12).mean()
    theirs = (ratio / ratio.mean()).to_numpy()
    ours = fit_season(totals, lengths(4), 1)
    assert ours.kept > 0.999 and (ours.years, ours.aircraft) == (4, 3)
    assert np.abs(np.array(ours.months) / 1000 - theirs).max() < 0.01


def test_a_true_season_is_found_through_scatter_and_wild_aircraft() -> None:
    totals = totals_of(TRUE, 4, 30, 0.3)
    totals[0, 20:] += 90_000  # one mistyped total
    totals[1] = 5000.0  # one that stood
    totals[2, 7] = np.nan  # one with a month missing
    found = fit_season(totals, lengths(4), 1)
    assert np.abs(np.array(found.months) / 1000 - TRUE).max() < 0.1
    assert found.kept > 0.9 and found.aircraft == 29


def test_scatter_alone_is_mostly_taken_for_chance() -> None:
    totals = totals_of(np.ones(12), 3, 8, 0.4)
    found = fit_season(totals, lengths(3), 1)
    raw = np.diff(totals, axis=1) / lengths(3)
    seen = np.median(raw / raw.mean(axis=1, keepdims=True), axis=0).reshape(3, 12).mean(axis=0)
    assert found.kept < 0.5
    assert np.abs(np.array(found.months) / 1000 - 1).max() < np.abs(seen - 1).max()


def test_the_first_month_may_be_any() -> None:
    totals = totals_of(np.roll(TRUE, -4), 2, 4, 0)  # begins in May
    assert fit_season(totals, lengths(2), 5).months == pytest.approx(
        fit_season(totals_of(TRUE, 2, 4, 0), lengths(2), 1).months, abs=15
    )


@pytest.mark.parametrize(("years", "aircraft"), [(1, 9), (4, 2)])
def test_too_little_tells_no_season(years: int, aircraft: int) -> None:
    assert fit_season(totals_of(TRUE, years, aircraft, 0), lengths(years), 1) is None


def test_years_of_which_too_little_is_known_are_left_out() -> None:
    totals = totals_of(TRUE, 3, 3, 0)
    totals[0, 3] = np.nan
    assert fit_season(totals, lengths(3), 1).years == 2


def test_whole_years_are_asked_for() -> None:
    with pytest.raises(ValueError, match="whole years"):
        fit_season(np.zeros((3, 24)), lengths(2), 1)


def test_month_ends_lie_on_the_line_between_entries() -> None:
    """100 h on the 28th, 112 h four days later, month end two days on: 106; too far apart, nothing."""
    nan = np.nan
    first = np.array([[28.0, 32.0, 90.0]]), np.array([[100.0, 112.0, 150.0]])
    last = np.array([[28.0, 40.0, 90.0]]), np.array([[100.0, 120.0, 150.0]])
    assert month_ends(first, last, np.array([30, 60])).tolist()[0][0] == 106
    assert np.isnan(month_ends(first, last, np.array([30, 60]))[0, 1])
    empty = np.array([[28.0, nan, nan]]), np.array([[100.0, nan, nan]])
    assert np.isnan(month_ends(empty, empty, np.array([30, 60]))).all()


def test_a_fleet_of_nothing_has_no_season() -> None:
    assert fit_season(np.zeros((0, 25)), np.full(24, 30), 1) is None
    assert fit_season(np.zeros((3, 1)), np.zeros(0, dtype=int), 1) is None
