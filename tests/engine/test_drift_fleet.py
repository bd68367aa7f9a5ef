"""The whole method on simulated fleets, check by check, knowing at each no more than was known then.

Simulated truth, not field data: the figures say how the arithmetic does on its own assumptions. The seeds
were not used to choose the thresholds (101 to 106 were).
"""

import numpy as np
import pytest

from checks.engine.drift import fit_fleet, score
from checks.engine.drift_fit import widening
from checks.engine.drift_score import Thresholds
from checks.engine.simulate import STEP
from checks.engine.simulate_entry import EntryQuestions
from checks.engine.simulate_fleet import QUARTER, simulate_fleet
from checks.engine.simulate_rule import UPKEEP, alarms, judge, pooled, watch, what_would_have_been

SEEDS = (401, 402, 403)


@pytest.fixture(scope="module")
def watches():
    return [(fleet, watch(fleet)) for fleet in (simulate_fleet(seed) for seed in SEEDS)]


@pytest.fixture(scope="module")
def record(watches):
    return pooled(judge(f, w, alarms(f, w, Thresholds())) for f, w in watches)


def test_false_alarms_are_about_one_in_a_hundred_healthy_panel_years(record):
    assert record.healthy_years > 2500
    assert record.false_alarms < 1.0


def test_most_gradual_crossings_are_warned_of_one_check_ahead(record):
    assert record.crossings > 50
    assert record.share(record.ahead) >= 0.70
    assert record.before >= record.ahead


def test_crossing_dates_are_near_at_the_last_check(record):
    assert len(record.date_errors) > 40
    assert record.date_error <= 80


def test_eight_in_ten_true_crossings_lie_between_the_early_and_the_late_day(watches):
    held = []
    for fleet, w in watches:
        onset = np.array([life.drift.onset for life in fleet.lives])[w.life]
        crossing = np.array([life.crossing for life in fleet.lives])[w.life]
        gradual = np.array([life.drift.shape != STEP for life in fleet.lives])[w.life]
        rows = alarms(fleet, w, Thresholds()) & (w.count >= 3) & gradual
        rows &= (onset < w.day) & (w.day < crossing)
        held += ((w.early <= crossing) & (crossing <= w.late))[rows].tolist()
    assert len(held) > 100
    assert 0.65 < np.mean(held) < 0.92


def test_nine_in_ten_next_readings_fall_where_they_were_expected(watches):
    held = []
    for _, w in watches:
        came = np.isfinite(w.y_next) & (w.count >= 2)
        held += ((w.low <= w.y_next) & (w.y_next <= w.high))[came].tolist()
    assert len(held) > 5000
    assert 0.87 <= np.mean(held) <= 0.92


def test_what_is_watched_is_what_is_scored(watches):
    """One moment of one aircraft, scored by hand: the many at once say the same."""
    fleet, w = watches[0]
    day = float(np.unique(fleet.readings.day[fleet.readings.series < 8])[5])
    own = fleet.readings.series < 8
    fit = fit_fleet(fleet.readings, fleet.references, now=day // QUARTER * QUARTER, lives=fleet.starts)
    days = np.unique(fleet.readings.day[own])
    ahead = float(days[days > day][0]) - day
    told = score(
        fleet.readings.take(own), fleet.references, fit, day, ahead,
        over=fleet.over[own], lives=fleet.starts, charts=False,
    )  # fmt: skip
    rows = np.flatnonzero((w.day == day) & (fleet.series_of[w.life] < 8))
    by_series = {int(fleet.series_of[w.life[row]]): row for row in rows}
    for one in told:
        row = by_series[one.series]
        assert w.count[row] == one.n_in_life
        assert w.over[row] == (one.state == "over limit")
        assert w.p_drift[row] == pytest.approx(
            np.nan if one.p_drift is None else one.p_drift, abs=1e-6, nan_ok=True
        )


def test_a_rule_that_never_warns_and_one_that_always_does():
    never, always = (
        pooled(what_would_have_been(Thresholds(level, level), seeds=(404,), aircraft=4))
        for level in (1.1, -1.0)
    )
    assert (never.false, never.ahead, never.before, never.steps_warned) == (0, 0, 0, 0)
    assert never.healthy_years == always.healthy_years
    assert always.false > 100 * always.healthy_years / 1000
    assert always.crossings == never.crossings


def test_outliers_are_taken_again_where_readings_are_questioned():
    plain = simulate_fleet(405, aircraft=6, upkeep=UPKEEP)
    asked = simulate_fleet(405, aircraft=6, upkeep=UPKEEP, question=EntryQuestions())
    assert not plain.asked.any()
    assert 0.002 < asked.asked.mean() < 0.03
    assert asked.questioned and not plain.questioned


def test_widening_is_drawn_towards_one_when_forecasts_are_few():
    assert widening(np.array([])) == 1.0
    z = np.random.default_rng(1).normal(0, 2, 6000)
    assert widening(z) == pytest.approx(2.0, rel=0.05)
    assert 1.0 < widening(z[:30]) < 1.7
