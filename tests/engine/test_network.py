"""The network against three solvers that are not ours: a graph Laplacian, a root finder, laminar tubes."""

import math
from dataclasses import replace

import networkx as nx
import numpy as np
import pytest
from fluids.friction import friction_factor
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import root
from scipy.stats import chi2

from checks.engine.diagnosis import chi_square_quantile
from checks.engine.diagnosis_assumptions import DEFAULT, NetworkAssumptions
from checks.engine.diagnosis_causes import AIR, CAUSES, as_network, grid, predict, with_panels
from checks.engine.network import Elements, Faults, solve
from tests.reference.tables import rows

A = NetworkAssumptions()


def one(seed: int, panels: int = 8, viscosity: float | None = None) -> Faults:
    """One system with several things wrong at once: harder than any single fault."""
    rng = np.random.default_rng(seed)
    return Faults(
        viscosity=np.array([viscosity or rng.uniform(0.5, 2.5)]),
        pump_loss=rng.uniform(0, 0.6, 1),
        main_line=rng.uniform(1, 30, 1),
        main_leak=rng.uniform(0, 0.8, 1),
        nozzle=rng.uniform(1, 8, 1),
        nozzle_leak=rng.uniform(0, 1, 1),
        capillary=rng.uniform(1, 9, (1, panels)),
        panel=rng.uniform(1, 9, (1, panels)),
        coupling_leak=rng.uniform(0, 0.4, (1, panels)),
    )


def by_laplacian(f: Faults, a: NetworkAssumptions) -> dict[str, float]:
    """Node pressures of the same system as resistors. Outside is ground; no orifice, relief closed."""
    e, m = Elements.of(a), float(f.viscosity[0])
    half = m * e.tube * f.nozzle[0] / 2
    graph = nx.Graph()
    edges = [
        ("pump", "ground", e.slip / m),
        ("pump", "T", 1 / (m * e.main_line * f.main_line[0])),
        ("T", "ground", f.main_leak[0] / m),
        ("T", "tube", 1 / half),
        ("tube", "ground", 1 / half + f.nozzle_leak[0] / m),
    ]
    for i in range(a.panels):
        edges += [
            ("T", f"port{i}", 1 / (m * e.capillary * f.capillary[0, i])),
            (f"port{i}", "ground", 1 / (m * e.panel * f.panel[0, i]) + f.coupling_leak[0, i] / m),
        ]
    graph.add_weighted_edges_from(edges)
    nodes = [node for node in graph if node != "ground"]
    laplacian = nx.laplacian_matrix(graph, nodelist=[*nodes, "ground"]).toarray()[:-1, :-1]
    current = np.zeros(len(nodes))
    current[nodes.index("pump")] = e.displacement * (1 - f.pump_loss[0])
    return dict(zip(nodes, np.linalg.solve(laplacian, current), strict=True))


@pytest.mark.parametrize("seed", range(12))
def test_without_orifice_it_is_a_resistor_network(seed: int) -> None:
    """networkx builds the Laplacian, numpy solves it. An orifice share of 1e-13 stands for none."""
    a = replace(A, orifice_share=1e-13, relief_at=1e9)
    f = one(seed)
    solved, laplacian = solve(f, a), by_laplacian(f, a)
    assert solved.test_port[0] == pytest.approx(laplacian["T"], rel=1e-9)
    assert solved.pump[0] == pytest.approx(laplacian["pump"], rel=1e-9)
    ports = [laplacian[f"port{i}"] for i in range(a.panels)]
    assert solved.ports[0] == pytest.approx(ports, rel=1e-9)
    half = f.viscosity[0] * Elements.of(a).tube * f.nozzle[0] / 2
    assert solved.nozzle_flow[0] == pytest.approx(laplacian["tube"] / half, rel=1e-9)


