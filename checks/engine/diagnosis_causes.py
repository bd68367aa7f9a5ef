"""The twelve causes: what each does to the network, which of them look alike, and where each leaks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from checks.engine.diagnosis_assumptions import Assumptions
from checks.engine.network import Faults, Floats, Solved, solve

HEALTHY = "healthy"
PANEL_BLOCKED = "panel_blocked"
ALL_FOULED = "all_fouled"
PANEL_LINE = "panel_line"
COUPLING_LEAK = "coupling_leak"
MAIN_LEAK = "main_leak"
NOZZLE_LEAK = "nozzle_leak"
PUMP_LOW = "pump_low"
FILTER = "filter_clogged"
NOZZLE_BLOCKED = "nozzle_blocked"
AIR = "air"
VISCOSITY = "viscosity"
CAUSES = (
    HEALTHY,
    PANEL_BLOCKED,
    ALL_FOULED,
    PANEL_LINE,
    COUPLING_LEAK,
    MAIN_LEAK,
    NOZZLE_LEAK,
    PUMP_LOW,
    FILTER,
    NOZZLE_BLOCKED,
    AIR,
    VISCOSITY,
)
OF_ONE_PANEL = (PANEL_BLOCKED, PANEL_LINE, COUPLING_LEAK)
LEAKS = (COUPLING_LEAK, MAIN_LEAK, NOZZLE_LEAK)
# Causes that pressure and flow hardly tell apart; each group is one place to look at first.
GROUPS = {
    "panels": (PANEL_BLOCKED, ALL_FOULED, PANEL_LINE, COUPLING_LEAK),
    "supply": (PUMP_LOW, MAIN_LEAK, FILTER),
    "nozzle": (NOZZLE_BLOCKED, NOZZLE_LEAK),
    "fluid": (VISCOSITY,),
    "line air": (AIR,),
    "none": (HEALTHY,),
}
GROUP_OF = {cause: group for group, causes in GROUPS.items() for cause in causes}


@dataclass(frozen=True)
class Fault:
    """One fault. size: severity 0..1; of air, ln added to the minutes; of viscosity, a factor. panel: from 0,
    None where the cause is not of one panel."""

    cause: str
    size: float = 0.0
    panel: int | None = None

    def __post_init__(self) -> None:
        if self.cause not in CAUSES:
            raise ValueError(f"{self.cause!r} is not a cause")
        if (self.panel is not None) != (self.cause in OF_ONE_PANEL):
            raise ValueError("a cause of one panel names it, any other names none")


@dataclass(frozen=True, eq=False)
class Hypotheses:
    """H faults with what the network shows of them, relative to the healthy system at the baseline.

    cause: number in CAUSES, (H,); panel: -1 for none, (H,); ln_minutes: added to ln of the minutes to settle
    ln_pressure, ln_flow, ln_delivered (H,), ln_ports (H, P): of the solved network.
    """

    faults: tuple[Fault, ...]
    cause: np.ndarray
    panel: np.ndarray
    ln_pressure: Floats
    ln_flow: Floats
    ln_delivered: Floats
    ln_ports: Floats
    ln_minutes: Floats


@lru_cache(maxsize=32)
def grid(panels: int, assumptions: Assumptions) -> tuple[Fault, ...]:
    """Every fault that is tried: 12 causes × severities × panel."""
    sizes = assumptions.sizes
    tried = {HEALTHY: (0.0,), AIR: sizes.air_ln, VISCOSITY: sizes.viscosity}
    return tuple(
        Fault(cause, size, panel)
        for cause in CAUSES
        for size in tried.get(cause, sizes.severities)
        for panel in (range(panels) if cause in OF_ONE_PANEL else (None,))
    )


def predict(faults: Sequence[Fault], viscosity: float, assumptions: Assumptions) -> Hypotheses:
    """What each fault would show with the fluid at `viscosity` times the baseline's."""
    network = assumptions.network
    shown = solve(as_network(faults, viscosity, assumptions), network)
    base: Solved = solve(Faults.healthy(1, network.panels), network)
    cause = np.array([CAUSES.index(fault.cause) for fault in faults])
    size = np.array([fault.size for fault in faults])
    return Hypotheses(
        faults=tuple(faults),
        cause=cause,
        panel=np.array([-1 if fault.panel is None else fault.panel for fault in faults]),
        ln_pressure=np.log(shown.test_port / base.test_port),
        ln_flow=np.log(shown.nozzle_flow / base.nozzle_flow),
        ln_delivered=np.log(shown.delivered / base.delivered),
        ln_ports=np.log(shown.ports / base.ports),
        ln_minutes=np.where(cause == CAUSES.index(AIR), size, 0.0),
    )


def as_network(faults: Sequence[Fault], viscosity: float, assumptions: Assumptions) -> Faults:
    """The faults as changes of the network; s is the severity."""
    network, sizes = assumptions.network, assumptions.sizes
    made = Faults.healthy(len(faults), network.panels, viscosity)
    branch = (1 - network.nozzle_share) / network.panels  # conductance at test-port pressure 1
    for row, fault in enumerate(faults):
        s, panel = fault.size, fault.panel
        restricted = 1 + s / (1 - s) if fault.cause not in (AIR, VISCOSITY) else 1.0
        match fault.cause:
            case "panel_blocked":
                made.panel[row, panel] = restricted
            case "all_fouled":
                made.panel[row] = restricted
            case "panel_line":
                made.capillary[row, panel] = restricted
            case "coupling_leak":
                made.coupling_leak[row, panel] = sizes.coupling_leak * s * branch
            case "main_leak":
                made.main_leak[row] = sizes.main_leak * s
            case "nozzle_leak":
                made.nozzle_leak[row] = sizes.nozzle_leak * s * network.nozzle_share
            case "pump_low":
                made.pump_loss[row] = sizes.pump_loss * s
            case "filter_clogged":
                made.main_line[row] = 1 + sizes.filter_clogged * s
            case "nozzle_blocked":
                made.nozzle[row] = restricted
            case "viscosity":
                made.viscosity[row] = viscosity * s
    return made


def with_panels(assumptions: Assumptions, panels: int) -> Assumptions:
    """The same assumptions for a variant with so many panels."""
    return replace(assumptions, network=replace(assumptions.network, panels=panels))
