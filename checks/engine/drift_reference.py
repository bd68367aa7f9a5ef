"""Compensation for fluid temperature: a reading set against the group's frozen reference table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from checks.engine.drift_data import Floats, Readings
from checks.engine.fluid import DEFAULT_CURVE, viscosity_ratio

AT = 20.0


def ln_viscosity_ratio(temperature_c: ArrayLike) -> Floats:
    """ln of the fluid's viscosity relative to 20 °C; NaN where the curve does not reach (see fluid.py)."""
    t = np.asarray(temperature_c, dtype=float)
    inside = (t >= DEFAULT_CURVE.coldest) & (t <= DEFAULT_CURVE.warmest)
    return np.where(inside, np.log(viscosity_ratio(np.where(inside, t, AT), AT)), np.nan)


@dataclass(frozen=True)
class Reference:
    """Upper limit by fluid temperature for one variant-and-point group, frozen for trending.

    temperatures: °C, rising, at least one; values: the limit at each, canonical units, above zero
    nominal: what a clean point reads at 20 °C, canonical units
    viscosity_exponent: how readings follow viscosity outside the table: 1 for pressure; for a flow see
        fluid.flow_exponent, near 0. From 0.5 up the points of one check are held to share its thermometer
    kind: 'upper' is the only kind that drifts towards its limit by blockage; others raise ValueError.
    """

    temperatures: tuple[float, ...]
    values: tuple[float, ...]
    nominal: float
    viscosity_exponent: float = 1.0
    kind: str = "upper"

    def __post_init__(self) -> None:
        object.__setattr__(self, "temperatures", tuple(float(t) for t in self.temperatures))
        object.__setattr__(self, "values", tuple(float(v) for v in self.values))
        if self.kind != "upper":
            raise ValueError("drift is followed towards an upper limit only")
        if not self.temperatures or len(self.temperatures) != len(self.values):
            raise ValueError("a reference table needs at least one row: a temperature with its limit")
        if any(b <= a for a, b in pairwise(self.temperatures)):
            raise ValueError("the temperatures of a reference table must rise")
        if min(self.values) <= 0 or self.nominal <= 0:
            raise ValueError("limits and the nominal reading must be above zero")
        if not np.isfinite(self.at(AT)):
            raise ValueError("the reference table says nothing about 20 °C")

    def at(self, temperature_c: ArrayLike) -> Floats:
        """The limit at a temperature: log-linear between rows; beyond them the end row follows viscosity.

        NaN where neither the table nor the viscosity law (-10..35 °C) reaches.
        """
        t = np.asarray(temperature_c, dtype=float)
        low, high = self.temperatures[0], self.temperatures[-1]
        held = np.interp(t, self.temperatures, np.log(self.values))
        end = np.clip(t, low, high)
        beyond = self.viscosity_exponent * (ln_viscosity_ratio(t) - ln_viscosity_ratio(end))
        return np.exp(held + np.where(t == end, 0.0, beyond))

    @cached_property
    def limit_20(self) -> float:
        """The limit at 20 °C, canonical units."""
        return float(self.at(AT))

    @cached_property
    def lim(self) -> float:
        """The limit at 20 °C as ln above nominal."""
        return float(np.log(self.limit_20 / self.nominal))


def compensate(readings: Readings, references: Mapping[int, Reference]) -> tuple[Floats, Floats]:
    """x = ln(value) - ln(limit at the temperature) + lim for each reading, and its rounding variance.

    x is ln above nominal at 20 °C before the fleet's own correction; NaN where nothing can compensate.
    Raises KeyError naming a group without reference.
    """
    x = np.full(len(readings), np.nan)
    for group in np.unique(readings.group):
        if int(group) not in references:
            raise KeyError(f"group {group} has no reference table")
        rows = readings.group == group
        reference = references[int(group)]
        x[rows] = np.log(readings.value[rows] / reference.at(readings.temperature_c[rows])) + reference.lim
    return x, readings.resolution**2 / (12 * readings.value**2)
