"""The simulated fleet does what its truth says."""

from dataclasses import replace

import numpy as np
import pytest

from checks.engine.drift import Reference
from checks.engine.simulate import (
    Drift,
    LifeTruth,
    Noise,
    SimulatedPoint,
    Upkeep,
    begin_life,
    draw_drift,
    fluid_temperature,
)
from checks.engine.simulate_aircraft import simulate_aircraft
from checks.engine.simulate_fleet import simulate_fleet
from tests.engine.drift_cases import NOMINAL, TABLE

SILENT = Noise(thermometer=0, repeat=0, gauge=0, outliers=0)
POINT = SimulatedPoint(TABLE, resolution=0.0)
DAYS = [100.0 * i for i in range(1, 21)]


def fly(drift, *, points=(POINT,), upkeep=None, noise=SILENT, days=DAYS, temperature=20.0, seed=1):
    first = [begin_life(0.0, "first", 0.0, drift, p.reference.lim) for p in points]
    rng = np.random.default_rng(seed)
    upkeep = upkeep or Upkeep(hazard=0)
    return simulate_aircraft(rng, points, first, days, [temperature] * len(days), noise=noise, upkeep=upkeep)


@pytest.mark.parametrize(
    ("drift", "room"),
    [
        (Drift(100.0, "linear", 0.2), 0.3),
        (Drift(-50.0, "exponential", 250.0), 0.4),
        (Drift(30.0, "step", 0.5), 0.4),
    ],
)
def test_the_crossing_day_is_where_the_curve_meets_the_room(drift, room):
    day = drift.reaches(room)
    assert drift.at(day - 0.01) < room <= drift.at(day + 0.01)


def test_what_never_crosses_says_so():
    assert np.isinf(Drift().reaches(0.1))
    assert np.isinf(Drift(10.0, "step", 0.2).reaches(0.3))
    assert Drift(10.0, "linear", 0.2).reaches(-0.1) == 10.0


@pytest.mark.parametrize(("shape", "size"), [("wave", 1.0), ("linear", 0.0), ("exponential", -5.0)])
def test_a_drift_that_makes_no_sense_is_refused(shape, size):
    with pytest.raises(ValueError, match="drift"):
        Drift(0.0, shape, size)


def test_without_noise_a_reading_is_the_true_level_at_its_temperature():
    readings, _ = fly(Drift(), temperature=0.0)
    # Published ratios of such fluids between 0 and 20 °C lie in 2.4 to 2.8.
    assert all(2.4 < r.value / NOMINAL < 2.8 for r in readings)
    flow = SimulatedPoint(Reference((20.0,), (150.0,), NOMINAL, viscosity_exponent=0.0), resolution=0.0)
    readings, _ = fly(Drift(), points=(flow,), temperature=0.0)
    assert [r.value for r in readings] == pytest.approx([NOMINAL] * len(DAYS))


def test_over_limit_is_purged_and_read_again_the_same_day():
    readings, lives = fly(Drift(0.0, "linear", 0.2))
    over = [r for r in readings if r.over]
    assert len(over) == 1
    again = readings[readings.index(over[0]) + 1]
    assert (again.day, again.attempt, again.over) == (over[0].day, 1, False)
    assert [truth.kind for _, truth in lives] == ["first", "purge"]
    assert over[0].day - 100 < lives[0][1].crossing <= over[0].day
    assert again.life == 1


def test_lives_shorten_when_a_drift_resumes_faster_and_the_part_is_replaced_in_the_end():
    upkeep = Upkeep(hazard=0, resumes=1.0, faster=1.6, purges=3)
    days = [30.0 * i for i in range(1, 120)]
    _, lives = fly(Drift(0.0, "linear", 0.3), upkeep=upkeep, days=days)
    starts = [truth.start for _, truth in lives]
    assert [truth.kind for _, truth in lives[:5]] == ["first", "purge", "purge", "purge", "replacement"]
    lengths = np.diff(starts[:5])
    assert (np.diff(lengths) < 0).all()


