"""The bank of hypotheses: priors, arithmetic against a plain second reckoning, and what it recognises."""

import numpy as np
import pytest
from scipy.stats import norm

from checks.engine import drift_bank, drift_forecast
from checks.engine.drift_bank import Block, Posterior, onsets_needed, rise, weigh
from checks.engine.drift_forecast import Forecast, forecast
from tests.reference.tables import rows

LIM = 0.405


def block(y, *, t=None, first=True, sd=0.15, mean=0.0, noise=0.03, lim=LIM):
    y = np.atleast_2d(np.asarray(y, dtype=float))
    lives, n = y.shape
    t = np.tile(np.arange(n) * 120.0, (lives, 1)) if t is None else np.atleast_2d(np.asarray(t, dtype=float))
    return Block(
        t=t,
        y=y,
        v=np.full(y.shape, noise**2),
        used=np.ones(y.shape, dtype=bool),
        mean=np.full(lives, mean),
        sd=np.full(lives, sd),
        lim=np.full(lives, lim),
        first=np.full(lives, first),
    )


def test_a_usual_life_is_weighed_by_129_hypotheses_and_a_long_one_by_more():
    assert weigh(block([0.0])).weight.shape == (1, 129)
    assert onsets_needed(1600) == 16
    assert onsets_needed(6000) > 6000 / 120


@pytest.mark.parametrize("first", [True, False])
def test_priors_sum_to_one_and_follow_the_hazard(first):
    prior = np.exp(drift_bank._ln_prior(16, np.array([first]))[0])
    assert prior.sum() == pytest.approx(1, rel=1e-9)
    begun = prior[8:-1].reshape(15, 8).sum(axis=1)
    assert begun[0] == pytest.approx((0.97 if first else 1) * (1 - np.exp(-0.06 * 120 / 365.25)), rel=1e-6)
    assert prior[:8].sum() == pytest.approx(0.03 if first else 0, abs=1e-9)


def test_shapes_rise_as_they_are_named():
    t = np.array([[0.0, 365.25, 730.5]])
    onset = np.full(9, 365.25)
    added = rise(onset, np.arange(9), t)[0]
    assert (added[:, 0] == 0).all()
    assert added[:3, 2] == pytest.approx([0.08, 0.2, 0.5])
    assert added[3:5, 2] == pytest.approx(0.03 * np.expm1(365.25 / np.array([200, 400])))
    assert (added[5:8, 1] == [0.15, 0.3, 0.6]).all()
    assert (added[8] == 0).all()


def test_weights_agree_with_a_plain_reckoning_hypothesis_by_hypothesis():
    y, t = np.array([0.02, -0.01, 0.05, 0.16, 0.2]), np.arange(5) * 130.0
    posterior = weigh(block(y, t=t))
    scores = []
    for h in range(129):
        onset, shape = posterior.onset[0, h], posterior.shape[0, h]
        rest = y - rise(np.array([onset]), np.array([shape]), t[None])[0, 0]
        weight = np.full(5, 1 / 0.03**2)
        for again in range(3):
            precision = weight.sum() + 1 / 0.15**2
            base = (weight * rest).sum() / precision
            if again < 2:
                weight = np.minimum(1, 2 / np.maximum(np.abs(rest - base) / 0.03, 1e-9)) / 0.03**2
        off = rest - base
        near, far = norm.pdf(off, 0, 0.03), norm.pdf(off, 0, np.hypot(0.03, 0.25))
        scores.append(
            np.log(0.99 * near + 0.01 * far).sum() - base**2 / (2 * 0.15**2) - np.log(precision) / 2
        )
    scores = np.array(scores) + drift_bank._ln_prior(16, np.array([True]))[0]
    expected = np.exp(scores - scores.max())
    assert posterior.weight[0] == pytest.approx(expected / expected.sum(), abs=1e-6)


