"""What the likely cause takes and gives: readings of a check, the baseline beside it, the ranking."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from checks.engine.fluid import DEFAULT_CURVE, ViscosityCurve, log_slope, viscosity_ratio

YES, NO, NOT_LOOKED = "yes", "no", "not looked"
WITHIN_SCATTER, RANKED, NO_FIT = "within scatter", "ranked", "no single cause"


@dataclass(frozen=True)
class Taken:
    """The readings of one check; None where one was not taken.

    temperature: °C of the fluid in the lines; pressure, ports: kPa; flow: mL/min; minutes: to settle
    drawdown: what left the tank, any unit, the same in baseline and check; wet: fluid where it should not be.
    """

    temperature: float
    pressure: float | None = None
    flow: float | None = None
    minutes: float | None = None
    drawdown: float | None = None
    ports: tuple[float | None, ...] = ()
    wet: str = NOT_LOOKED

    def __post_init__(self) -> None:
        values = (self.pressure, self.flow, self.minutes, self.drawdown, *self.ports)
        if any(value is not None and not value > 0 for value in values):
            raise ValueError("a reading of the likely cause must be above zero, or left out")
        if self.wet not in (YES, NO, NOT_LOOKED):
            raise ValueError(f"fluid where it should not be: yes, no or not looked, not {self.wet!r}")


@dataclass(frozen=True)
class Uncertainties:
    """Standard uncertainties from accuracy and graduation, canonical units.

    pressure: of the test-port gauge; port_shared: what one gauge is off at all panel ports alike, zero where
    several gauges were used; port: what is left at each port alone; flow: of the collection, clock included;
    temperature: of the thermometer, °C.
    """

    pressure: float = 0.0
    port_shared: float = 0.0
    port: float = 0.0
    flow: float = 0.0
    temperature: float = 1.0


@dataclass(frozen=True)
class Baseline:
    """Geometric mean of `checks` accepted checks, at their mean temperature.

    counts: how many of them read pressure, flow, minutes, draw-down and each port.
    """

    mean: Taken
    checks: int
    counts: tuple[int, ...]


def baseline_of(
    checks: Sequence[Taken], flow_exponent: float = 0.0, curve: ViscosityCurve = DEFAULT_CURVE
) -> Baseline:
    """The mean of an aircraft's own accepted checks, each brought to their mean temperature.

    A reading that a check lacks is left out of its mean. ValueError without a check, with different numbers
    of ports, or outside the curve.
    """
    if not checks:
        raise ValueError("a baseline needs one accepted check at least")
    if len({len(check.ports) for check in checks}) > 1:
        raise ValueError("the checks of a baseline must name the same panel ports")
    at = sum(check.temperature for check in checks) / len(checks)
    lms = [math.log(float(viscosity_ratio(check.temperature, at, curve))) for check in checks]

    columns = [(c.pressure, c.flow, c.minutes, c.drawdown, *c.ports) for c in checks]

    def mean(values: Sequence[float | None], exponent: float) -> float | None:
        told = [math.log(v) - exponent * lm for v, lm in zip(values, lms, strict=True) if v is not None]
        return math.exp(sum(told) / len(told)) if told else None

    return Baseline(
        Taken(
            temperature=at,
            pressure=mean([c.pressure for c in checks], 1.0),
            flow=mean([c.flow for c in checks], flow_exponent),
            minutes=mean([c.minutes for c in checks], 0.0),
            drawdown=mean([c.drawdown for c in checks], 0.0),
            ports=tuple(mean(port, 1.0) for port in zip(*(c.ports for c in checks), strict=True)),
        ),
        len(checks),
        tuple(sum(value is not None for value in column) for column in zip(*columns, strict=True)),
    )


@dataclass(frozen=True)
class Ratios:
    """The check beside its baseline, temperature taken out: 1 is unchanged. None: not read in both.

    ports: of the port to its baseline, beyond what the test port did.
    """

    pressure: float | None
    flow: float | None
    minutes: float | None
    drawdown: float | None
    ports: tuple[float | None, ...]


@dataclass(frozen=True)
class CauseShare:
    """One cause with its share of the probability; panel: where it most likely is, only if that port was
    read and no other is as likely."""

    cause: str
    share: float
    panel: int | None = None


@dataclass(frozen=True)
class Diagnosis:
    """What the readings of one check say, beside the aircraft's own baseline.

    verdict: WITHIN_SCATTER, RANKED or NO_FIT; distance: chi-square from healthy, of `readings` readings, and
        gate: the quantile that it is outside of; of the system's own readings, or of one port beside all
        others, where these are further outside
    best: chi-square of the best single cause, all readings; fits: whether that is inside their own quantile,
        else the best single cause explains them poorly
    causes: all, the most probable first; groups: (group, share) likewise
    temperature: °C of the fluid in the check
    pressure, flow: 'high', 'normal', 'low', or '' where not read; pressure_band, flow_band: from which
        share of departure on, e.g. 0.15; 0 where not read.
    """

    verdict: str
    distance: float
    gate: float
    best: float
    fits: bool
    readings: int
    ratios: Ratios
    causes: tuple[CauseShare, ...]
    groups: tuple[tuple[str, float], ...]
    pressure: str
    flow: str
    pressure_band: float
    flow_band: float
    baseline_checks: int
    ports_read: int
    wet: str
    temperature: float


def slope_variance(temperature: float, baseline: Baseline, curve: ViscosityCurve) -> float:
    """Variance of ln viscosity for 1 °C of thermometer, in the check and in the baseline together."""
    return (
        log_slope(temperature, curve) ** 2
        + log_slope(baseline.mean.temperature, curve) ** 2 / baseline.checks
    )
