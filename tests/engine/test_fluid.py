"""Viscosity ratios of the default curve and of any mixture against published tables and CoolProp."""

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from checks.engine.fluid import (
    DEFAULT_CURVE,
    ViscosityCurve,
    flow_exponent,
    log_slope,
    mixture_viscosity,
    share_as_viscous,
    temperature_as_viscous,
    viscosity,
    viscosity_ratio,
)
from tests.reference.tables import rows

PUBLISHED = {
    (int(r["vol_percent"]), int(r["celsius"])): float(r["mpas"]) for r in rows("glycol_viscosity.csv")
}


@pytest.mark.parametrize("celsius", [-10, 0, 10, 30])
def test_ratio_to_20_degrees_near_a_published_fluid_of_80_percent(celsius):
    # The curve is of 85 %, a little steeper than 80 vol %.
    published = PUBLISHED[80, celsius] / PUBLISHED[80, 20]
    assert float(viscosity_ratio(celsius, 20)) == pytest.approx(published, rel=0.04)


def test_ratio_between_0_and_20_lies_between_published_fluids():
    thinner, thicker = (PUBLISHED[c, 0] / PUBLISHED[c, 20] for c in (80, 90))
    assert thinner < float(viscosity_ratio(0, 20)) < thicker


def test_own_fit_of_a_published_table_keeps_within_half_a_percent():
    # Fit of the 80 vol % table for 0..40 °C in kelvin: A -5.1351, B 1396.21, C 105.566.
    site = ViscosityCurve(-5.1351, 1396.21, 273.15 - 105.566, 0.0, 40.0)
    for celsius in (0, 10, 20, 30, 40):
        assert float(viscosity(celsius, site)) == pytest.approx(PUBLISHED[80, celsius], rel=0.005)


@pytest.mark.parametrize("celsius", [-10.1, 35.1, float("nan"), float("inf")])
def test_outside_its_range_the_curve_refuses(celsius):
    for ask in (viscosity, log_slope, lambda t: viscosity_ratio(20, t)):
        with pytest.raises(ValueError, match="from -10 to 35 °C only"):
            ask(celsius)
    with pytest.raises(ValueError, match="from -10 to 35"):
        viscosity([10, celsius])


def test_arrays_keep_their_shape():
    t = np.array([[-10.0, 0.0], [20.0, 35.0]])
    found = viscosity_ratio(t, 20)
    assert found.shape == t.shape
    assert found[1, 0] == pytest.approx(1)


IN_RANGE = st.floats(DEFAULT_CURVE.coldest, DEFAULT_CURVE.warmest)


@given(IN_RANGE, IN_RANGE, IN_RANGE)
def test_ratios_chain_and_fall_with_temperature(a, b, c):
    ratio = float(viscosity_ratio(a, b))
    assert ratio * float(viscosity_ratio(b, c)) == pytest.approx(float(viscosity_ratio(a, c)), rel=1e-12)
    assert (ratio >= 1) == (a <= b) or ratio == pytest.approx(1)


@given(st.floats(-9, 34))
def test_slope_is_the_derivative(t):
    step = 1e-4
    numeric = (np.log(viscosity(t + step)) - np.log(viscosity(t - step))) / (2 * step)
    assert log_slope(t) == pytest.approx(float(numeric), rel=1e-5)


def test_flow_exponent():
    ratio = float(viscosity_ratio(0, 20))
    assert flow_exponent(100 * ratio**-0.2, 0, 100, 20) == pytest.approx(-0.2)
    assert flow_exponent(100, 0, 100, 20) == 0
    for arguments in ((100, 20, 90, 20), (0, 0, 100, 20)):
        with pytest.raises(ValueError, match="two rows"):
            flow_exponent(*arguments)


# --- any mixture ----------------------------------------------------------------------------------


@pytest.mark.parametrize("share", [0.2, 0.3, 0.4, 0.5, 0.6])
@pytest.mark.parametrize("celsius", [0, 10, 20, 30, 40])
def test_mixture_against_coolprop_as_far_as_that_goes(share, celsius):
    # CoolProp's INCOMP::MEG is known to 60 % by mass and refuses more. Seen: 3.1 % apart at most.
    theirs = 1e3 * PropsSI("V", "T", 273.15 + celsius, "P", 101325, f"INCOMP::MEG[{share}]")
    assert float(mixture_viscosity(celsius, share)) == pytest.approx(theirs, rel=0.032)


def test_coolprop_itself_refuses_what_is_stronger():
    with pytest.raises(ValueError, match=r"not between 0 and 0\.6"):
        PropsSI("V", "T", 293.15, "P", 101325, "INCOMP::MEG[0.65]")


@pytest.mark.parametrize(("volume", "mass", "within"), [(80, 0.81, 0.02), (90, 0.90, 0.105)])
@pytest.mark.parametrize("celsius", [0, 20, 40])
def test_mixture_against_the_published_table(volume, mass, within, celsius):
    # Inhibited fluid, volume percent turned into mass by our reference list. Above 80 % the table is thinner.
    assert float(mixture_viscosity(celsius, mass)) == pytest.approx(PUBLISHED[volume, celsius], rel=within)


@pytest.mark.parametrize("celsius", [0, 10, 30])
def test_the_default_curve_is_the_mixture_of_its_share(celsius):
    formula = float(mixture_viscosity(celsius, 0.85) / mixture_viscosity(20, 0.85))
    assert float(viscosity_ratio(celsius, 20)) == pytest.approx(formula, rel=0.04)


@pytest.mark.parametrize(("t", "share"), [(-1, 0.5), (41, 0.5), (20, 0.19), (20, 0.91), (20, float("nan"))])
def test_the_mixture_refuses_where_nothing_was_compared(t, share):
    with pytest.raises(ValueError, match="20 to 90 % of glycol at 0 to 40 °C"):
        mixture_viscosity(t, share)


@given(st.floats(0, 40), st.floats(0.21, 0.89))
def test_a_share_is_found_again(t, share):
    ratio = float(mixture_viscosity(t, share) / mixture_viscosity(t, 0.85))
    assert share_as_viscous(ratio, t) == pytest.approx(share, abs=1e-4)


@given(IN_RANGE, IN_RANGE)
def test_a_temperature_is_found_again(t, other):
    # A hair inside the range: rounding may carry the ends of it across.
    t, other = 0.999 * t, 0.999 * other
    assert temperature_as_viscous(float(viscosity_ratio(other, t)), t) == pytest.approx(other, abs=1e-6)


def test_beyond_what_is_known_neither_is_said():
    assert share_as_viscous(1.7, 20) is None and share_as_viscous(0.05, 20) is None
    assert share_as_viscous(0.9, -5) is None
    assert temperature_as_viscous(6.0, 0) is None and temperature_as_viscous(0.2, 20) is None
