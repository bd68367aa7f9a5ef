"""Viscosity of the fluid by temperature, as ratios: how far a reading moves without anything being wrong.

Floats, because nothing here is compared with a limit. The default curve is of an 85 % glycol fluid and is
fit for ratios only; a site may put its own in its place. Published curves for such fluids give 2.4 to 2.8
for the ratio between 0 and 20 °C. Below -10 °C sources split and the curve refuses.
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