def test_padding_changes_nothing():
    plain = block([0.0, 0.02, 0.11, 0.2])
    padded = Block(
        **{
            **{name: getattr(plain, name) for name in ("mean", "sd", "lim", "first")},
            "t": np.pad(plain.t, ((0, 0), (0, 3))),
            "y": np.pad(plain.y, ((0, 0), (0, 3)), constant_values=9.0),
            "v": np.pad(plain.v, ((0, 0), (0, 3)), constant_values=1.0),
            "used": np.pad(plain.used, ((0, 0), (0, 3))),
        }
    )
    assert weigh(padded).weight == pytest.approx(weigh(plain).weight, abs=1e-12)
    a, b = (forecast(one, weigh(one)) for one in (plain, padded))
    assert b.base == pytest.approx(a.base, abs=1e-12)


@pytest.mark.parametrize(
    ("levels", "drifts"),
    [
        ([0.0] * 8, False),
        (np.r_[[0.0] * 4, 0.07 * np.arange(1, 5)], True),
        (np.r_[[0.0] * 4, [0.3] * 4], True),
        ([0.0, 0.01, 0.25, 0.0, -0.01, 0.01, 0.0, 0.0], False),  # one outlier is no step
    ],
)
def test_a_ramp_and_a_step_are_drift_an_outlier_is_not(levels, drifts):
    begun = float(weigh(block(levels)).begun(np.array([840.0]))[0])
    assert begun > 0.95 if drifts else begun < 0.3


def made(**changes):
    """A forecast of one certain hypothesis: a ramp of 0.2 a year from day 100 on, baseline 0.1, no spread."""
    fields = {
        "onset": [[100.0]], "shape": [[1]], "weight": [[1.0]], "base": [[0.1]], "stretch": [[0.0]],
        "base_var": [[1e-8]], "stretch_var": [[0.0]], "covariance": [[0.0]], "scale": [1.0], "lim": [LIM],
    } | changes  # fmt: skip
    return Forecast(**{name: np.array(value) for name, value in fields.items()})


def test_a_certain_ramp_crosses_where_a_straight_line_does():
    day = 100 + (LIM - 0.1) / 0.2 * 365.25
    assert made().crossing(np.array([200.0]), (0.1, 0.5, 0.9))[0] == pytest.approx([day] * 3, abs=1)
    assert made().level(np.array([day])) == pytest.approx([LIM], abs=1e-9)
    assert made().slope(np.array([day])) == pytest.approx([0.2])
    assert made().over(np.array([day + 20]))[0] > 0.99 > 0.01 > made().over(np.array([day - 20]))[0]


@pytest.mark.parametrize(("shape", "size"), [(3, 200.0), (4, 400.0)])
def test_a_certain_exponential_crosses_where_its_level_meets_the_limit(shape, size):
    one = made(shape=[[shape]])
    day = one.crossing(np.array([150.0]), (0.5,))[0]
    assert one.level(day) == pytest.approx([LIM], abs=1e-3)
    slope = (one.level(day + 1) - one.level(day - 1)) / 2 * 365.25
    assert one.slope(day) == pytest.approx(slope, rel=1e-3)


def test_a_step_crosses_at_once_or_never():
    assert made(shape=[[7]]).crossing(np.array([150.0]), (0.5,))[0, 0] == 150
    assert np.isinf(made(shape=[[5]]).crossing(np.array([150.0]), (0.5,)))[0, 0]
    assert np.isinf(made(onset=[[np.inf]], shape=[[8]]).crossing(np.array([150.0]), (0.5,)))[0, 0]


def test_quantiles_of_one_normal_are_the_tabulated_ones():
    # JCGM 106 Table 1 prints z = 1.64 for 0.95 (quoted from memory; 1.644854 computed).
    low, high = made(base_var=[[0.0]]).expected(np.array([[0.0]]), np.array([0.04]), (0.05, 0.95))[:, 0, 0]
    assert (high - 0.1) / 0.2 == pytest.approx(1.644854, abs=1e-3)
    assert (low - 0.1) / 0.2 == pytest.approx(-1.644854, abs=1e-3)
    wide = made(base_var=[[0.0]]).expected(np.array([[0.0]]), np.array([0.04]), (0.95,), 2.0)[0, 0, 0]
    assert (wide - 0.1) / 0.2 == pytest.approx(2 * 1.644854, abs=2e-3)