def test_every_attempt_reads_every_point_but_only_purged_points_begin_anew():
    rows, lives = fly(Drift(0.0, "linear", 0.2), points=(POINT, replace(POINT, reference=wide())))
    assert {(r.check, r.attempt) for r in rows if r.point == 0} == {
        (r.check, r.attempt) for r in rows if r.point == 1
    }
    assert [p for p, _ in lives] == [0, 1, 0]


def wide():
    """A limit far above anything that is read."""
    return Reference((20.0,), (9000.0,), NOMINAL)


def test_gauge_effect_and_rounding_show():
    rng = np.random.default_rng(1)
    first = [begin_life(0.0, "first", 0.0, Drift(), TABLE.lim)]
    point = SimulatedPoint(TABLE, resolution=5.0)
    readings, _ = simulate_aircraft(
        rng, [point], first, [1.0, 2.0], [20.0, 20.0], gauge_effects=[0.0, 0.1], noise=SILENT
    )
    assert [r.value for r in readings] == [100.0, 110.0]


def test_seasons_are_turned_round_in_the_south():
    rng = np.random.default_rng(2)
    january, july = np.full(4000, 15.0), np.full(4000, 196.0)
    north = [fluid_temperature(rng, day).mean() for day in (january, july)]
    south = [fluid_temperature(rng, day, southern=True).mean() for day in (january, july)]
    assert north[0] < 10 < 17 < north[1]
    assert south[1] < 10 < 17 < south[0]
    cold = fluid_temperature(rng, january, hangar=0.0)
    assert cold.mean() < north[0]
    assert cold.min() >= -9
    assert fluid_temperature(rng, july).max() <= 34


def test_onsets_come_at_the_hazard_and_in_the_stated_mix():
    rng = np.random.default_rng(3)
    drawn = [draw_drift(rng, 0.0, 0.405, Upkeep()) for _ in range(4000)]
    assert np.mean([d.onset for d in drawn]) == pytest.approx(365.25 / 0.06, rel=0.05)
    shares = [np.mean([d.shape == shape for d in drawn]) for shape in ("linear", "exponential", "step")]
    assert shares == pytest.approx([0.45, 0.30, 0.25], abs=0.03)
    assert np.isinf(draw_drift(rng, 0.0, 0.405, Upkeep(hazard=0)).onset)


def test_a_fleet_is_the_same_for_the_same_seed_only():
    a, b, c = (simulate_fleet(seed, aircraft=3, years=2) for seed in (5, 5, 6))
    assert (a.readings.value == b.readings.value).all()
    assert len(a.readings) != len(c.readings) or (a.readings.value != c.readings.value).any()


def test_a_fleets_truth_fits_its_readings():
    fleet = simulate_fleet(7, aircraft=6)
    readings = fleet.readings
    assert (fleet.series_of[readings.life] == readings.series).all()
    starts = np.array([truth.start for truth in fleet.lives])
    assert (readings.day >= starts[readings.life]).all()
    assert (fleet.starts.start_day == starts).all()
    limits = np.array(
        [fleet.references[int(g)].at(t) for g, t in zip(readings.group, readings.temperature_c, strict=True)]
    )
    assert (fleet.over == (readings.value > limits)).all()
    gaps = np.diff(np.unique(readings.day[readings.series == 0]))
    assert gaps.min() >= 59
    assert gaps.max() <= 201
    _, lives_of_check = np.unique(readings.check, return_counts=True)
    assert (lives_of_check == 8).all()


def test_truth_is_plain_data():
    assert begin_life(0.0, "first", 0.1, Drift(50.0, "linear", 0.1), 0.4) == LifeTruth(
        0.0, "first", 0.1, Drift(50.0, "linear", 0.1), pytest.approx(50 + 3 * 365.25)
    )
