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
LEAST_KNOWN = 2
FORECASTS_TRIED = 2000
FORECASTS_PER_BLOCK = 200


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

    One forecast for each reading from the third of its life on that came on a later day than the one before
    it (of at most about 2,000, evenly picked), those that ended a life over limit among them: they came as
    well.
    """
    prepared = prepare(readings, references, fit, np.inf, lives)
    sizes = np.diff(prepared.edges)
    life = np.repeat(np.arange(len(sizes)), sizes)
    before = np.arange(len(life)) - prepared.edges[life]
    day = prepared.readings.day
    later = np.append(False, day[1:] > day[:-1])[: len(day)]
    tried = np.flatnonzero((before >= LEAST_KNOWN) & later)
    tried = tried[:: max(1, len(tried) // FORECASTS_TRIED)]
    tried = tried[np.argsort(before[tried], kind="stable")]
    limits = {key: reference.lim for key, reference in references.items()}
    off: list[Floats] = [np.empty(0)]
    for i in range(0, len(tried), FORECASTS_PER_BLOCK):
        target = tried[i : i + FORECASTS_PER_BLOCK]
        chosen, known = life[target], before[target]
        at = day[target] - prepared.start[chosen]
        block = block_of(prepared, chosen, fit, limits, whole=False, known=known)
        ahead = forecast(block, weigh(block, onsets_needed(float(at.max()))))
        off.append(ahead.standing(at, prepared.y[target], variance_of_one(prepared, target, fit)))
    return np.concatenate(off)