def test_standing_is_the_distance_in_standard_deviations():
    z = made(base_var=[[0.0]]).standing(np.array([0.0]), np.array([0.5]), np.array([0.04]))
    assert z == pytest.approx([2.0], abs=1e-3)


def test_base_and_stretch_are_those_of_ridge_least_squares():
    y = np.r_[[0.0] * 4, 0.16 * np.arange(1, 5)] + 0.005 * np.array([1, -1, 1, -1, -1, 1, -1, 1])
    one = block(y)
    found = forecast(one, weigh(one), kept=1)
    added = rise(found.onset, found.shape, one.t)[0, 0]
    rows = np.vstack([np.stack([np.ones(8), added], axis=1) / 0.03, np.diag([1 / 0.15, 1 / 0.3])])
    right = np.r_[(y - added) / 0.03, 0, 0]
    expected = np.linalg.lstsq(rows, right, rcond=None)[0]
    assert [found.base[0, 0], found.stretch[0, 0]] == pytest.approx(expected, abs=1e-9)
    covariance = np.linalg.inv(rows.T @ rows)
    assert found.covariance[0, 0] == pytest.approx(covariance[0, 1], rel=1e-9)
    assert found.stretch_var[0, 0] == pytest.approx(covariance[1, 1], rel=1e-9)


def test_a_certain_ramp_without_priors_predicts_and_inverts_as_the_handbook_does(monkeypatch):
    # NIST/SEMATECH e-Handbook 4.5.1: fit, sd of the fit and of one new reading at 25, 45 and 65 degrees
    # (handbook quoted from memory, computed alike in our reference list); where the line meets 178: computed.
    monkeypatch.setattr("checks.engine.drift_forecast.STRETCH_SD", 1e9)
    monkeypatch.setattr("checks.engine.drift_forecast.HUBER", 1e9)
    table = rows("nist_model_4_4_4_pressure_temperature.csv")
    t = np.array([float(row["temperature"]) for row in table])
    y = np.array([float(row["pressure"]) for row in table])
    one = block(y, t=t, sd=1e9, noise=4.299099, lim=178.0)
    ramp = Posterior(np.zeros((1, 1)), np.zeros((1, 1), dtype=int), np.ones((1, 1)), np.zeros((1, 1)))
    found = forecast(one, ramp, kept=1)
    for at, fit, of_fit, of_new in (
        (25.0, 106.0025, 1.1976162, 4.462795),
        (45.0, 184.6053, 0.6803245, 4.352596),
        (65.0, 263.2081, 1.2441620, 4.475510),
    ):
        level, variance = (part[0, 0, 0] for part in found._levels(np.array([[at]])))
        assert level == pytest.approx(fit, abs=5e-5)
        assert np.sqrt(variance) == pytest.approx(of_fit, rel=1e-6)
        assert np.sqrt(variance + 4.299099**2) == pytest.approx(of_new, rel=1e-6)
        low, high = found.expected(np.array([[at]]), np.array([4.299099**2]), (0.05, 0.95))[:, 0, 0]
        assert (high - low) / 2 == pytest.approx(1.644854 * of_new, rel=1e-4)
    assert found.crossing(np.array([0.0]), (0.5,))[0, 0] == pytest.approx(43.31932, abs=5e-4)


def test_quantiles_of_mixtures_leave_the_share_below_that_was_asked():
    rng = np.random.default_rng(4)
    weight = rng.dirichlet(np.ones(6), 50)
    centre, sd = rng.normal(0, 0.3, (50, 6, 1)), rng.uniform(0.02, 0.2, (50, 6, 1))
    for q in (0.05, 0.5, 0.95):
        found = drift_forecast._quantile(weight[..., None], centre, sd, q)
        below = (weight * norm.cdf((found - centre[..., 0]) / sd[..., 0])).sum(axis=1)
        assert below == pytest.approx(np.full(50, q), abs=1e-5)
