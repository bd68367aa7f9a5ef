"""Viscosity of the fluid by temperature, as ratios: how far a reading moves without anything being wrong.

Floats, because nothing here is compared with a limit. The default curve is of an 85 % glycol fluid and is
fit for ratios only; a site may put its own in its place. Published curves for such fluids give 2.4 to 2.8
for the ratio between 0 and 20 °C. Below -10 °C sources split and the curve refuses.

Beside it stands a formula for any strength, which tells what strength or temperature a reading would fit.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True)
class ViscosityCurve:
    """ln mu = a + b / (t + c), t in °C, held to serve from coldest to warmest."""

    a: float
    b: float
    c: float
    coldest: float
    warmest: float


DEFAULT_CURVE = ViscosityCurve(a=-7.0939, b=2284.3645, c=214.8617, coldest=-10.0, warmest=35.0)
USUAL_SHARE = 0.85  # glycol by mass in the fluid of the default curve
SHARES = (0.2, 0.9)  # where the formula was held against other sources; they differ beyond
SHARES_AT = (0.0, 40.0)  # °C


def viscosity(t: ArrayLike, curve: ViscosityCurve = DEFAULT_CURVE) -> NDArray[np.float64]:
    """Viscosity at fluid temperatures t (°C), same shape as t; only ratios of the default curve mean much.

    ValueError where any temperature is outside the curve's range or not a number.
    """
    celsius = np.asarray(t, dtype=np.float64)
    if not np.all((celsius >= curve.coldest) & (celsius <= curve.warmest)):
        raise ValueError(f"viscosity is known from {curve.coldest:g} to {curve.warmest:g} °C only")
    return np.exp(curve.a + curve.b / (celsius + curve.c))


def viscosity_ratio(
    t: ArrayLike, reference: float, curve: ViscosityCurve = DEFAULT_CURVE
) -> NDArray[np.float64]:
    """mu(t) / mu(reference): the factor by which a laminar pressure drop at constant flow changes."""
    return np.asarray(viscosity(t, curve) / viscosity(reference, curve))


def log_slope(t: float, curve: ViscosityCurve = DEFAULT_CURVE) -> float:
    """d ln mu / dt per °C at t, negative: at 20 °C one degree moves pressure by about 4 %."""
    viscosity(t, curve)  # refuses a temperature outside the range
    return -curve.b / (t + curve.c) ** 2


def flow_exponent(
    limit_1: float, t_1: float, limit_2: float, t_2: float, curve: ViscosityCurve = DEFAULT_CURVE
) -> float:
    """alpha of flow ~ mu^alpha from two rows of the operator's own limit table for a flow."""
    if t_1 == t_2 or limit_1 <= 0 or limit_2 <= 0:
        raise ValueError("two rows with different temperatures and limits above 0 are needed")
    return math.log(limit_1 / limit_2) / math.log(float(viscosity_ratio(t_1, t_2, curve)))


def mixture_viscosity(t: ArrayLike, share: ArrayLike) -> NDArray[np.float64]:
    """Viscosity (mPa·s) of ethylene glycol and water at t (°C), share: glycol by mass; arrays broadcast.

    Form and coefficients from memory of Sun and Teja, J. Chem. Eng. Data 48 (2003) 198, not seen in print;
    the tests hold them against CoolProp and a published table. ValueError outside SHARES and SHARES_AT.
    """
    celsius, w = np.asarray(t, dtype=np.float64), np.asarray(share, dtype=np.float64)
    for values, (low, high) in ((celsius, SHARES_AT), (w, SHARES)):
        if not np.all((values >= low) & (values <= high)):
            raise ValueError("the formula serves 20 to 90 % of glycol at 0 to 40 °C only")
    glycol = -3.61359 + 986.519 / (celsius + 127.861)
    water = -3.758023 + 590.9808 / (celsius + 137.2645)
    excess = w * (1 - w) * (-0.165301 - 0.287325 * w + 0.0110978 * w**2)
    return np.exp(w * glycol + (1 - w) * water + (glycol - water) * excess)


def share_as_viscous(ratio: float, t: float, usual: float = USUAL_SHARE) -> float | None:
    """The share of glycol whose viscosity at t (°C) is `ratio` times that of the usual share.

    None where the formula does not reach.
    """
    if not SHARES_AT[0] <= t <= SHARES_AT[1]:
        return None
    shares = np.linspace(*SHARES, 141)
    ln_mu = np.log(mixture_viscosity(t, shares))
    wanted = math.log(ratio * float(mixture_viscosity(t, usual)))
    return float(np.interp(wanted, ln_mu, shares)) if ln_mu[0] <= wanted <= ln_mu[-1] else None


def temperature_as_viscous(ratio: float, t: float, curve: ViscosityCurve = DEFAULT_CURVE) -> float | None:
    """The temperature (°C) at which the fluid is `ratio` times as viscous as at t; None outside the curve."""
    found = curve.b / (math.log(ratio * float(viscosity(t, curve))) - curve.a) - curve.c
    return found if curve.coldest <= found <= curve.warmest else None
