"""What a simulated point really does: how it drifts, what a purge does, what its fluid's temperature is.

Invented physics and figures: simulated truth, no field data. ln is natural, days count from any epoch.
Readings of it: simulate_aircraft.py; a whole fleet: simulate_fleet.py; what a rule would have warned of:
simulate_rule.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from checks.engine.drift_data import Floats
from checks.engine.drift_reference import Reference
from checks.engine.fluid import DEFAULT_CURVE

YEAR = 365.25
NONE, LINEAR, EXPONENTIAL, STEP = "none", "linear", "exponential", "step"
EXPONENTIAL_START = 0.03


@dataclass(frozen=True)
class Drift:
    """What happens to one life. onset: day (inf for never); shape: 'none', 'linear', 'exponential' or 'step'.

    size: ln per year (linear), days of e-fold (exponential), ln (step); above zero unless there is no drift.
    """

    onset: float = np.inf
    shape: str = NONE
    size: float = 0.0

    def __post_init__(self) -> None:
        if self.shape not in (NONE, LINEAR, EXPONENTIAL, STEP):
            raise ValueError(f"no drift has the shape {self.shape!r}")
        if self.shape != NONE and self.size <= 0:
            raise ValueError("the size of a drift must be above zero")

    def at(self, day: float) -> float:
        """ln added to the baseline at `day`."""
        elapsed = day - self.onset
        if self.shape == NONE or elapsed < 0:
            return 0.0
        if self.shape == LINEAR:
            return self.size * elapsed / YEAR
        if self.shape == EXPONENTIAL:
            return EXPONENTIAL_START * float(np.expm1(min(elapsed / self.size, 6.0)))
        return self.size

    def reaches(self, room: float) -> float:
        """Day on which the drift has added `room`; inf if it never does; the onset if there is no room."""
        if self.shape == NONE:
            return np.inf
        if room <= 0 or (self.shape == STEP and self.size >= room):
            return self.onset
        if self.shape == STEP:
            return np.inf
        if self.shape == LINEAR:
            return self.onset + room / self.size * YEAR
        return self.onset + self.size * float(np.log1p(room / EXPONENTIAL_START))


@dataclass(frozen=True)
class LifeTruth:
    """One life of one point.

    start, kind: day on which it began, with 'first', 'purge' or 'replacement'; baseline: ln above nominal
    crossing: day on which the true level meets the limit at 20 °C, inf for never.
    """

    start: float
    kind: str
    baseline: float
    drift: Drift
    crossing: float


@dataclass(frozen=True)
class SimulatedPoint:
    """A measuring point with its reference table.

    bias_per_10k: what the table misses of the true temperature law, ln; resolution: of its instrument,
    canonical units, zero for none.
    """

    reference: Reference
    bias_per_10k: float = 0.0
    resolution: float = 1.0


@dataclass(frozen=True)
class Noise:
    """Standard deviations: thermometer °C common to a check; repeat and gauge in ln; outliers a share.

    Of a simulated fleet each gauge has its own: a bias of 2/3 to 4/3 of `gauge` either way, and likewise a
    `repeat`.
    """

    thermometer: float = 0.5
    repeat: float = 0.03
    gauge: float = 0.015
    outliers: float = 0.01
    outlier_size: float = 0.25


@dataclass(frozen=True)
class Upkeep:
    """How points age and what a purge does.

    hazard: onsets per panel-year; resumes: chance that a gradual drift goes on after a purge, `faster` times
    as fast each time; residue: share of the drift that a purge leaves
    purges: so many over limit, then the part is replaced; level_sd: spread of clean points, ln
    routine: least and greatest number of checks between purges of all points that no reading asked for; None
        for no such purge
    mix: shares of linear, exponential and step drifts.
    """

    hazard: float = 0.06
    resumes: float = 0.0
    faster: float = 1.6
    residue: float = 0.1
    purges: int = 3
    level_sd: float = 0.15
    mix: tuple[float, float, float] = (0.45, 0.30, 0.25)
    routine: tuple[int, int] | None = None


def fluid_temperature(
    rng: np.random.Generator, day_of_year: ArrayLike, *, southern: bool = False, hangar: float = 0.35
) -> Floats:
    """Fluid temperatures, °C, of checks on these days of the year (0..366): cold in January, or in July if
    southern; a `hangar` share of the checks finds fluid near 18 °C. Within -9..34 °C."""
    day = np.asarray(day_of_year, dtype=float)
    season = np.cos(2 * np.pi * (day - 20) / YEAR) * (-1 if southern else 1)
    outside = 11 - 11 * season + rng.normal(0, 4, day.shape)
    inside = rng.normal(18, 2, day.shape)
    low, high = DEFAULT_CURVE.coldest, DEFAULT_CURVE.warmest
    return np.clip(np.where(rng.random(day.shape) < hangar, inside, outside), low + 1, high - 1)


def draw_drift(rng: np.random.Generator, after: float, lim: float, upkeep: Upkeep) -> Drift:
    """A drift that begins after `after` by the hazard, with sizes for a point whose room is about `lim`."""
    onset = after + float(rng.exponential(YEAR / upkeep.hazard)) if upkeep.hazard > 0 else np.inf
    shape = str(rng.choice([LINEAR, EXPONENTIAL, STEP], p=upkeep.mix))
    scale = lim / 0.405
    sizes = {
        LINEAR: float(rng.uniform(0.08, 0.5)) * scale,
        EXPONENTIAL: float(rng.uniform(200, 400)),
        STEP: float(rng.uniform(0.15, 0.6)) * scale,
    }
    return Drift(onset, shape, sizes[shape])


def begin_life(start: float, kind: str, baseline: float, drift: Drift, lim: float) -> LifeTruth:
    """A life with its true crossing day worked out."""
    return LifeTruth(start, kind, baseline, drift, drift.reaches(lim - baseline))
