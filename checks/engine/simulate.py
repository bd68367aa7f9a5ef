"""A seeded fleet whose truth is known: readings of points that drift, are purged, and drift again.

Invented physics and figures: simulated truth, no field data. One aircraft at a time (`simulate_aircraft`)
from its check days, fluid temperatures and the truth of each point, or a whole fleet at once
(`simulate_fleet`). ln is natural, days count from any epoch, readings are in canonical units (kPa, mL/min).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from checks.engine.drift_data import FIRST, PURGE, REPLACEMENT, Floats, Ints, Lives, Readings
from checks.engine.drift_reference import AT, Reference, ln_viscosity_ratio
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
    """Standard deviations: thermometer °C common to a check; repeat and gauge in ln; outliers a share."""

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
    purges: so many, then the part is replaced; level_sd: spread of clean points, ln
    mix: shares of linear, exponential and step drifts.
    """

    hazard: float = 0.06
    resumes: float = 0.0
    faster: float = 1.6
    residue: float = 0.1
    purges: int = 3
    level_sd: float = 0.15
    mix: tuple[float, float, float] = (0.45, 0.30, 0.25)


@dataclass(frozen=True)
class SimulatedReading:
    """One reading; point and life are positions in the truth handed back with it.

    attempt: 0 is the check, 1 and up the tests repeated after a purge or a new part on the same day
    over: against the limit at the temperature read.
    """

    check: int
    attempt: int
    day: float
    point: int
    life: int
    temperature_c: float
    value: float
    over: bool


@dataclass(frozen=True, eq=False)
class SimulatedFleet:
    """Readings with their truth.

    lives[i] is the truth of life number i, which belongs to series series_of[i]; series numbers are
    aircraft × points + point; over: for each reading; starts: what `score` takes as lives.
    """

    readings: Readings
    over: np.ndarray
    starts: Lives
    references: dict[int, Reference]
    lives: tuple[LifeTruth, ...]
    series_of: Ints
    points: tuple[SimulatedPoint, ...]
    days: float


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


def simulate_aircraft(
    rng: np.random.Generator,
    points: Sequence[SimulatedPoint],
    first: Sequence[LifeTruth],
    check_days: Sequence[float],
    temperatures: Sequence[float],
    *,
    gauge_effects: Sequence[float] = (),
    noise: Noise | None = None,
    upkeep: Upkeep | None = None,
) -> tuple[tuple[SimulatedReading, ...], tuple[tuple[int, LifeTruth], ...]]:
    """All readings of one aircraft, and its lives as (point, truth) in the order in which they began.

    first: the first life of every point; temperatures: true, °C, and gauge_effects: ln, one for each check
    (none
    given: no effect). Where a reading is over its limit the point is purged that day, or its part replaced
    after `upkeep.purges` purges, and all points are read again in the next attempt, at most three times.
    """
    noise, upkeep = noise or Noise(), upkeep or Upkeep()
    lives = list(enumerate(first))
    running = list(range(len(first)))
    purges = [0] * len(points)
    readings: list[SimulatedReading] = []
    for check, (day, temperature) in enumerate(zip(check_days, temperatures, strict=True)):
        effect = gauge_effects[check] if len(gauge_effects) else 0.0
        for attempt in range(4):
            read = _read_all(rng, points, [lives[i][1] for i in running], day, temperature, effect, noise)
            readings += [
                SimulatedReading(check, attempt, day, p, running[p], shown, value, over)
                for p, (shown, value, over) in enumerate(read)
            ]
            over_points = [p for p, (_, _, over) in enumerate(read) if over]
            if not over_points or attempt == 3:
                break
            for p in over_points:
                purges[p] += 1
                renewed = _after_over(
                    rng, lives[running[p]][1], day, points[p].reference.lim, purges[p], upkeep
                )
                purges[p] = 0 if renewed.kind == REPLACEMENT else purges[p]
                running[p] = len(lives)
                lives.append((p, renewed))
    return tuple(readings), tuple(lives)


def _read_all(
    rng: np.random.Generator,
    points: Sequence[SimulatedPoint],
    lives: Sequence[LifeTruth],
    day: float,
    temperature: float,
    gauge_effect: float,
    noise: Noise,
) -> list[tuple[float, float, bool]]:
    """(temperature read, value, over) of every point at one attempt."""
    low, high = DEFAULT_CURVE.coldest, DEFAULT_CURVE.warmest
    shown = float(np.clip(round(temperature + rng.normal(0, noise.thermometer), 1), low, high))
    read = []
    for point, life in zip(points, lives, strict=True):
        reference = point.reference
        ln = life.baseline + life.drift.at(day) + gauge_effect + rng.normal(0, noise.repeat)
        ln += reference.viscosity_exponent * float(ln_viscosity_ratio(temperature))
        ln += point.bias_per_10k * (temperature - AT) / 10
        if rng.random() < noise.outliers:
            ln += noise.outlier_size * rng.choice([-1, 1])
        value = reference.nominal * float(np.exp(ln))
        if point.resolution > 0:
            value = max(round(value / point.resolution), 1) * point.resolution
        read.append((shown, value, bool(value > reference.at(shown))))
    return read


