"""The ranking: gate, likelihood, words; small bounded simulation as a guard (the full table is a bench)."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import multivariate_normal

from checks.engine.diagnosis import FLOW, PRESSURE, diagnose, observe
from checks.engine.diagnosis_assumptions import DEFAULT
from checks.engine.diagnosis_causes import CAUSES, GROUP_OF, GROUPS, Fault, predict, with_panels
from checks.engine.diagnosis_data import (
    NO_FIT,
    RANKED,
    WITHIN_SCATTER,
    YES,
    Baseline,
    Diagnosis,
    Taken,
    Uncertainties,
    baseline_of,
)
from checks.engine.fluid import DEFAULT_CURVE, flow_exponent, viscosity_ratio
from checks.engine.simulate_faults import Outfit, simulate_faults

USUAL = Taken(20.0, pressure=90.0, flow=160.0, minutes=3.0, ports=(20.0,) * 8)
SURE = Uncertainties(pressure=0.5, port=0.1, flow=2.0, temperature=0.3)
PANELS = 8


def ranked(check: Taken, usual: Taken = USUAL, **more) -> Diagnosis:
    return diagnose(check, baseline_of([usual]), SURE, panels=PANELS, **more)


def showing(fault: Fault, usual: Taken = USUAL, temperature: float = 20.0) -> Taken:
    """What a fault shows, without scatter."""
    shows = predict([fault], float(viscosity_ratio(temperature, 20.0)), with_panels(DEFAULT, PANELS))
    ports = tuple(p * math.exp(x) for p, x in zip(usual.ports, shows.ln_ports[0], strict=bool(usual.ports)))
    return Taken(
        temperature=temperature,
        pressure=usual.pressure * math.exp(shows.ln_pressure[0]),
        flow=usual.flow * math.exp(shows.ln_flow[0]),
        minutes=usual.minutes * math.exp(shows.ln_minutes[0]),
        ports=ports,
    )


PLAIN = [
    Fault("panel_blocked", 0.8, 3),
    Fault("all_fouled", 0.8),
    Fault("panel_line", 0.8, 6),
    Fault("coupling_leak", 0.65, 1),
    Fault("main_leak", 0.65),
    Fault("nozzle_leak", 0.65),
    Fault("nozzle_blocked", 0.65),
    Fault("air", 1.7),
    Fault("viscosity", 1.7),
]


@pytest.mark.parametrize("fault", PLAIN, ids=lambda f: f.cause)
@pytest.mark.parametrize("temperature", [4.0, 20.0, 29.0])
def test_a_plain_fault_is_found_with_its_panel(fault: Fault, temperature: float) -> None:
    found = ranked(showing(fault, temperature=temperature))
    assert found.verdict == RANKED
    assert (found.causes[0].cause, found.causes[0].panel) == (fault.cause, fault.panel)
    assert found.groups[0][0] == GROUP_OF[fault.cause]


@pytest.mark.parametrize("cause", ["pump_low", "main_leak", "filter_clogged"])
def test_the_supply_is_found_as_a_group(cause: str) -> None:
    found = ranked(showing(Fault(cause, 0.8)))
    assert found.groups[0][0] == "supply"
    assert found.groups[0][1] > 0.9


@pytest.mark.parametrize("temperature", [-5.0, 4.0, 20.0, 33.0])
def test_the_same_system_in_other_weather_is_within_its_scatter(temperature: float) -> None:
    found = ranked(showing(Fault("healthy"), temperature=temperature))
    assert found.verdict == WITHIN_SCATTER
    assert found.ratios.pressure == pytest.approx(1, abs=0.05)


def test_shares_are_a_probability() -> None:
    found = ranked(showing(PLAIN[0]))
    assert sum(one.share for one in found.causes) == pytest.approx(1)
    assert sum(share for _, share in found.groups) == pytest.approx(1)
    assert [one.share for one in found.causes] == sorted((c.share for c in found.causes), reverse=True)
    assert {cause for of in GROUPS.values() for cause in of} == set(CAUSES)


def test_likelihood_is_that_of_a_normal_distribution() -> None:
    """scipy.stats on the same means and covariance: shares of the causes of one size each."""
    one_size = replace(
        DEFAULT, sizes=replace(DEFAULT.sizes, severities=(0.5,), air_ln=(1.2,), viscosity=(1.4,))
    )
    check = Taken(12.0, pressure=150.0, flow=150.0, minutes=4.0)
    usual = replace(USUAL, ports=())
    baseline = baseline_of([usual])
    found = diagnose(check, baseline, SURE, panels=1, assumptions=one_size)
    seen = observe(check, baseline, SURE, 1, 0.0, DEFAULT_CURVE, with_panels(one_size, 1))
    used = seen.used
    faults = [
        Fault(c, {"healthy": 0.0, "air": 1.2, "viscosity": 1.4}.get(c, 0.5), 0 if "panel" in c else None)
        if c != "coupling_leak"
        else Fault(c, 0.5, 0)
        for c in CAUSES
    ]
    shows = predict(faults, seen.viscosity, with_panels(one_size, 1))
    lm = math.log(seen.viscosity)
    means = np.column_stack([shows.ln_pressure - lm, shows.ln_flow, shows.ln_minutes])
    density = []
    for fault, mean in zip(faults, means, strict=True):
        covariance = seen.covariance[np.ix_(used, used)].copy()
        if fault.cause == "air":
            covariance += np.diag([0.08**2, 0.08**2, 0])
        density.append(multivariate_normal(mean, covariance).pdf(seen.ln[used]))
    expected = dict(zip(CAUSES, np.array(density) / sum(density), strict=True))
    assert {one.cause: one.share for one in found.causes} == pytest.approx(expected, rel=1e-9)


def test_scatter_of_the_nine_cells() -> None:
    """With a fine gauge, 5 mL steps and 1 °C the bands are about 15 % and 8 %; with a coarse gauge and 10 mL
    steps about 20 % and 10 %. The flow is 100 mL/min; the gauge's class is 1 % of a full scale of 7 times the
    pressure. Figures of our own specification, two standard deviations each."""
    usual = Taken(20.0, pressure=90.0, flow=100.0)

    def bands(pressure_u: float, step: float) -> tuple[float, float]:
        u = Uncertainties(
            pressure=pressure_u, flow=float(np.hypot(step / np.sqrt(12), 100 / 60)), temperature=1.0
        )
        found = diagnose(usual, baseline_of([usual]), u, panels=8)
        return found.pressure_band, found.flow_band

    fine, coarse = bands(0.5, 5.0), bands(90 * 7 * 0.01 / math.sqrt(3), 10.0)
    assert fine == pytest.approx((0.15, 0.08), abs=0.02)
    assert coarse == pytest.approx((0.20, 0.10), abs=0.02)


def test_more_checks_make_a_surer_baseline() -> None:
    a = with_panels(DEFAULT, 8)
    seen = [observe(USUAL, Baseline(USUAL, n, (n,) * 12), SURE, 8, 0.0, DEFAULT_CURVE, a) for n in (1, 4)]
    variances = [np.diag(one.covariance)[one.used] for one in seen]
    assert (variances[1] <= variances[0]).all()
    assert variances[1][PRESSURE] < variances[0][PRESSURE]


def test_panel_is_named_only_where_its_port_was_read() -> None:
    fault = Fault("panel_blocked", 0.92, 3)
    shown = showing(fault)
    others = tuple(None if i == 3 else port for i, port in enumerate(shown.ports))
    for ports in ((), others):
        found = ranked(replace(shown, ports=ports))
        assert 3 not in {one.panel for one in found.causes}
    assert ranked(shown).causes[0].panel == 3


def test_a_single_blocked_panel_hides_without_ports() -> None:
    hidden = ranked(replace(showing(Fault("panel_blocked", 0.92, 3)), ports=()))
    assert hidden.verdict == WITHIN_SCATTER
    assert (hidden.pressure, hidden.flow, hidden.ports_read) == ("normal", "normal", 0)


def test_readings_that_nothing_explains() -> None:
    """Pressure tripled, flow halved, two ports opposite: no single fault of the model does that."""
    ports = (60.0, 5.0, *[20.0] * 6)
    found = ranked(replace(USUAL, pressure=270.0, flow=80.0, ports=ports))
    assert found.verdict == NO_FIT


def test_what_was_confirmed_before_weighs_by_its_logarithm() -> None:
    """ln(1 + n) added in ln: three confirmed findings make a cause four times as weighty."""
    check = showing(Fault("pump_low", 0.5))
    plain = {one.cause: one.share for one in ranked(check).causes}
    after = {one.cause: one.share for one in ranked(check, confirmed={"filter_clogged": 3}).causes}
    before_odds = plain["filter_clogged"] / plain["pump_low"]
    assert after["filter_clogged"] / after["pump_low"] == pytest.approx(4 * before_odds)


def test_fluid_seen_where_it_should_not_be_speaks_for_a_leak() -> None:
    check = showing(Fault("main_leak", 0.5))
    shares = {
        wet: {one.cause: one.share for one in ranked(replace(check, wet=wet)).causes}
        for wet in ("yes", "no", "not looked")
    }
    odds = {wet: of["main_leak"] / of["pump_low"] for wet, of in shares.items()}
    assert odds["yes"] / odds["not looked"] == pytest.approx(0.8 / 0.05)
    assert odds["no"] / odds["not looked"] == pytest.approx(0.2 / 0.95)


def test_flow_follows_the_operators_own_table() -> None:
    """218 at 35 °C and 198 at -10 °C (invented rows): a flow that moves so is nothing."""
    alpha = flow_exponent(198.0, -10.0, 218.0, 35.0)
    cold = 160 * float(viscosity_ratio(2.0, 20.0)) ** alpha
    check = replace(showing(Fault("healthy"), temperature=2.0), flow=cold)
    found = ranked(check, flow_exponent=alpha)
    assert found.ratios.flow == pytest.approx(1)
    assert found.verdict == WITHIN_SCATTER


@pytest.mark.parametrize("missing", ["pressure", "flow", "minutes"])
def test_a_reading_may_be_missing(missing: str) -> None:
    found = ranked(replace(showing(PLAIN[1]), **{missing: None}))
    assert getattr(found.ratios, missing) is None
    assert np.isfinite([found.distance, found.gate, found.best, found.pressure_band, found.flow_band]).all()


def test_quiet_ports_do_not_hide_what_pressure_and_flow_show() -> None:
    """Fluid 1.5 times as thick moves every pressure alike: eleven readings dilute it, three do not."""
    coarse = Uncertainties(pressure=3.5, port_shared=0.9, port=0.2, flow=3.0, temperature=1.0)
    check = showing(Fault("viscosity", 1.32))
    found = diagnose(check, baseline_of([USUAL]), coarse, panels=8)
    assert (found.verdict, found.readings) == (RANKED, 3)


def test_baseline_is_the_mean_at_one_temperature() -> None:
    checks = [
        Taken(t, pressure=90 * float(viscosity_ratio(t, 20.0)), flow=160.0, ports=(20.0, None))
        for t in (5.0, 15.0, 31.0)
    ]
    found = baseline_of(checks)
    assert found.checks == 3
    assert found.mean.temperature == pytest.approx(17)
    assert found.mean.pressure == pytest.approx(90 * float(viscosity_ratio(17.0, 20.0)))
    assert found.mean.flow == pytest.approx(160)
    assert found.mean.ports[1] is None
    assert found.mean.minutes is None


def test_baseline_leaves_out_what_a_check_lacks() -> None:
    found = baseline_of([Taken(20, pressure=80.0), Taken(20, flow=150.0)])
    assert (found.mean.pressure, found.mean.flow) == pytest.approx((80, 150))
    assert (found.checks, found.counts) == (2, (1, 1, 0, 0))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: baseline_of([]), "one accepted check"),
        (lambda: baseline_of([Taken(20, ports=(1.0,)), Taken(20)]), "same panel ports"),
        (lambda: Taken(20, pressure=0.0), "above zero"),
        (lambda: Taken(20, wet="maybe"), "yes, no or not looked"),
        (lambda: ranked(Taken(20)), "no reading"),
        (lambda: ranked(Taken(20, pressure=90.0, ports=(1.0,))), "8 panels need 8 ports"),
        (lambda: ranked(Taken(50, pressure=90.0)), "from -10 to 35"),
        (lambda: Fault("rust"), "not a cause"),
        (lambda: Fault("panel_blocked", 0.5), "names it"),
        (lambda: Fault("air", 0.5, 2), "names it"),
    ],
)
def test_what_cannot_be_ranked_is_refused_in_words(call, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()


@given(st.integers(0, 5000))
def test_any_simulated_check_gives_a_whole_answer(seed: int) -> None:
    case = next(iter(simulate_faults(seed, 1, causes=(CAUSES[1 + seed % 11],))))
    found = diagnose(case.check, baseline_of(case.before), Outfit().uncertainties, panels=8)
    assert sum(one.share for one in found.causes) == pytest.approx(1)
    assert (found.distance > found.gate) == (found.verdict != WITHIN_SCATTER)


def test_simulated_faults_come_again_with_their_seed() -> None:
    first, again, other = (list(simulate_faults(seed, 12)) for seed in (5, 5, 6))
    assert first == again
    assert first != other
    assert [case.fault.cause for case in first] == [*CAUSES[1:], CAUSES[1]]
    assert any(case.check.wet == YES for case in first)


def test_guard_of_the_ranking() -> None:
    """330 faults and 120 healthy checks of seeds kept for this test: far enough under the bars of the bench
    not to fail by chance, near enough to fail if the ranking breaks."""
    outfit = Outfit()
    flagged = first = group = 0
    for case in simulate_faults(901, 330, outfit=outfit):
        found = diagnose(case.check, baseline_of(case.before), outfit.uncertainties, panels=8)
        if found.verdict == WITHIN_SCATTER:
            continue
        flagged += 1
        first += found.causes[0].cause == case.fault.cause
        group += found.groups[0][0] == GROUP_OF[case.fault.cause]
    assert flagged / 330 > 0.8
    assert first / flagged > 0.78
    assert group / flagged > 0.9
    healthy = simulate_faults(902, 120, causes=("healthy",), outfit=outfit)
    alarms = sum(
        diagnose(c.check, baseline_of(c.before), outfit.uncertainties, panels=8).verdict != WITHIN_SCATTER
        for c in healthy
    )
    assert alarms / 120 < 0.15


def test_flow_row_is_where_the_covariance_says() -> None:
    a = with_panels(DEFAULT, 8)
    seen = observe(USUAL, baseline_of([USUAL]), SURE, 8, 0.0, DEFAULT_CURVE, a)
    assert seen.covariance[FLOW, FLOW] == pytest.approx(0.025**2 + 2 * (2 / 160) ** 2)
    assert seen.covariance[PRESSURE, FLOW] == 0
