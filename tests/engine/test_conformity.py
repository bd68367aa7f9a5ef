"""Comparison with limits and the uncertainty that marks what lies close."""

import math
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.engine.conformity import (
    BORDERLINE,
    OVER,
    UNDER,
    WITHIN,
    InstrumentAccuracy,
    collected_flow_uncertainty,
    combined,
    expanded_from,
    expanded_uncertainty,
    judge,
)
from checks.engine.limits import Limit
from checks.engine.units import to_canonical

UPPER = Limit(None, D(100), D(20), "row 20 °C")
LOWER = Limit(D(40), None, D(20), "row 20 °C")
BOTH = Limit(D(40), D(100), D(20), "row 20 °C")
GAUGE = InstrumentAccuracy("full_scale_percent", D(1), D(400), D(5))


def normal(z):
    return (1 + math.erf(z / math.sqrt(2))) / 2


@pytest.mark.parametrize(
    ("accuracy", "expected"),
    [
        # EURACHEM appendix E.1: limits 7..10, half-width 1.5, u = 0.87 (as quoted; 0.866025 computed).
        (InstrumentAccuracy("absolute", D("1.5")), 0.866025),
        # GUM F.2.2.1: resolution d gives 0.29 d (from memory); sqrt(1/12) = 0.288675 computed.
        (InstrumentAccuracy("absolute", D(0), resolution=D(1)), 0.288675),
        (InstrumentAccuracy("full_scale_percent", D("1.5"), D(100)), 0.866025),
        (InstrumentAccuracy("reading_percent", D("1.5")), 0.866025),
    ],
)
def test_standard_uncertainty(accuracy, expected):
    assert float(accuracy.standard_uncertainty(D(100))) == pytest.approx(expected, abs=5e-7)


def test_combination_of_a_published_example():
    # University of Tartu, GUM examples, weighing.smu: repeatability 0.00017, drift half-width 0.0002,
    # readability half-width 0.00005 -> u_c 0.000207525098883645.
    drift = InstrumentAccuracy("absolute", D("0.0002"), resolution=D("0.0001")).standard_uncertainty(D(50))
    assert float(combined(D("0.00017"), drift)) == pytest.approx(0.000207525098883645, rel=1e-12)


def test_kinds_of_accuracy_have_their_own_dependence():
    assert GAUGE.half_width(D(10)) == GAUGE.half_width(D(300)) == 4
    percent = InstrumentAccuracy("reading_percent", D(2))
    assert percent.half_width(D(50)) == percent.half_width(D(-50)) == 1


@pytest.mark.parametrize(
    "accuracy",
    [
        InstrumentAccuracy("full_scale_percent", D(1)),
        InstrumentAccuracy("guess", D(1)),
        InstrumentAccuracy("absolute", D(-1)),
        InstrumentAccuracy("absolute", D(1), resolution=D(-1)),
    ],
)
def test_papers_that_make_no_sense(accuracy):
    with pytest.raises(ValueError, match=r"needs the full scale|not known|negative"):
        accuracy.standard_uncertainty(D(1))


def test_expanded_uncertainty_by_hand():
    # u^2 = 4^2/3 + 5^2/12 = 7.416667; temperature: 3 kPa/°C * 0.5 °C = 1.5; U = 2 sqrt(7.416667 + 2.25).
    U = expanded_uncertainty(D(90), GAUGE, temperature_u=D("0.5"), limit_slope=D(3))
    assert float(U) == pytest.approx(6.218253, abs=1e-6)
    assert expanded_from(D(3), k=2) == 6


def test_u_is_rounded_up():
    assert expanded_from(D("0.00000001")) == D("0.000001")


def test_collected_flow_uncertainty_by_hand():
    # Vessel +/- 5 mL graduated 10 mL: u = sqrt(25/3 + 100/12) = 4.082483; 1 s in 60 of 180 mL = 3.
    vessel = InstrumentAccuracy("absolute", D(5), resolution=D(10))
    u = collected_flow_uncertainty(D(180), D(60), vessel)
    assert float(u) == pytest.approx(math.hypot(4.082483, 3), abs=1e-5)
    half = collected_flow_uncertainty(D(90), D(30), vessel)
    assert half > u  # half the time doubles the part of both
    with pytest.raises(ValueError, match="more than 0 s"):
        collected_flow_uncertainty(D(90), D(0), vessel)


