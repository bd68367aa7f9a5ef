"""Compensation for fluid temperature: a reading set against the group's frozen reference table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from checks.engine.drift_data import Floats, Readings

# ln mPa·s of 85 % glycol fluid against °C; only ratios are used. Assumption of ours, -10..35 °C only.
VISCOSITY = (-7.0939, 2284.3645, 214.8617)
VISCOSITY_RANGE = (-10.0, 35.0)
AT = 20.0


def ln_viscosity_ratio(temperature_c: ArrayLike) -> Floats:
    """ln of the fluid's viscosity relative to 20 °C; NaN outside -10..35 °C, where it is not known."""
    t = np.asarray(temperature_c, dtype=float)
    a, b, c = VISCOSITY
    inside = (t >= VISCOSITY_RANGE[0]) & (t <= VISCOSITY_RANGE[1])
    return np.where(inside, a + b / (t + c), np.nan) - (a + b / (AT + c))


@dataclass(frozen=True)
class Reference:
    """Upper limit by fluid temperature for one variant-and-point group, frozen for trending.

    temperatures: °C, rising, at least one; values: the limit at each, canonical units, above zero
    nominal: what a clean point reads at 20 °C, canonical units
    viscosity_exponent: how far readings follow viscosity outside the table: 1 for pressure, about 0 for flow
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
        if any(b <= a for a, b in zip(self.temperatures, self.temperatures[1:], strict=False)):
            raise ValueError("the temperatures of a reference table must rise")
        if min(self.values) <= 0 or self.nominal <= 0:
            raise ValueError("limits and the nominal reading must be above zero")
        if not np.isfinite(self.at(AT)):
            raise ValueError("the reference table says nothing about 20 °C")

    def at(self, temperature_c: ArrayLike) -> Floats:
        """The limit at a fluid temperature: log-linear between rows; beyond them the end row follows viscosity.

        NaN where neither the table nor the viscosity law (-10..35 °C) reaches.
        """
        t = np.asarray(temperature_c, dtype=float)
        low, high = self.temperatures[0], self.temperatures[-1]
        held = np.interp(t, self.temperatures, np.log(self.values))
        end = np.clip(t, low, high)
        beyond = self.viscosity_exponent * (ln_viscosity_ratio(t) - ln_viscosity_ratio(end))
        return np.exp(held + np.where(t == end, 0.0, beyond))

    @property
    def limit_20(self) -> float:
        """The limit at 20 °C, canonical units."""
        return float(self.at(AT))

    @property
    def lim(self) -> float:
        """The limit at 20 °C as ln above nominal."""
        return float(np.log(self.limit_20 / self.nominal))


def table_exponent(first: tuple[float, float], second: tuple[float, float]) -> float:
    """Viscosity exponent that two rows (°C, limit) of an operator's table imply: 1 for laminar pressure."""
    change = float(ln_viscosity_ratio(first[0]) - ln_viscosity_ratio(second[0]))
    if not np.isfinite(change) or change == 0:
        raise ValueError("two different temperatures between -10 and 35 °C are needed")
    return float(np.log(first[1] / second[1])) / change


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
