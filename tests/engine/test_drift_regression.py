"""The fleet regression against certified values, a dense least-squares solution and simulated truth."""

import json
from pathlib import Path

import numpy as np
import pytest

from checks.engine.drift import FleetFit, FleetPrior, Readings, fit_fleet
from checks.engine.drift_regression import Design, demeaned_ridge, group_median, mad_sd
from checks.engine.simulate import Noise, Upkeep
from checks.engine.simulate_fleet import simulate_fleet
from tests.engine.drift_cases import TABLE, joined, series_readings

REFERENCE = Path(__file__).parent.parent / "reference"


def one_life(x, *columns):
    """A design of one life with as many columns as given (the third, a gauge, is empty)."""
    n = len(x)
    values = np.stack([*columns, *[np.zeros(n)] * (3 - len(columns))], axis=1)
    return Design(x, values, np.tile([0, 1, 2], (n, 1)), np.zeros(n, dtype=int), np.array([n]), 3)


@pytest.mark.parametrize(
    ("name", "scale", "powers", "certified", "rel"),
    [
        # NIST StRD: Norris B1 (read at source); Pontius B1, B2 (certified values read in a secondary copy).
        ("norris", 1.0, (1,), (1.00211681802045,), 1e-9),
        ("pontius", 1e6, (1, 2), (0.732059160401003e-06, -0.316081871345029e-14), 1e-9),
    ],
)
def test_slopes_of_one_life_are_those_certified_by_nist(name, scale, powers, certified, rel):
    y, x = np.loadtxt(REFERENCE / f"nist_strd_{name}.csv", delimiter=",", skiprows=2, unpack=True)
    x = x / scale
    design = one_life(y, *(x**power for power in powers))
    beta, _ = demeaned_ridge(design, np.ones(len(x)), np.array([0.0, float(len(powers) < 2), 1.0]))
    found = [beta[i] / scale**power for i, power in enumerate(powers)]
    assert found == pytest.approx(certified, rel=rel)


def test_normal_equations_equal_dense_least_squares_with_a_column_for_every_life():
    rng = np.random.default_rng(3)
    n, lives = 400, 60
    life = np.sort(rng.integers(0, lives, n))
    _, life, size = np.unique(life, return_inverse=True, return_counts=True)
    columns = np.stack([rng.integers(0, 2, n), 2 + rng.integers(0, 2, n), 4 + rng.integers(0, 3, n)], axis=1)
    design = Design(rng.normal(size=n), rng.normal(size=(n, 3)), columns, life, size, 7)
    weights = rng.uniform(0.2, 1, n)
    dense = np.zeros((n, 7))
    np.put_along_axis(dense, columns, design.values, axis=1)
    full = np.hstack([dense, np.eye(len(size))[life]]) * np.sqrt(weights)[:, None]
    expected = np.linalg.lstsq(full, design.x * np.sqrt(weights), rcond=None)[0][:7]
    assert demeaned_ridge(design, weights, np.zeros(7))[0] == pytest.approx(expected, abs=1e-9)


def test_group_median_is_numpys():
    rng = np.random.default_rng(5)
    codes, values = rng.integers(0, 30, 200), rng.normal(size=200)
    expected = [np.median(values[codes == c]) if (codes == c).any() else np.nan for c in range(32)]
    assert group_median(values, codes, 32) == pytest.approx(expected, nan_ok=True)


def test_mad_of_normal_quantiles_is_their_sd():
    from scipy.stats import norm

    assert mad_sd(norm.ppf((np.arange(9999) + 0.5) / 9999, 3, 2)) == pytest.approx(2, rel=1e-3)


@pytest.mark.parametrize(("aircraft", "within"), [(10, 0.05), (24, 0.05)])
def test_temperature_coefficient_is_found(aircraft, within):
    # Truth: the viscosity law's slope at 20 °C plus the group's own bias, both known to the simulator.
    for seed in (201, 202, 203):
        fleet = simulate_fleet(seed, aircraft=aircraft)
        fit = fit_fleet(fleet.readings, fleet.references, lives=fleet.starts)
        law = 10 * 2284.3645 / (20 + 214.8617) ** 2
        off = [abs(fit.groups[g].b1 - p.bias_per_10k) / law for g, p in enumerate(fleet.points)]
        assert np.mean(off) < within


def test_noise_is_split_between_check_and_repeat():
    quiet = Upkeep(hazard=0)
    fleet = simulate_fleet(204, noise=Noise(thermometer=0.5, repeat=0.03, outliers=0), upkeep=quiet)
    fit = fit_fleet(fleet.readings, fleet.references)
    # Half a degree moves a pressure by about 2 % (log_slope of fluid.py is 4.1 % a degree at 20 °C).
    assert fit.s_check == pytest.approx(0.021, abs=0.005)
    assert fit.s_rep == pytest.approx(0.03, abs=0.004)


def test_gauges_are_ranked_and_centred_on_use():
    parts = []
    for aircraft in range(12):
        swap = np.array([0.02, -0.02] * 4)
        part = series_readings(0.1 + swap, life=aircraft, series=aircraft, check=100 * aircraft)
        parts.append(
            Readings(*[*list(vars(part).values())[:6], np.array([1, 2] * 4), part.group, part.resolution])
        )
    fit = fit_fleet(joined(*parts), {0: TABLE})
    assert fit.gauges[1] == pytest.approx(0.02, rel=0.2)
    assert fit.gauges[1] + fit.gauges[2] == pytest.approx(0, abs=1e-12)
    assert fit.groups[0].baseline_mean == pytest.approx(0.1, abs=0.003)


def test_outliers_hardly_move_the_fit():
    fleet = simulate_fleet(205, aircraft=10, noise=Noise(outliers=0))
    clean = fit_fleet(fleet.readings, fleet.references)
    values = fleet.readings.value.copy()
    values[:: len(values) // 12] *= 2
    dirty = Readings(
        *[*list(vars(fleet.readings).values())[:5], values, *list(vars(fleet.readings).values())[6:]]
    )
    fit = fit_fleet(dirty, fleet.references)
    assert all(abs(fit.groups[g].b1 - clean.groups[g].b1) < 0.01 for g in clean.groups)
    assert fit.s == pytest.approx(clean.s, rel=0.1)


def test_without_readings_the_prior_stands():
    nothing = series_readings([])
    fit = fit_fleet(nothing, {0: TABLE})
    prior = FleetPrior()
    assert (fit.s, fit.s_check, fit.readings, fit.widening) == (prior.s, prior.s_check, 0, 1.0)
    assert fit.groups[0].baseline_sd == prior.baseline_sd


def test_a_fit_survives_json():
    fleet = simulate_fleet(206, aircraft=3, years=3)
    fit = fit_fleet(fleet.readings, fleet.references)
    assert FleetFit.from_dict(json.loads(json.dumps(fit.as_dict()))) == fit


def test_a_fit_knows_nothing_later_than_now():
    fleet = simulate_fleet(207, aircraft=4)
    early = fleet.readings.take(fleet.readings.day <= 900)
    assert fit_fleet(fleet.readings, fleet.references, now=900.0) == fit_fleet(early, fleet.references)


def test_row_order_does_not_matter():
    fleet = simulate_fleet(208, aircraft=4)
    shuffled = fleet.readings.take(np.random.default_rng(1).permutation(len(fleet.readings)))
    a, b = (fit_fleet(r, fleet.references) for r in (fleet.readings, shuffled))
    assert [*a.gauges.values(), a.s, a.s_rep, a.widening] == pytest.approx(
        [*b.gauges.values(), b.s, b.s_rep, b.widening], rel=1e-6
    )