@pytest.mark.parametrize(
    ("value", "limit", "U", "outcome", "margin"),
    [
        ("90", UPPER, "5", WITHIN, "10"),
        ("95", UPPER, "5", WITHIN, "5"),  # limit - U < value is strict
        ("95.000001", UPPER, "5", BORDERLINE, "4.999999"),
        ("100", UPPER, "5", BORDERLINE, "0"),
        ("100.000001", UPPER, "5", OVER, "-0.000001"),  # over is over, however large U is
        ("100.000001", UPPER, "500", OVER, "-0.000001"),
        ("100", UPPER, "0", WITHIN, "0"),
        ("50", LOWER, "5", WITHIN, "10"),
        ("45", LOWER, "5", WITHIN, "5"),
        ("44.9", LOWER, "5", BORDERLINE, "4.9"),
        ("40", LOWER, "5", BORDERLINE, "0"),
        ("39.9", LOWER, "5", UNDER, "-0.1"),
        ("41", BOTH, "5", BORDERLINE, "1"),
        ("99", BOTH, "5", BORDERLINE, "1"),
        ("70", BOTH, "5", WITHIN, "30"),
        ("101", BOTH, "5", OVER, "-1"),
        ("39", BOTH, "5", UNDER, "-1"),
    ],
)
def test_the_plain_comparison_decides(value, limit, U, outcome, margin):
    found = judge(D(value), limit, D(U))
    assert (found.outcome, found.margin) == (outcome, D(margin))


def test_a_reason_names_value_limit_temperature_and_margin():
    found = judge(D("97.5"), UPPER, D(5))
    assert (
        found.reason == "97.5 against upper limit 100 at 20 °C: inside by 2.5, closer than the uncertainty 5"
    )
    assert (found.limit, found.side) == (100, "upper")


def test_a_reason_speaks_in_the_unit_asked_for():
    limit = Limit(None, to_canonical(D(25), "[psi]"), D(20), "row 20 °C")
    found = judge(to_canonical(D("26.5"), "[psi]"), limit, D(5), unit="[psi]")
    assert found.reason == "26.5 psi against upper limit 25 psi at 20 °C: outside by 1.5 psi"
    close = judge(to_canonical(D("24.5"), "[psi]"), limit, to_canonical(D(1), "[psi]"), unit="[psi]")
    assert close.reason.endswith("inside by 0.5 psi, closer than the uncertainty 1 psi")


def test_refusals():
    with pytest.raises(ValueError, match="negative"):
        judge(D(1), UPPER, D(-1))
    with pytest.raises(ValueError, match="no limit"):
        judge(D(1), Limit(None, None, D(20), ""), D(1))


@pytest.mark.parametrize(
    ("share_of_u", "ceiling"),
    # Ceilings of the specific risk of false acceptance for a guard band of so many U, as quoted by others
    # from ILAC-G8:09/2019; they hold for U = 2 u.
    [(0.83, 0.05), (1.0, 0.025), (1.5, 0.0016)],
)
def test_guard_band_of_u_keeps_the_quoted_risk(share_of_u, ceiling):
    u = combined(D(3), D(4))
    assert u == 5
    U = expanded_from(u)
    value = D(100) - U * D(str(share_of_u))
    risk = 1 - normal((100 - float(value)) / float(u))
    assert risk < ceiling
    assert judge(value, UPPER, U).outcome == (WITHIN if share_of_u >= 1 else BORDERLINE)


NUMBERS = st.decimals(0, 200, places=3)


@given(NUMBERS, NUMBERS, NUMBERS)
def test_uncertainty_never_changes_inside_to_outside(value, U, bigger):
    plain, wide = judge(value, BOTH, U), judge(value, BOTH, U + bigger)
    assert (plain.margin >= 0) == (plain.outcome in (WITHIN, BORDERLINE))
    assert plain.margin == wide.margin
    if plain.outcome == BORDERLINE:
        assert wide.outcome == BORDERLINE


@given(NUMBERS, NUMBERS)
def test_lower_limits_mirror_upper_ones(value, U):
    up = judge(value, UPPER, U)
    down = judge(-value, Limit(D(-100), None, D(20), ""), U)
    mirrored = {OVER: UNDER}.get(up.outcome, up.outcome)
    assert (down.outcome, down.margin) == (mirrored, up.margin)


@given(NUMBERS, NUMBERS, NUMBERS)
def test_every_part_only_adds(amount, temperature_u, slope):
    accuracy = InstrumentAccuracy("absolute", amount, resolution=D(1))
    alone = expanded_uncertainty(D(50), accuracy)
    assert expanded_uncertainty(D(50), accuracy, temperature_u=temperature_u, limit_slope=slope) >= alone
