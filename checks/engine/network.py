"""The fluid system as a network, dimension-free, solved for many faults at once.

    tank -> metering pump (slip, relief) -> filter and main line -> node T with the test port
    node T -> panel branch i: capillary -> panel port i -> porous panel
    node T -> nozzle branch: first half of the tube -> second half -> orifice

Pressures are fractions of the healthy test-port pressure, flows of the healthy delivery, viscosity a ratio m
to that of the baseline. Laminar elements: dp = m R q; orifice: dp = K q². H faults of P panels are held in
arrays of shape (H,) and (H, P).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from checks.engine.diagnosis_assumptions import NetworkAssumptions

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Faults:
    """What is wrong in each of H systems; `healthy` gives the arrays to change.

    viscosity: m; pump_loss: share of the displacement; main_line, nozzle: factor on their resistance
    main_leak, nozzle_leak: conductance of a leak to the outside at node T, and in the middle of the tube
    capillary, panel: factor on their resistance, (H, P)
    coupling_leak: conductance of a leak just upstream of the panel port, (H, P)
    """

    viscosity: Floats
    pump_loss: Floats
    main_line: Floats
    main_leak: Floats
    nozzle: Floats
    nozzle_leak: Floats
    capillary: Floats
    panel: Floats
    coupling_leak: Floats

    @classmethod
    def healthy(cls, count: int, panels: int, viscosity: float = 1.0) -> Faults:
        """`count` systems without a fault."""
        one, none = np.ones, np.zeros
        shape = (count, panels)
        return cls(
            viscosity=np.full(count, viscosity),
            pump_loss=none(count),
            main_line=one(count),
            main_leak=none(count),
            nozzle=one(count),
            nozzle_leak=none(count),
            capillary=one(shape),
            panel=one(shape),
            coupling_leak=none(shape),
        )


@dataclass(frozen=True, eq=False)
class Solved:
    """What each of H systems shows: pressures (H,), panel ports (H, P), flows (H,).

    delivered: what leaves the tank, leaks included, slip and relief not.
    """

    test_port: Floats
    pump: Floats
    ports: Floats
    nozzle_flow: Floats
    delivered: Floats


@dataclass(frozen=True)
class Elements:
    """Resistances and conductances of the healthy system, in its own units.

    displacement, slip: Q0 and k of q = Q0 - k p_pump / m; capillary, panel: laminar R of one branch each
    tube, orifice: laminar R of the whole tube, K.
    """

    displacement: float
    slip: float
    main_line: float
    capillary: float
    panel: float
    tube: float
    orifice: float

    @classmethod
    def of(cls, a: NetworkAssumptions) -> Elements:
        """Such that the healthy system has pressure 1 at the test port and delivers 1."""
        branch_flow = (1 - a.nozzle_share) / a.panels
        displacement = 1 / (1 - a.slip)
        return cls(
            displacement=displacement,
            slip=a.slip * displacement / (1 + a.main_line),
            main_line=a.main_line,
            capillary=(1 - a.panel_share) / branch_flow,
            panel=a.panel_share / branch_flow,
            tube=(1 - a.orifice_share) / a.nozzle_share,
            orifice=a.orifice_share / a.nozzle_share**2,
        )


def solve(faults: Faults, assumptions: NetworkAssumptions) -> Solved:
    """Balance of node T in every system.

    What the pump delivers falls with the pressure at T, what the branches take rises with it: one root. With
    the flow x of the orifice as unknown, both are polynomials of second degree at most: p_T = a x² + b x, so
    the root is exact. The relief valve makes the delivery the lesser of two straight lines, and the root the
    lesser of two roots.
    """
    e, m = Elements.of(assumptions), faults.viscosity
    drop = 1 / (e.panel * faults.panel) + faults.coupling_leak  # conductance behind each capillary
    capillary = e.capillary * faults.capillary
    taken = (1 / (capillary + 1 / drop)).sum(axis=1) + faults.main_leak  # conductance, less the nozzle
    half, orifice = e.tube * faults.nozzle / 2, e.orifice * faults.nozzle
    leaking = 1 + half * faults.nozzle_leak
    a, b = leaking * orifice, (leaking + 1) * m * half  # p_T of x
    into_a, into_b = faults.nozzle_leak * orifice / m, leaking  # flow into the branch, of x
    main = e.main_line * faults.main_line
    given = e.displacement * (1 - faults.pump_loss)
    lines = []
    for open_by, closed_at in ((0.0, 0.0), (assumptions.relief_conductance, assumptions.relief_at)):
        falls = e.slip / m + open_by  # with the pump's pressure p_T + m r q
        share = 1 + falls * m * main
        lines.append(((given + open_by * closed_at) / share, falls / share + taken / m))
    x = np.min([_positive_root(into_a + fall * a, into_b + fall * b, top) for top, fall in lines], axis=0)
    test_port = a * x**2 + b * x
    delivered = into_a * x**2 + into_b * x + test_port * taken / m
    ports = test_port[:, None] / (1 + capillary * drop)
    return Solved(test_port, test_port + m * main * delivered, ports, x, delivered)


def _positive_root(a: Floats, b: Floats, c: Floats) -> Floats:
    """x > 0 of a x² + b x = c for a >= 0 and b, c > 0, without loss of digits where a is small."""
    return np.asarray(2 * c / (b + np.sqrt(b**2 + 4 * a * c)))
