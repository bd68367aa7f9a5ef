"""Likely cause: which single fault explains a check best, beside the aircraft's own baseline.

ln ratios of readings to baseline, with their covariance, are compared with what the network shows of every
fault (diagnosis_causes): chi-square gate against 'healthy' first, then a Gaussian likelihood with equal
weight for each cause. Advisory: it ranks possibilities from a simplified model; the approved limits and
manual decide.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from checks.engine.diagnosis_assumptions import DEFAULT, Assumptions
from checks.engine.diagnosis_causes import (
    AIR,
    CAUSES,
    GROUPS,
    HEALTHY,
    LEAKS,
    Hypotheses,
    grid,
    predict,
    with_panels,
)
from checks.engine.diagnosis_data import (
    NO_FIT,
    NOT_LOOKED,
    RANKED,
    WITHIN_SCATTER,
    YES,
    Baseline,
    CauseShare,
    Diagnosis,
    Ratios,
    Taken,
    Uncertainties,
    slope_variance,
)
from checks.engine.fluid import DEFAULT_CURVE, ViscosityCurve, viscosity_ratio
from checks.engine.network import Floats

PRESSURE, FLOW, MINUTES, DRAWDOWN, PORTS = 0, 1, 2, 3, 4


@dataclass(frozen=True, eq=False)
class Observed:
    """ln ratios to the baseline with the temperature taken out, (4 + P,), NaN where not read in both; their
    covariance for a system in which nothing but viscosity has changed; viscosity ratio."""

    ln: Floats
    covariance: Floats
    viscosity: float

    @property
    def used(self) -> np.ndarray:
        return np.flatnonzero(np.isfinite(self.ln))


def diagnose(
    check: Taken,
    baseline: Baseline,
    uncertainties: Uncertainties,
    *,
    panels: int,
    flow_exponent: float = 0.0,
    confirmed: Mapping[str, int] | None = None,
    curve: ViscosityCurve = DEFAULT_CURVE,
    assumptions: Assumptions = DEFAULT,
) -> Diagnosis:
    """Rank the causes of one check on an aircraft with so many panels.

    flow_exponent: alpha of flow ~ mu^alpha from the operator's own limit table (fluid.flow_exponent), else 0
    confirmed: how often each cause was the confirmed one; ln(1 + n) is added to its weight in ln
    ValueError: a temperature outside the viscosity curve, ports that do not match the panels, nothing to
    compare.
    """
    assumptions = with_panels(assumptions, panels)
    observed = observe(check, baseline, uncertainties, panels, flow_exponent, curve, assumptions)
    used = observed.used
    if not len(used):
        raise ValueError("no reading of this check has a baseline to stand beside")
    hypotheses = predict(grid(panels, assumptions), observed.viscosity, assumptions)
    means = _means(hypotheses, observed.viscosity, flow_exponent)[:, used]
    distance, ln_likelihood = _fit(observed, used, means, hypotheses, assumptions)
    ln_weight = ln_likelihood + _prior(hypotheses, confirmed or {}, check.wet, assumptions)
    weight = np.exp(ln_weight - ln_weight.max())
    weight /= weight.sum()
    outside = _outside(observed, used, means[hypotheses.cause == CAUSES.index(HEALTHY)][0], assumptions)
    best = float(distance.min())
    causes = _causes(hypotheses, weight, np.isfinite(observed.ln[PORTS:]))
    shares = {one.cause: one.share for one in causes}
    groups = [(group, sum(shares[cause] for cause in of)) for group, of in GROUPS.items()]
    bands = assumptions.ranking.cell_sds * np.sqrt(np.nan_to_num(np.diag(observed.covariance)))
    return Diagnosis(
        verdict=_verdict(outside, best, len(used), assumptions),
        distance=outside.distance,
        gate=outside.gate,
        best=best,
        fits=best <= chi_square_quantile(assumptions.ranking.gate, len(used)),
        readings=outside.readings,
        ratios=_ratios(observed.ln),
        causes=causes,
        groups=tuple(sorted(groups, key=lambda pair: -pair[1])),
        pressure=_side(observed.ln[PRESSURE], bands[PRESSURE]),
        flow=_side(observed.ln[FLOW], bands[FLOW]),
        pressure_band=math.expm1(bands[PRESSURE]),
        flow_band=math.expm1(bands[FLOW]),
        baseline_checks=baseline.checks,
        ports_read=int(np.isfinite(observed.ln[PORTS:]).sum()),
        wet=check.wet,
        temperature=check.temperature,
    )


def observe(
    check: Taken,
    baseline: Baseline,
    uncertainties: Uncertainties,
    panels: int,
    flow_exponent: float,
    curve: ViscosityCurve,
    assumptions: Assumptions,
) -> Observed:
    """Readings as ln ratios, with the covariance of their scatter."""
    m = float(viscosity_ratio(check.temperature, baseline.mean.temperature, curve))
    now, usual = _row(check, panels), _row(baseline.mean, panels)
    pressures = np.ones(len(now))
    pressures[FLOW:PORTS] = 0
    by_viscosity = pressures.copy()
    by_viscosity[FLOW] = flow_exponent
    scatter, n = assumptions.scatter, _counts(baseline, panels)
    own = np.array([0.0, scatter.flow**2, scatter.minutes**2, scatter.drawdown**2 * (1 + 1 / n[DRAWDOWN])])
    own = np.append(own, np.full(panels, scatter.port**2))
    u = np.array([uncertainties.pressure, uncertainties.flow, 0, 0, *[uncertainties.port] * panels])
    own += (u / now) ** 2 + (u / usual) ** 2 / n
    shared = np.array([0, 0, 0, 0, *[uncertainties.port_shared] * panels])
    thermometer = uncertainties.temperature**2 * slope_variance(check.temperature, baseline, curve)
    covariance = np.diag(own) + scatter.pressures**2 * np.outer(pressures, pressures)
    covariance += thermometer * np.outer(by_viscosity, by_viscosity)
    for off in (shared / now, shared / usual / np.sqrt(n)):
        covariance += np.outer(off, off)
    return Observed(np.log(now / usual) - by_viscosity * math.log(m), covariance, m)


def chi_square_quantile(level: float, degrees: int) -> float:
    """Quantile of the chi-square distribution."""
    from scipy.special import gammaincinv

    return 2 * float(gammaincinv(degrees / 2, level))


def _row(taken: Taken, panels: int) -> Floats:
    if len(taken.ports) not in (0, panels):
        raise ValueError(f"{panels} panels need {panels} ports, or none")
    ports = taken.ports or (None,) * panels
    values = (taken.pressure, taken.flow, taken.minutes, taken.drawdown, *ports)
    return np.array([np.nan if value is None else value for value in values])


def _counts(baseline: Baseline, panels: int) -> Floats:
    """Checks behind each mean, (4 + P,); 1 where none read it, which is not used."""
    counts = np.ones(PORTS + panels)
    counts[: len(baseline.counts)] = np.maximum(baseline.counts, 1)
    return counts


def _means(hypotheses: Hypotheses, viscosity: float, flow_exponent: float) -> Floats:
    """What each fault shows, (H, 4 + P), the expected effect of temperature taken out as in the readings.

    The network moves flow by viscosity a little too, through its orifice; where the operator's own table
    says how flow moves, the table rules and the healthy network's own movement is taken out.
    """
    lm = math.log(viscosity)
    healthy = np.flatnonzero(hypotheses.cause == CAUSES.index(HEALTHY))[0]
    ln_flow = hypotheses.ln_flow - (hypotheses.ln_flow[healthy] if flow_exponent else 0.0)
    first = (hypotheses.ln_pressure - lm, ln_flow, hypotheses.ln_minutes, hypotheses.ln_delivered)
    return np.column_stack([*first, hypotheses.ln_ports - lm])


def _fit(
    observed: Observed, used: np.ndarray, means: Floats, hypotheses: Hypotheses, assumptions: Assumptions
) -> tuple[Floats, Floats]:
    """Chi-square and ln likelihood of every fault, (H,) each; air in the line makes readings scatter more."""
    off = observed.ln[used] - means
    covariance = observed.covariance[np.ix_(used, used)]
    air = hypotheses.cause == CAUSES.index(AIR)
    stirred = np.where(np.isin(used, (MINUTES, DRAWDOWN)), 0.0, assumptions.scatter.air**2)
    distance, ln_likelihood = np.empty(len(off)), np.empty(len(off))
    for rows, matrix in ((~air, covariance), (air, covariance + np.diag(stirred))):
        lower = np.linalg.cholesky(matrix)
        distance[rows] = (np.linalg.solve(lower, off[rows].T) ** 2).sum(axis=0)
        ln_likelihood[rows] = -distance[rows] / 2 - np.log(np.diag(lower)).sum()
    return distance, ln_likelihood


def _prior(
    hypotheses: Hypotheses, confirmed: Mapping[str, int], wet: str, assumptions: Assumptions
) -> Floats:
    """ln weight of every fault before the readings: equal for each cause, by what was confirmed, by the
    walk-round."""
    counts = np.bincount(hypotheses.cause, minlength=len(CAUSES))
    ranking = assumptions.ranking
    of_cause = []
    for number, cause in enumerate(CAUSES):
        ln = math.log1p(confirmed.get(cause, 0)) - math.log(counts[number])
        if wet != NOT_LOOKED:
            chance = ranking.wet_if_leak if cause in LEAKS else ranking.wet_if_none
            ln += math.log(chance if wet == YES else 1 - chance)
        of_cause.append(ln)
    return np.array(of_cause)[hypotheses.cause]


def _causes(hypotheses: Hypotheses, weight: Floats, ports_read: np.ndarray) -> tuple[CauseShare, ...]:
    found = []
    for number, cause in enumerate(CAUSES):
        of_cause = hypotheses.cause == number
        share = float(weight[of_cause].sum())
        by_panel = np.bincount(hypotheses.panel[of_cause] + 1, weight[of_cause], len(ports_read) + 1)[1:]
        at = int(by_panel.argmax())
        named = bool(by_panel[at] > share / 2 and ports_read[at])
        found.append(CauseShare(cause, share, at if named else None))
    return tuple(sorted(found, key=lambda one: -one.share))


@dataclass(frozen=True)
class _Outside:
    distance: float
    gate: float
    readings: int


def _outside(observed: Observed, used: np.ndarray, healthy: Floats, assumptions: Assumptions) -> _Outside:
    """Chi-square from healthy beside its gate: of all readings, of the system's own without the ports, or of
    the one port that is furthest from what all others foretell of it, whichever is further out."""
    ranking, system = assumptions.ranking, used < PORTS
    off, covariance = observed.ln[used] - healthy, observed.covariance[np.ix_(used, used)]
    ports = int((~system).sum())
    if not ports or not system.any():
        return _beside(off, covariance, ranking.gate)
    found = [
        _beside(off, covariance, ranking.all_gate),
        _beside(off[system], covariance[np.ix_(system, system)], ranking.system_gate),
    ]
    if ports > 1:
        precision = np.linalg.inv(covariance)
        alone = ((precision @ off) ** 2 / np.diag(precision))[~system]
        level = 1 - (1 - ranking.port_gate) / ports
        found.append(_Outside(float(alone.max()), chi_square_quantile(level, 1), 1))
    return max(found, key=lambda one: one.distance / one.gate)


def _beside(off: Floats, covariance: Floats, level: float) -> _Outside:
    distance = float(off @ np.linalg.solve(covariance, off))
    return _Outside(distance, chi_square_quantile(level, len(off)), len(off))


def _verdict(outside: _Outside, best: float, readings: int, assumptions: Assumptions) -> str:
    ranking = assumptions.ranking
    if outside.distance <= outside.gate:
        return WITHIN_SCATTER
    return NO_FIT if best > ranking.no_fit * chi_square_quantile(ranking.gate, readings) else RANKED


def _ratios(ln: Floats) -> Ratios:
    told = [float(np.exp(value)) if np.isfinite(value) else None for value in ln[:PORTS]]
    beyond = ln[PORTS:] - (ln[PRESSURE] if np.isfinite(ln[PRESSURE]) else 0.0)
    return Ratios(*told, tuple(float(np.exp(v)) if np.isfinite(v) else None for v in beyond))


def _side(ln: float, band: float) -> str:
    if not np.isfinite(ln):
        return ""
    return "high" if ln > band else "low" if ln < -band else "normal"
