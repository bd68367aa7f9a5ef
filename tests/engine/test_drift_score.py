"""Scores of series: states, what is known when, resets, and laws that hold whatever the numbers are."""

from dataclasses import fields

import numpy as np
import pytest

from checks.engine.drift import STATES, Lives, Readings, fit_fleet, score
from checks.engine.drift_score import Thresholds
from checks.engine.simulate_fleet import simulate_fleet
from tests.engine.drift_cases import LIMIT, NOMINAL, TABLE, joined, series_readings

REFERENCES = {0: TABLE}
RAMP = np.r_[[0.0] * 4, 0.06 * np.arange(1, 5)]  # 0.18 a year, at 0.24 on day 840


def one(levels, now=None, horizon=200.0, **more):
    readings = series_readings(levels, **{k: more.pop(k) for k in ("days", "temperature") if k in more})
    now = float(readings.day.max()) if now is None else now
    fit = fit_fleet(series_readings([]), REFERENCES)
    (found,) = score(readings, REFERENCES, fit, now, horizon, **more)
    return found


@pytest.fixture(scope="module")
def fleet():
    return simulate_fleet(301, aircraft=4, years=5)


@pytest.fixture(scope="module")
def fit(fleet):
    return fit_fleet(fleet.readings, fleet.references, lives=fleet.starts)


def same(a, b, skip=()):
    """Two scores agree in every field, charts included."""
    for field in fields(a):
        if field.name in skip:
            continue
        left, right = getattr(a, field.name), getattr(b, field.name)
        if field.name == "chart":
            if left is not None:
                same(left, right, skip)
        elif left is None or isinstance(left, str | bool):
            assert left == right, field.name
        else:
            assert left == pytest.approx(right, rel=1e-6, abs=1e-6), field.name


@pytest.mark.parametrize(
    ("levels", "state"),
    [
        ([0.0], "too few readings"),
        ([0.0, 0.0], "steady"),
        ([0.0] * 8, "steady"),
        (RAMP, "drifting"),
        (np.r_[[0.0] * 4, 0.09 * np.arange(1, 5)], "closing"),
        (np.r_[[0.0] * 4, [0.25] * 3], "drifting"),
        ([0.0, 0.0, 0.5], "over limit"),
    ],
)
def test_state(levels, state):
    assert one(levels).state == state
    assert state in STATES


def test_a_ramp_is_dated():
    found = one(RAMP)
    truth = 840 + (TABLE.lim - 0.24) / 0.06 * 120
    assert found.crossing_low < truth < found.crossing_high
    assert found.crossing_day == pytest.approx(truth, abs=80)
    assert found.slope_per_year == pytest.approx(0.06 / 120 * 365.25, rel=0.35)
    assert found.p_drift > 0.95


def test_one_reading_gives_margin_and_interval_only():
    found = one([0.1])
    assert found.p_drift is found.p_cross is found.slope_per_year is found.crossing_day is None
    assert found.margin_percent == pytest.approx(100 * (1 - NOMINAL * np.exp(0.1) / LIMIT))
    assert found.next_low < NOMINAL * np.exp(0.1) < found.next_high


def test_two_readings_give_a_probability_but_no_slope_and_no_date():
    found = one([0.0, 0.35])
    assert found.p_drift is not None
    assert found.slope_per_year is found.crossing_day is found.crossing_low is None


def test_a_steady_series_has_no_crossing_date():
    assert one([0.0] * 8).crossing_day is None


def test_levels_are_said_in_ln_and_as_a_reading_at_20_degrees():
    found = one([0.1] * 10, temperature=np.linspace(-5, 30, 10))
    assert found.limit_20 == pytest.approx(LIMIT)
    assert found.last_20 == pytest.approx(NOMINAL * np.exp(0.1))
    assert found.level_20 == pytest.approx(NOMINAL * np.exp(0.1), rel=0.02)
    assert found.level_20 == pytest.approx(found.limit_20 * np.exp(found.level_ln))


def test_the_events_own_outcome_decides_what_is_over():
    assert one([0.0, 0.0, 0.0], over=[False, False, True]).state == "over limit"
    assert one([0.0, 0.0, 0.5], over=[False, False, False]).state != "over limit"
    assert one([0.5, 0.0, 0.0], over=[True, False, False]).state != "over limit"
    with pytest.raises(ValueError, match="one flag for each"):
        one([0.0, 0.0], over=[True])