def residuals(x: np.ndarray, f: Faults, a: NetworkAssumptions) -> list[float]:
    """The balances as they are drawn, one for each unknown: pump, T, tube, end, ports."""
    e, m = Elements.of(a), float(f.viscosity[0])
    pump, t, tube, flow, *ports = x
    main = (pump - t) / (m * e.main_line * f.main_line[0])
    half = m * e.tube * f.nozzle[0] / 2
    into_nozzle = (t - tube) / half
    relief = a.relief_conductance * max(pump - a.relief_at, 0)
    delivered = e.displacement * (1 - f.pump_loss[0]) - e.slip * pump / m - relief
    branches = [(t - p) / (m * e.capillary * f.capillary[0, i]) for i, p in enumerate(ports)]
    return [
        delivered - main,
        main - into_nozzle - sum(branches) - f.main_leak[0] * t / m,
        into_nozzle - flow - f.nozzle_leak[0] * tube / m,
        tube - half * flow - e.orifice * f.nozzle[0] * flow**2,
        *(
            q - p / (m * e.panel * f.panel[0, i]) - f.coupling_leak[0, i] * p / m
            for i, (q, p) in enumerate(zip(branches, ports, strict=True))
        ),
    ]


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("relief_at", [4.5, 0.8], ids=["relief as assumed", "relief often open"])
def test_whole_network_agrees_with_a_root_finder(seed: int, relief_at: float) -> None:
    """scipy.optimize.root on all balances at once, from a start that knows nothing."""
    a, f = replace(A, relief_at=relief_at), one(seed)
    found = root(residuals, np.full(4 + a.panels, 0.5), args=(f, a), tol=1e-14)
    assert np.abs(residuals(found.x, f, a)).max() < 1e-11
    solved = solve(f, a)
    ours = [solved.pump[0], solved.test_port[0], solved.nozzle_flow[0], *solved.ports[0]]
    assert ours == pytest.approx([found.x[0], found.x[1], *found.x[3:]], rel=1e-9, abs=1e-12)


def test_relief_is_open_in_some_of_these_cases() -> None:
    """Else the test above would not reach it."""
    opened = [solve(one(seed), replace(A, relief_at=0.8)).pump[0] > 0.8 for seed in range(12)]
    assert any(opened)


def tube_drop(bore: float, length: float, mu: float, rho: float, flow: float) -> tuple[float, float]:
    """(Pa, Reynolds number) along a tube by the package fluids; SI units."""
    speed = flow / (math.pi * bore**2 / 4)
    reynolds = rho * speed * bore / mu
    return friction_factor(Re=reynolds) * length / bore * rho * speed**2 / 2, reynolds


@pytest.mark.parametrize("row", rows("hagen_poiseuille.csv"), ids=lambda row: f"Re {row['reynolds']}")
def test_laminar_tubes_of_the_reference(row: dict[str, str]) -> None:
    """The yardstick of the next test gives the printed figures."""
    per_minute = float(row["flow_ml_min"]) / 6e7
    pascal, reynolds = tube_drop(
        float(row["diameter_mm"]) / 1e3,
        float(row["length_m"]),
        float(row["viscosity_mpas"]) / 1e3,
        float(row["density"]),
        per_minute,
    )
    assert reynolds == pytest.approx(float(row["reynolds"]), abs=0.05)
    assert pascal == pytest.approx(float(row["pressure_pa"]), rel=2e-6)


def test_solved_flows_fit_tubes_in_pascals() -> None:
    """A system of real tubes: the drops that the package fluids gives for our flows add up to our pressures.

    90 kPa, 0.3 L/min, viscosity 10.05 mPa·s, 1110.13 kg/m³; each tube as long as its share asks.
    """
    mu, rho, pascal, delivery, bore, m = 10.05e-3, 1110.13, 90e3, 0.3e-3 / 60, 2e-3, 1.7
    e, f = Elements.of(A), one(3, viscosity=m)
    solved = solve(f, A)

    def drop(resistance: float, flow: float) -> float:
        length = resistance * pascal / delivery * math.pi * bore**4 / (128 * mu)
        along, reynolds = tube_drop(bore, length, mu * m, rho, flow * delivery)
        assert reynolds < 213  # the greatest at plausible bores
        return along

    for i in range(A.panels):
        port = solved.ports[0, i]
        through = port / (m * e.panel * f.panel[0, i])
        branch = through + port * f.coupling_leak[0, i] / m
        whole = drop(e.capillary * f.capillary[0, i], branch) + drop(e.panel * f.panel[0, i], through)
        assert whole == pytest.approx(solved.test_port[0] * pascal, rel=1e-9)
    main = drop(e.main_line * f.main_line[0], solved.delivered[0])
    assert main == pytest.approx((solved.pump[0] - solved.test_port[0]) * pascal, rel=1e-9)


