"""From the forecast of a series to what its next reading should be at any fluid temperature."""

from decimal import Decimal

import numpy as np

from checks.engine.drift_data import GroupFit
from checks.engine.drift_fit import NORMAL_90
from checks.engine.drift_reference import AT, Reference
from checks.engine.drift_regression import FOLLOWS_FLUID
from checks.engine.entry import Expected
from checks.engine.fluid import DEFAULT_CURVE

#: °C between two rows; by the steepest of fluids a straight line between them is off by 0.2 %
APART = 2.5
_GRID = Decimal("0.000001")


def expected_rows(
    band: tuple[float, float, float], reference: Reference, group: GroupFit, sds: float
) -> tuple[Expected, ...]:
    """What to expect at each temperature that the fluid's curve reaches, canonical units.

    band: 5, 50 and 95 % of a reading at 20 °C; sds: how many standard deviations are plausible, each side by
    its own half of the band, so that a forecast that may rise leaves more room above.
    """
    low, middle, high = np.log(np.asarray(band, dtype=float))
    below, above = ((middle - low) / NORMAL_90 * sds, (high - middle) / NORMAL_90 * sds)
    degrees = np.arange(DEFAULT_CURVE.coldest, DEFAULT_CURVE.warmest + APART / 2, APART)
    warmth = (degrees - AT) / 10
    law = np.log(reference.at(degrees) / reference.limit_20) + group.b1 * warmth + group.b2 * warmth**2
    levels = middle + law
    return tuple(
        Expected(Decimal(repr(float(t))), *(_canonical(ln) for ln in (level - below, level, level + above)))
        for t, level in zip(degrees, levels, strict=True)
        if np.isfinite(level)
    )


def follows_fluid(reference: Reference) -> bool:
    """Whether readings of the group move with the fluid's viscosity, and so with a misread thermometer."""
    return reference.viscosity_exponent > FOLLOWS_FLUID


def _canonical(ln: float) -> Decimal:
    return Decimal(repr(float(np.exp(ln)))).quantize(_GRID)