def test_over_is_judged_at_the_temperature_of_the_reading():
    assert one([0.39, 0.39, 0.39], temperature=0.0).state != "over limit"
    assert one([0.39, 0.39, 0.42], temperature=0.0).state == "over limit"


def test_a_purge_starts_anew_from_where_the_life_before_it_began():
    days = np.arange(3) * 120.0
    before = series_readings([0.1, 0.1, 0.1, 0.25, 0.38], life=1)
    after = series_readings([0.12, 0.11, 0.12], life=2, days=600 + days, check=10)
    readings = joined(before, after)
    fit = fit_fleet(series_readings([]), REFERENCES)
    (found,) = score(readings, REFERENCES, fit, 900.0)
    assert (found.state, found.n_in_life, found.life_start_day) == ("steady", 3, 600.0)
    assert found.chart.resets == pytest.approx([600.0])
    assert len(found.chart.day) == 8
    assert found.chart.band_day[0] == 600.0


def test_a_part_left_blocked_after_a_purge_shows_but_a_replaced_part_has_a_level_of_its_own():
    before = series_readings([0.0] * 4, life=1)
    after = series_readings([0.3, 0.3], life=2, days=np.array([500.0, 620.0]), check=10)
    readings, fit = joined(before, after), fit_fleet(series_readings([]), REFERENCES)
    purged = score(readings, REFERENCES, fit, 650.0, 120.0)[0]
    lives = Lives([2], [500.0], ("replacement",))
    replaced = score(readings, REFERENCES, fit, 650.0, 120.0, lives=lives)[0]
    assert purged.p_drift > replaced.p_drift


def test_lives_between_purges_that_shorten_are_told():
    starts = [0.0, 900.0, 1500.0, 1900.0]
    parts = [
        series_readings([0.0, 0.0], life=i, days=start + np.array([0.0, 120.0]), check=10 * i)
        for i, start in enumerate(starts)
    ]
    fit = fit_fleet(series_readings([]), REFERENCES)
    assert score(joined(*parts), REFERENCES, fit, 2100.0)[0].shortening
    renewed = Lives([2], [1500.0], ("replacement",))
    assert not score(joined(*parts), REFERENCES, fit, 2100.0, lives=renewed)[0].shortening


@pytest.mark.parametrize("now", [400.0, 901.0, 1500.0])
def test_nothing_later_than_now_is_looked_at(fleet, fit, now):
    past = fleet.readings.day <= now
    whole = score(fleet.readings, fleet.references, fit, now, 200.0, over=fleet.over, lives=fleet.starts)
    cut = score(
        fleet.readings.take(past),
        fleet.references,
        fit,
        now,
        200.0,
        over=fleet.over[past],
        lives=fleet.starts,
    )
    assert len(whole) == len(cut) > 0
    for a, b in zip(whole, cut, strict=True):
        same(a, b)


def every_answer(readings, fleet, days):
    """What was said on each of these days: fit and scores."""
    said = []
    for day in days:
        fit = fit_fleet(readings, fleet.references, now=day, lives=fleet.starts)
        told = score(readings, fleet.references, fit, day, 130.0, lives=fleet.starts)
        said.append((fit, told))
    return said


def test_every_past_answer_is_the_one_that_was_given_then():
    fleet = simulate_fleet(301, aircraft=3, years=3)
    days = np.unique(fleet.readings.day)
    for day, (fit, told) in zip(days, every_answer(fleet.readings, fleet, days), strict=True):
        past = fleet.readings.take(fleet.readings.day <= day)
        ((then_fit, then_told),) = every_answer(past, fleet, [day])
        assert then_fit == fit
        assert len(then_told) == len(told) > 0
        for a, b in zip(told, then_told, strict=True):
            same(a, b)


