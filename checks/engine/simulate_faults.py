"""Seeded faults whose truth is known: a baseline check and a check with one fault, as instruments show them.

The network is the one that the ranking uses, so figures from here are upper bounds. Severities are drawn
between the ones that the ranking tries. Canonical units: kPa, mL/min, °C.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from checks.engine.diagnosis_assumptions import DEFAULT, Assumptions
from checks.engine.diagnosis_causes import (
    AIR,
    CAUSES,
    HEALTHY,
    LEAKS,
    OF_ONE_PANEL,
    VISCOSITY,
    Fault,
    predict,
    with_panels,
)
from checks.engine.diagnosis_data import NO, YES, Taken, Uncertainties
from checks.engine.fluid import viscosity_ratio
from checks.engine.simulate import YEAR, fluid_temperature

MINUTES = 3.0  # a clean system settles in about so many


@dataclass(frozen=True)
class Outfit:
    """What the simulated checks are read with, and what a clean system reads at 20 °C.

    gauge, port_gauge: (full scale, class in % of it, graduation), kPa; beaker: graduation, mL
    clock: sd of stopping it, s; thermometer: sd, °C; nominal values in kPa and mL/min.
    """

    gauge: tuple[float, float, float] = (600.0, 1.0, 2.0)
    port_gauge: tuple[float, float, float] = (160.0, 1.0, 0.5)
    beaker: float = 5.0
    clock: float = 1.0
    thermometer: float = 1.0
    pressure: float = 90.0
    port: float = 20.0
    flow: float = 160.0

    @property
    def uncertainties(self) -> Uncertainties:
        """The standard uncertainties that its papers give."""
        return Uncertainties(
            pressure=float(np.hypot(_class(self.gauge), _graduation(self.gauge))),
            port_shared=_class(self.port_gauge),
            port=_graduation(self.port_gauge),
            flow=float(np.hypot(self.beaker / np.sqrt(12), self.flow * self.clock / 60)),
            temperature=self.thermometer,
        )


@dataclass(frozen=True)
class FaultCase:
    """A fault with the checks before and after it; both carry every reading, the callers drop some."""

    fault: Fault
    before: tuple[Taken, ...]
    check: Taken


def draw_fault(
    rng: np.random.Generator, cause: str, panels: int, assumptions: Assumptions = DEFAULT
) -> Fault:
    """A fault of this cause; its size lies anywhere between the least and the greatest that is tried."""
    sizes = assumptions.sizes
    if cause == HEALTHY:
        return Fault(HEALTHY)
    if cause == AIR:
        return Fault(AIR, float(rng.uniform(min(sizes.air_ln), max(sizes.air_ln))))
    if cause == VISCOSITY:
        thin = [v for v in sizes.viscosity if v < 1]
        thick = [v for v in sizes.viscosity if v > 1]
        side = thin if rng.random() < 0.5 else thick
        return Fault(VISCOSITY, float(np.exp(rng.uniform(np.log(min(side)), np.log(max(side))))))
    panel = int(rng.integers(panels)) if cause in OF_ONE_PANEL else None
    return Fault(cause, float(rng.uniform(*sizes.simulated)), panel)


def simulate_faults(
    seed: int,
    count: int,
    *,
    causes: tuple[str, ...] = CAUSES[1:],
    panels: int = 8,
    baseline_checks: int = 1,
    outfit: Outfit | None = None,
    assumptions: Assumptions = DEFAULT,
) -> Iterator[FaultCase]:
    """`count` cases, the causes in turn, each on an own aircraft; a seed gives the same cases again."""
    rng = np.random.default_rng(seed)
    outfit, assumptions = outfit or Outfit(), with_panels(assumptions, panels)
    for number in range(count):
        fault = draw_fault(rng, causes[number % len(causes)], panels, assumptions)
        level = np.exp(rng.normal(0, 0.1, 2 + panels))  # every aircraft has its own
        before = tuple(
            simulate_check(rng, Fault(HEALTHY), level, outfit, assumptions, baseline_checks)
            for _ in range(baseline_checks)
        )
        yield FaultCase(fault, before, simulate_check(rng, fault, level, outfit, assumptions))


def simulate_check(
    rng: np.random.Generator,
    fault: Fault,
    level: np.ndarray,
    outfit: Outfit,
    assumptions: Assumptions,
    shared_by: int = 0,
) -> Taken:
    """One check as read. level: factors of this aircraft on pressure, flow and ports, (2 + P,).

    shared_by: of a baseline, its checks: the scatter that the ranking states for check and baseline together
    is put on the check alone, except where it names the baseline's own share (draw-down, instruments).
    """
    scatter, panels = assumptions.scatter, assumptions.network.panels
    day = rng.uniform(0, YEAR)
    temperature = float(np.clip(fluid_temperature(rng, day), 0.0, 30.0))
    shows = predict([fault], float(viscosity_ratio(temperature, 20.0)), assumptions)
    own = 0.0 if shared_by else 1.0
    stirred = scatter.air if fault.cause == AIR else 0.0
    shaken = rng.normal(0, stirred, 2 + panels)
    pressures = own * rng.normal(0, scatter.pressures)
    pressure = outfit.pressure * level[0] * np.exp(shows.ln_pressure[0] + pressures + shaken[0])
    flow = outfit.flow * level[1] * np.exp(shows.ln_flow[0] + own * rng.normal(0, scatter.flow) + shaken[1])
    each = own * rng.normal(0, scatter.port, panels) + shaken[2:] + pressures
    ports = outfit.port * level[2:] * np.exp(shows.ln_ports[0] + each)
    minutes = MINUTES * np.exp(shows.ln_minutes[0] + own * rng.normal(0, scatter.minutes))
    drawdown = np.exp(shows.ln_delivered[0] + rng.normal(0, scatter.drawdown))
    seen = rng.random() < (
        assumptions.ranking.wet_if_leak if fault.cause in LEAKS else assumptions.ranking.wet_if_none
    )
    collected = flow * (60 + rng.normal(0, outfit.clock)) / 60
    error = _gauge_error(rng, outfit.port_gauge)
    return Taken(
        temperature=float(np.clip(temperature + rng.normal(0, outfit.thermometer), -10, 35)),
        pressure=_graduated(pressure + _gauge_error(rng, outfit.gauge), outfit.gauge[2]),
        flow=_graduated(collected, outfit.beaker),
        minutes=float(minutes),
        drawdown=float(drawdown),
        ports=tuple(_graduated(port + error, outfit.port_gauge[2]) for port in ports),
        wet=YES if seen else NO,
    )


def _class(gauge: tuple[float, float, float]) -> float:
    return float(gauge[1] / 100 * gauge[0] / np.sqrt(3))


def _graduation(gauge: tuple[float, float, float]) -> float:
    return float(gauge[2] / np.sqrt(12))


def _gauge_error(rng: np.random.Generator, gauge: tuple[float, float, float]) -> float:
    """What a gauge within its class is off, kPa."""
    bound = gauge[1] / 100 * gauge[0]
    return float(rng.uniform(-bound, bound))


def _graduated(value: float, graduation: float) -> float:
    return max(round(value / graduation), 1) * graduation