def _after_over(
    rng: np.random.Generator, life: LifeTruth, day: float, lim: float, purges: int, upkeep: Upkeep
) -> LifeTruth:
    """The life that begins when a point was purged, or its part replaced after too many purges."""
    if purges > upkeep.purges:
        fresh = float(rng.normal(0, upkeep.level_sd))
        return begin_life(day, REPLACEMENT, min(fresh, 0.6 * lim), draw_drift(rng, day, lim, upkeep), lim)
    left = upkeep.residue * life.drift.at(day)
    drift = draw_drift(rng, day, lim, upkeep)
    gradual = life.drift.shape in (LINEAR, EXPONENTIAL) and life.drift.onset <= day
    if gradual and rng.random() < upkeep.resumes:
        size = life.drift.size
        faster = size * upkeep.faster if life.drift.shape == LINEAR else size / upkeep.faster
        drift = replace(life.drift, onset=day, size=faster)
    return begin_life(day, PURGE, life.baseline + left, drift, lim)


def simulate_fleet(
    seed: int,
    aircraft: int = 24,
    points: int = 8,
    years: float = 6.0,
    *,
    noise: Noise | None = None,
    upkeep: Upkeep | None = None,
    days_between: tuple[float, float] = (60.0, 200.0),
    gauges: int = 12,
    check_bias: float = 0.03,
) -> SimulatedFleet:
    """A fleet of one variant with `points` panel ports each, every point a group of its own.

    check_bias: sd of what the groups' tables miss of the true temperature law, ln per 10 K.
    """
    rng = np.random.default_rng(seed)
    noise, upkeep = noise or Noise(), upkeep or Upkeep()
    kinds = tuple(_draw_point(rng, check_bias) for _ in range(points))
    effects = rng.normal(0, noise.gauge, gauges)
    rows: list[tuple[float, ...]] = []
    lives: list[LifeTruth] = []
    series_of: list[int] = []
    checks = 0
    for a in range(aircraft):
        days = np.cumsum(rng.uniform(*days_between, int(years * YEAR / days_between[0]) + 2))
        days = np.floor(days[days < years * YEAR])
        used = rng.integers(0, gauges, len(days))
        read, told = simulate_aircraft(
            rng,
            kinds,
            [_draw_first(rng, p.reference.lim, upkeep) for p in kinds],
            days.tolist(),
            fluid_temperature(rng, days % YEAR, southern=a % 8 == 7).tolist(),
            gauge_effects=effects[used].tolist(),
            noise=noise,
            upkeep=upkeep,
        )
        offset = len(lives)
        lives += [truth for _, truth in told]
        series_of += [a * points + p for p, _ in told]
        attempts = {key: checks + i for i, key in enumerate(sorted({(r.check, r.attempt) for r in read}))}
        checks += len(attempts)
        for r in read:
            known = (a * points + r.point, offset + r.life, attempts[r.check, r.attempt], r.day)
            value = (r.temperature_c, r.value, used[r.check], r.point, kinds[r.point].resolution)
            rows.append((*known, *value, r.over))
    columns = np.array(rows, dtype=float).reshape(-1, 10).T
    return SimulatedFleet(
        readings=Readings(*columns[:9]),
        over=columns[9].astype(bool),
        starts=Lives(np.arange(len(lives)), np.array([t.start for t in lives]), tuple(t.kind for t in lives)),
        references={p: kind.reference for p, kind in enumerate(kinds)},
        lives=tuple(lives),
        series_of=np.array(series_of, dtype=np.int64),
        points=kinds,
        days=years * YEAR,
    )


def _draw_point(rng: np.random.Generator, check_bias: float) -> SimulatedPoint:
    """A panel port: clean at 60..120 kPa, limit half as much again in ten rows, steps of 0.1–0.5 psi."""
    nominal = float(rng.uniform(60, 120))
    warmth = np.linspace(DEFAULT_CURVE.coldest, DEFAULT_CURVE.warmest, 10)
    limits = 1.5 * nominal * np.exp(ln_viscosity_ratio(warmth))
    resolution = float(rng.choice([0.1, 0.2, 0.5])) * 6.894757
    return SimulatedPoint(
        Reference(tuple(warmth), tuple(limits), nominal), float(rng.normal(0, check_bias)), resolution
    )


def _draw_first(rng: np.random.Generator, lim: float, upkeep: Upkeep) -> LifeTruth:
    """A point's first life, a clean part of its own level; a few began to drift before the records did."""
    baseline = min(float(rng.normal(0, upkeep.level_sd)), 0.6 * lim)
    drift = draw_drift(rng, -120.0 if upkeep.hazard else 0.0, lim, upkeep)
    return begin_life(0.0, FIRST, baseline, drift, lim)