def test_a_later_reading_that_is_changed_changes_no_answer_but_an_earlier_one_does():
    fleet = simulate_fleet(301, aircraft=3, years=3)
    days = np.unique(fleet.readings.day)
    middle = days[len(days) // 2]

    def changed(rows):
        value = np.where(rows, fleet.readings.value * 1.3, fleet.readings.value)
        return Readings(**{**vars(fleet.readings), "value": value})

    ((_, plain),) = every_answer(fleet.readings, fleet, [middle])
    ((_, later),) = every_answer(changed(fleet.readings.day > middle), fleet, [middle])
    ((_, earlier),) = every_answer(changed(fleet.readings.day == middle), fleet, [middle])
    for a, b in zip(plain, later, strict=True):
        same(a, b)
    assert any(a.last_20 != b.last_20 for a, b in zip(plain, earlier, strict=True))


def test_readings_questioned_at_entry_warn_sooner():
    readings = series_readings([0.0, 0.0, 0.0, 0.01, 0.13])
    fit = fit_fleet(series_readings([]), REFERENCES)
    asked = [True] * 5
    low = Thresholds(2.0, 2.0, questioned_closing=2.0, questioned_drifting=0.01)

    def told(questioned):
        more = {"questioned": questioned, "thresholds": low, "charts": False}
        return score(readings, REFERENCES, fit, 480.0, **more)[0]

    assert told(asked).p_drift > told(None).p_drift
    assert told(asked).state == "drifting"
    assert told(None).state == told([True, True, True, True, False]).state == "steady"
    # Nothing can be expected of the first two of a life, so they are never questioned.
    assert told([False, False, True, True, True]).state == "drifting"


def test_row_order_does_not_matter(fleet, fit):
    order = np.random.default_rng(2).permutation(len(fleet.readings))
    plain = score(fleet.readings, fleet.references, fit, 1800.0, over=fleet.over)
    mixed = score(fleet.readings.take(order), fleet.references, fit, 1800.0, over=fleet.over[order])
    for a, b in zip(plain, mixed, strict=True):
        same(a, b)


def test_the_epoch_of_days_does_not_matter(fleet, fit):
    moved = Readings(**{**vars(fleet.readings), "day": fleet.readings.day + 20000.0})
    plain = score(fleet.readings, fleet.references, fit, 1800.0, charts=False)
    later = score(moved, fleet.references, fit, 21800.0, charts=False)
    days = (
        "crossing_day",
        "crossing_low",
        "crossing_high",
        "last_day",
        "life_start_day",
        "now",
        "horizon_day",
    )
    for a, b in zip(plain, later, strict=True):
        same(a, b, skip=days)
        assert b.life_start_day - a.life_start_day == 20000
        if a.crossing_day is not None:
            assert b.crossing_day - a.crossing_day == pytest.approx(20000, abs=1e-3)


def test_the_unit_of_pressure_does_not_matter():
    readings = series_readings(RAMP)
    psi = 6.894757  # kPa, NIST SP 811
    other = Readings(**{**vars(readings), "value": readings.value / psi})
    table = type(TABLE)((20.0,), (LIMIT / psi,), NOMINAL / psi)
    fit = fit_fleet(series_readings([]), REFERENCES)
    a, b = score(readings, REFERENCES, fit, 840.0)[0], score(other, {0: table}, fit, 840.0)[0]
    assert (a.state, a.p_drift, a.crossing_day) == pytest.approx((b.state, b.p_drift, b.crossing_day))
    assert a.next_mid == pytest.approx(b.next_mid * psi)


def test_a_series_is_scored_alike_alone_and_in_a_large_block(fleet, fit, monkeypatch):
    whole = score(fleet.readings, fleet.references, fit, 1800.0, charts=False)
    monkeypatch.setattr("checks.engine.drift_score.CELLS_PER_BLOCK", 1)
    single = score(fleet.readings, fleet.references, fit, 1800.0, charts=False)
    for a, b in zip(whole, single, strict=True):
        same(a, b)


def test_the_horizon_may_differ_by_series():
    readings = joined(series_readings([0.0] * 3), series_readings([0.0] * 3, life=5, series=9))
    fit = fit_fleet(readings, REFERENCES)
    by_name = score(readings, REFERENCES, fit, 300.0, {0: 100.0, 9: 300.0}, charts=False)
    in_order = score(readings, REFERENCES, fit, 300.0, [100.0, 300.0], charts=False)
    assert [s.horizon_day for s in by_name] == [s.horizon_day for s in in_order] == [400.0, 600.0]
    assert by_name[0].p_cross < by_name[1].p_cross


def test_readings_that_cannot_be_compensated_are_counted_not_guessed():
    readings = series_readings([0.0] * 5, temperature=np.array([20.0, 20, 20, 20, 20]))
    cold = Readings(**{**vars(readings), "temperature_c": np.array([20.0, -15, 20, 20, 20])})
    (found,) = score(cold, REFERENCES, fit_fleet(readings, REFERENCES), 900.0)
    assert (found.left_out, found.n_in_life) == (1, 4)


def test_without_readings_there_are_no_scores():
    nothing = series_readings([])
    assert score(nothing, REFERENCES, fit_fleet(nothing, REFERENCES), 0.0) == ()
    late = series_readings([0.0] * 3, days=np.array([100.0, 200, 300]))
    assert score(late, REFERENCES, fit_fleet(nothing, REFERENCES), 50.0) == ()


def whole_aircraft(drift_per_check):
    """Six aircraft of eight points; on aircraft 0 all points rise together."""
    rng = np.random.default_rng(7)
    parts = []
    for aircraft in range(6):
        shared = rng.normal(0, 0.02, 10) + (np.arange(10) * drift_per_check if aircraft == 0 else 0)
        for point in range(8):
            number = 8 * aircraft + point
            levels = shared + rng.normal(0, 0.02, 10)
            parts.append(series_readings(levels, life=number, series=number, check=100 * aircraft))
    return joined(*parts)


def test_points_that_rise_together_raise_a_notice_that_the_check_effect_would_hide():
    readings = whole_aircraft(0.025)
    fit = fit_fleet(readings, REFERENCES)
    found = score(readings, REFERENCES, fit, 1080.0, 200.0, charts=False)
    noticed = [s.series // 8 for s in found if s.whole_aircraft_notice or s.state in ("drifting", "closing")]
    assert noticed.count(0) == 8
    assert len(noticed) == 8
    calm = whole_aircraft(0.0)
    found = score(calm, REFERENCES, fit_fleet(calm, REFERENCES), 1080.0, 200.0, charts=False)
    assert not any(s.whole_aircraft_notice for s in found)


def test_a_misread_thermometer_is_not_taken_for_drift():
    rng = np.random.default_rng(8)
    parts = []
    for aircraft in range(6):
        shared = np.zeros(8)
        shared[-1] = 0.08 if aircraft == 0 else 0.0  # about two degrees at the last check
        for point in range(8):
            number = 8 * aircraft + point
            levels = shared + rng.normal(0, 0.02, 8)
            parts.append(series_readings(levels, life=number, series=number, check=100 * aircraft))
    readings = joined(*parts)
    found = score(readings, REFERENCES, fit_fleet(readings, REFERENCES), 840.0, 200.0, charts=False)
    assert all(s.state == "steady" for s in found)


def test_the_chart_holds_points_band_and_limit_in_natural_units():
    found = one(RAMP, temperature=5.0, horizon=300.0)
    chart = found.chart
    assert len(chart.day) == len(chart.as_read) == len(chart.at_20) == 8
    assert (chart.as_read > chart.at_20).all()  # thicker fluid reads higher
    assert chart.at_20 == pytest.approx(NOMINAL * np.exp(RAMP))
    assert chart.band_day[[0, -1]] == pytest.approx([0.0, 1140.0])
    assert ((chart.band_low < chart.band_mid) & (chart.band_mid < chart.band_high)).all()
    assert [chart.band_low[-1], chart.band_mid[-1], chart.band_high[-1]] == pytest.approx(
        [found.next_low, found.next_mid, found.next_high]
    )
    assert one(RAMP, charts=False).chart is None


def test_thresholds_are_settings():
    assert one(RAMP, thresholds=Thresholds(closing=0.0)).state == "closing"
    assert one(RAMP, thresholds=Thresholds(closing=1.1, drifting=1.1)).state == "steady"


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("value", [1.0, 0.0], "above zero"),
        ("day", [1.0], "one number for each"),
        ("day", [1.0, np.nan], "not finite"),
        ("resolution", [1.0, -1.0], "not below"),
        ("series", [0, 1], "two series"),
    ],
)
def test_readings_that_make_no_sense_are_refused(field, value, said):
    with pytest.raises(ValueError, match=said):
        Readings(**{**vars(series_readings([0.0, 0.0])), field: np.array(value)})


def test_lives_that_make_no_sense_are_refused():
    with pytest.raises(ValueError, match="begins with"):
        Lives([1], [0.0], ("cleaned",))
    with pytest.raises(ValueError, match="as many"):
        Lives([1, 2], [0.0], ("purge",))
