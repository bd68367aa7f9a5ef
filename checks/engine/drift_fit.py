"""The fleet's fit: the regression, and how far its forecasts have been off."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from checks.engine.drift_bank import onsets_needed, weigh
from checks.engine.drift_data import FleetFit, Floats, Lives, Readings
from checks.engine.drift_forecast import forecast
from checks.engine.drift_reference import Reference
from checks.engine.drift_regression import FleetPrior, regress
from checks.engine.drift_series import block_of, prepare, variance_of_one

NORMAL_90 = 1.645
WORTH = 60
LIVES_TRIED = 2000
LIVES_PER_BLOCK = 200


def fit_fleet(
    readings: Readings,
    references: Mapping[int, Reference],
    *,
    now: float | None = None,
    prior: FleetPrior | None = None,
    lives: Lives | None = None,
) -> FleetFit:
    """Fit temperature law, gauges, noise and forecast width from readings not later than `now` (all, if
    None).

    lives: as for `score`. Works from no readings upwards: what they do not teach stays at the prior. Row
    order does not matter. Raises KeyError for a group without reference.
    """
    if now is not None:
        readings = readings.take(readings.day <= now)
    fit = regress(readings, references, prior or FleetPrior())
    off = resolved_forecasts(readings, references, fit, lives)
    return replace(fit, widening=widening(off))


def widening(off: Floats) -> float:
    """Factor on forecast widths from resolved forecasts in standard deviations, drawn towards 1 when few."""
    if not len(off):
        return 1.0
    seen = max(float(np.quantile(np.abs(off), 0.9)) / NORMAL_90, 0.1)
    return float(np.exp(np.log(seen) * len(off) / (len(off) + WORTH)))


def resolved_forecasts(
    readings: Readings, references: Mapping[int, Reference], fit: FleetFit, lives: Lives | None = None
) -> Floats:
    """How far readings fell from what the readings before them foretold, in standard deviations.

    One forecast for each life of three readings or more (at most about 2,000 lives, evenly picked): of the
    one past its middle. Not of the last: a life that ended over limit ended on a high reading.
    """
    prepared = prepare(readings, references, fit, np.inf, lives)
    sizes = np.diff(prepared.edges)
    tried = np.flatnonzero(sizes >= 3)
    tried = tried[:: max(1, len(tried) // LIVES_TRIED)]
    tried = tried[np.argsort(sizes[tried], kind="stable")]
    limits = {key: reference.lim for key, reference in references.items()}
    off: list[Floats] = [np.empty(0)]
    for i in range(0, len(tried), LIVES_PER_BLOCK):
        chosen = tried[i : i + LIVES_PER_BLOCK]
        known = (sizes[chosen] + 1) // 2
        target = prepared.edges[chosen] + known
        at = prepared.readings.day[target] - prepared.start[chosen]
        block = block_of(prepared, chosen, fit, limits, whole=False, known=known)
        ahead = forecast(block, weigh(block, onsets_needed(float(at.max()))))
        off.append(ahead.standing(at, prepared.y[target], variance_of_one(prepared, target, fit)))
    return np.concatenate(off)