@pytest.mark.parametrize("panels", [1, 6, 8, 12])
def test_healthy_system_shows_its_own_shares(panels: int) -> None:
    a = replace(A, panels=panels)
    solved = solve(Faults.healthy(1, panels), a)
    assert solved.test_port[0] == pytest.approx(1, rel=1e-14)
    assert solved.delivered[0] == pytest.approx(1, rel=1e-14)
    assert solved.pump[0] == pytest.approx(1.1)
    assert solved.nozzle_flow[0] == pytest.approx(a.nozzle_share)
    assert solved.ports[0] == pytest.approx([a.panel_share] * panels)


@given(seed=st.integers(0, 10_000), more=st.floats(1.01, 5))
def test_what_restricts_raises_pressure_and_what_leaks_lowers_it(seed: int, more: float) -> None:
    f = one(seed)
    before = solve(f, A)
    for name in ("nozzle", "capillary", "panel"):
        assert solve(replace(f, **{name: getattr(f, name) * more}), A).test_port[0] > before.test_port[0]
    for name in ("main_leak", "nozzle_leak", "coupling_leak"):
        assert solve(replace(f, **{name: getattr(f, name) + more}), A).test_port[0] < before.test_port[0]
    assert solve(replace(f, main_line=f.main_line * more), A).test_port[0] < before.test_port[0]


def test_many_systems_at_once_are_the_same_as_one_by_one() -> None:
    single = [one(seed) for seed in range(5)]
    names = Faults.__dataclass_fields__
    together = Faults(**{name: np.concatenate([getattr(f, name) for f in single]) for name in names})
    solved = solve(together, A)
    for row, f in enumerate(single):
        assert solved.test_port[row] == pytest.approx(solve(f, A).test_port[0], rel=1e-13)
        assert solved.ports[row] == pytest.approx(solve(f, A).ports[0], rel=1e-13)


def test_unchanged_flow_when_only_viscosity_moves_and_all_is_laminar() -> None:
    """A constant delivery divides itself by resistances alone."""
    a = replace(A, orifice_share=1e-13)
    f = Faults.healthy(3, 8)
    f.viscosity[:] = [0.6, 1, 2.4]
    solved = solve(f, a)
    assert solved.nozzle_flow == pytest.approx([a.nozzle_share] * 3, rel=1e-9)
    assert solved.test_port == pytest.approx(f.viscosity, rel=1e-9)


def test_every_cause_is_tried_at_every_size_on_every_panel() -> None:
    a = with_panels(DEFAULT, 8)
    faults = grid(8, a)
    counts = {cause: sum(f.cause == cause for f in faults) for cause in CAUSES}
    assert len(CAUSES) == 12
    assert counts == {
        **dict.fromkeys(CAUSES, 16),
        "healthy": 1,
        "air": 3,
        "viscosity": 6,
        "panel_blocked": 128,
        "panel_line": 128,
        "coupling_leak": 128,
    }
    shown = predict(faults, 1.0, a)
    for row, fault in enumerate(faults):
        moved = abs(shown.ln_pressure[row]) + abs(shown.ln_flow[row]) + abs(shown.ln_minutes[row])
        assert (moved > 1e-4) == (fault.cause != "healthy"), fault
    assert set(np.flatnonzero(shown.ln_minutes)) == {i for i, f in enumerate(faults) if f.cause == AIR}


def test_a_fault_of_one_panel_moves_its_own_port() -> None:
    a = with_panels(DEFAULT, 8)
    faults = [f for f in grid(8, a) if f.panel is not None]
    shown = predict(faults, 1.0, a)
    beyond = np.abs(shown.ln_ports - shown.ln_pressure[:, None])
    assert beyond.argmax(axis=1).tolist() == [f.panel for f in faults]
    assert as_network(faults[:1], 1.0, a).panel[0].tolist()[0] == pytest.approx(1 / 0.92)


@pytest.mark.parametrize("degrees", [1, 2, 3, 4, 11, 12, 30])
@pytest.mark.parametrize("level", [0.95, 0.975])
def test_quantile_of_chi_square(degrees: int, level: float) -> None:
    assert chi_square_quantile(level, degrees) == pytest.approx(chi2.ppf(level, degrees), rel=1e-10)


@pytest.mark.parametrize("bad", [{"panels": 0}, {"nozzle_share": 1.0}, {"panel_share": 0.0}])
def test_impossible_assumptions_are_refused(bad: dict) -> None:
    with pytest.raises(ValueError, match="a panel at least"):
        NetworkAssumptions(**bad)
