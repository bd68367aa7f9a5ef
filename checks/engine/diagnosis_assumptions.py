"""Every figure that the likely cause rests on, named, in one place.

Assumptions of ours, tried on simulated aircraft with the same physics on both sides; no field data stand
behind them. All are ratios, so that nothing of any maker is in them: pressures are fractions of the
aircraft's own test-port pressure, flows of its own delivery.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class NetworkAssumptions:
    """The healthy system, dimension-free.

    No height is assumed between pump, port and outlets: gauge height belongs to the record, not to the model.
    """

    panels: int = 8
    nozzle_share: float = 0.35  # of the delivery goes to the propeller nozzle
    panel_share: float = 0.2  # c: of a branch's pressure drop lies in the porous panel
    orifice_share: float = 0.1  # o: of the nozzle branch's drop lies in its orifice
    slip: float = 0.05  # of the pump's displacement slips back
    main_line: float = 0.1  # r_up: drop of filter and main line beside the test port's pressure
    relief_at: float = 4.5  # the relief valve opens at this many times the test port's pressure
    relief_conductance: float = 2.0  # delivery per test-port pressure once it is open

    def __post_init__(self) -> None:
        shares = (self.nozzle_share, self.panel_share, self.orifice_share)
        if self.panels < 1 or not all(0 < share < 1 for share in shares):
            raise ValueError("a system has a panel at least, and shares lie between 0 and 1")


@dataclass(frozen=True)
class FaultSizes:
    """How large each fault may be. severities: shares s that each fault is tried at, close enough together
    for a sure baseline of many checks; simulated: the least and greatest that a simulated fault has."""

    severities: tuple[float, ...] = (
        *(0.08, 0.12, 0.15, 0.2, 0.25, 0.3, 0.35, 0.42),
        *(0.5, 0.58, 0.65, 0.72, 0.8, 0.86, 0.92, 0.96),
    )
    simulated: tuple[float, float] = (0.08, 0.92)
    coupling_leak: float = 6.0  # × s × the branch's conductance
    main_leak: float = 1.0  # × s × the whole system's conductance
    nozzle_leak: float = 3.0  # × s × the nozzle branch's conductance
    pump_loss: float = 0.7  # × s of the displacement is lost
    filter_clogged: float = 60.0  # × s is added to filter and main line
    air_ln: tuple[float, ...] = (0.7, 1.2, 1.7)  # added to ln of the minutes to settle
    viscosity: tuple[float, ...] = (0.55, 0.7, 0.82, 1.22, 1.4, 1.7)  # × what the temperature says


@dataclass(frozen=True)
class ScatterAssumptions:
    """Standard deviations in ln of one check beside its baseline, besides the instruments' own."""

    pressures: float = 0.045  # common to all pressures of a check
    port: float = 0.06  # of a panel port alone
    flow: float = 0.025
    minutes: float = 0.35  # to settle
    drawdown: float = 0.05
    air: float = 0.08  # added to pressures and flow while there is air in the line


@dataclass(frozen=True)
class RankingAssumptions:
    """How readings become words."""

    gate: float = 0.95  # chi-square level of "within this aircraft's normal scatter", without panel ports
    # With panel ports three gates stand side by side, which together let about as many healthy checks pass:
    all_gate: float = 0.97  # all readings
    system_gate: float = 0.975  # the system's own readings, so that quiet panel ports do not hide them
    port_gate: float = 0.97  # any one port beside what all other readings foretell of it
    no_fit: float = 2.0  # × the gate's quantile: no single cause fits
    likely: float = 0.85
    possible: float = 0.5
    most_said: float = 0.9  # a larger share is said as "> 90 %"
    wet_if_leak: float = 0.8
    wet_if_none: float = 0.05
    shown: int = 3  # causes, and none under `least_shown`
    least_shown: float = 0.05
    cell_sds: float = 2.0  # a reading is high or low beyond so many standard deviations of its scatter


@dataclass(frozen=True)
class Assumptions:
    """All of them together."""

    network: NetworkAssumptions = NetworkAssumptions()
    sizes: FaultSizes = FaultSizes()
    scatter: ScatterAssumptions = ScatterAssumptions()
    ranking: RankingAssumptions = RankingAssumptions()


DEFAULT = Assumptions()
