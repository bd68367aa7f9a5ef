"""Readings of one simulated aircraft, check by check: over its limit a point is purged and read again."""

from __future__ import annotations

from collections.abc import Collection, Generator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from checks.engine.drift_data import PURGE, REPLACEMENT
from checks.engine.drift_reference import AT, ln_viscosity_ratio
from checks.engine.fluid import DEFAULT_CURVE
from checks.engine.simulate import (
    EXPONENTIAL,
    LINEAR,
    LifeTruth,
    Noise,
    SimulatedPoint,
    Upkeep,
    begin_life,
    draw_drift,
)

ATTEMPTS = 4


@dataclass(frozen=True)
class SimulatedReading:
    """One reading; point and life are positions in the truth handed back with it.

    attempt: 0 is the check, 1 and up the tests repeated after a purge or a new part on the same day
    temperature_c: as read, true_c: as it was; over: against the limit at the temperature read
    asked: read twice, since the first was questioned at entry; the second stands.
    """

    check: int
    attempt: int
    day: float
    point: int
    life: int
    temperature_c: float
    true_c: float
    value: float
    over: bool
    asked: bool = False


@dataclass(frozen=True)
class Conditions:
    """One check. true_c: °C; gauge_effect: ln; repeat: sd of repeating a reading with its gauge, ln."""

    day: float
    true_c: float
    gauge_effect: float
    repeat: float


Told = tuple[tuple[int, LifeTruth], ...]
Steps = Generator[tuple[SimulatedReading, ...], Collection[int], None]


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
) -> tuple[tuple[SimulatedReading, ...], Told]:
    """All readings of one aircraft, and its lives as (point, truth) in the order in which they began.

    first: the first life of every point; temperatures: true, °C, and gauge_effects: ln, one for each check
    (none given: no effect). Where a reading is over its limit the point is purged that day, or its part
    replaced after `upkeep.purges` purges, and all points are read again in the next attempt, at most three
    times.
    """
    noise = noise or Noise()
    effects = gauge_effects if len(gauge_effects) else [0.0] * len(check_days)
    checks = [
        Conditions(day, warmth, effect, noise.repeat)
        for day, warmth, effect in zip(check_days, temperatures, effects, strict=True)
    ]
    aircraft = SimulatedAircraft(rng, points, first, noise, upkeep or Upkeep())
    readings = [reading for read in aircraft.steps(checks) for reading in read]
    return tuple(readings), aircraft.told


class SimulatedAircraft:
    """One aircraft on its way through its checks; `told` grows as lives begin."""

    def __init__(
        self,
        rng: np.random.Generator,
        points: Sequence[SimulatedPoint],
        first: Sequence[LifeTruth],
        noise: Noise,
        upkeep: Upkeep,
    ) -> None:
        self._rng, self._points, self._noise, self._upkeep = rng, points, noise, upkeep
        self._lives = list(enumerate(first))
        self._running = list(range(len(first)))
        self._purges = [0] * len(points)
        self._checks_left = self._routine()

    @property
    def told(self) -> Told:
        """(point, truth) of each life so far, in the order in which they began."""
        return tuple(self._lives)

    def steps(self, checks: Sequence[Conditions]) -> Steps:
        """The readings of each attempt; points sent back to it are read once more, and the second stands.

        Iterated over, nothing is questioned.
        """
        for number, check in enumerate(checks):
            shown = 0.0
            for attempt in range(ATTEMPTS):
                shown = self._thermometer(check)
                read = [self._read(number, attempt, check, shown, p) for p in range(len(self._points))]
                questioned = yield tuple(read)
                if questioned:
                    for p in sorted(questioned):
                        read[p] = replace(self._read(number, attempt, check, shown, p), asked=True)
                    yield tuple(read)
                ended = {r.point for r in read if r.over}
                routine = self._due_for_purge() if attempt == 0 else set[int]()
                if not ended | routine or attempt == ATTEMPTS - 1:
                    break
                for p in sorted(ended | routine):
                    self._renew(p, check.day, over=p in ended)

    def _thermometer(self, check: Conditions) -> float:
        low, high = DEFAULT_CURVE.coldest, DEFAULT_CURVE.warmest
        return float(
            np.clip(round(check.true_c + self._rng.normal(0, self._noise.thermometer), 1), low, high)
        )

    def _read(self, number: int, attempt: int, check: Conditions, shown: float, at: int) -> SimulatedReading:
        point, life, reference = self._points[at], self._running[at], self._points[at].reference
        truth, rng, noise = self._lives[life][1], self._rng, self._noise
        ln = truth.baseline + truth.drift.at(check.day) + check.gauge_effect + rng.normal(0, check.repeat)
        ln += reference.viscosity_exponent * float(ln_viscosity_ratio(check.true_c))
        ln += point.bias_per_10k * (check.true_c - AT) / 10
        if rng.random() < noise.outliers:
            ln += noise.outlier_size * rng.choice([-1, 1])
        value = reference.nominal * float(np.exp(ln))
        if point.resolution > 0:
            value = max(round(value / point.resolution), 1) * point.resolution
        over = bool(value > reference.at(shown))
        return SimulatedReading(number, attempt, check.day, at, life, shown, check.true_c, value, over)

    def _routine(self) -> float:
        routine = self._upkeep.routine
        return np.inf if routine is None else float(self._rng.integers(routine[0], routine[1] + 1))

    def _due_for_purge(self) -> set[int]:
        """All points at once where it is time for the routine purge."""
        self._checks_left -= 1
        if self._checks_left > 0:
            return set()
        self._checks_left = self._routine()
        return set(range(len(self._points)))

    def _renew(self, at: int, day: float, *, over: bool) -> None:
        """Purge a point, or replace its part after too many purges that it needed."""
        self._purges[at] += over
        life, upkeep = self._lives[self._running[at]][1], self._upkeep
        lim = self._points[at].reference.lim
        if self._purges[at] > upkeep.purges:
            self._purges[at] = 0
            fresh = float(self._rng.normal(0, upkeep.level_sd))
            drift = draw_drift(self._rng, day, lim, upkeep)
            begun = begin_life(day, REPLACEMENT, min(fresh, 0.6 * lim), drift, lim)
        else:
            begun = _purged(self._rng, life, day, lim, upkeep)
        self._running[at] = len(self._lives)
        self._lives.append((at, begun))


def _purged(rng: np.random.Generator, life: LifeTruth, day: float, lim: float, upkeep: Upkeep) -> LifeTruth:
    """The life that begins when a point was purged."""
    left = upkeep.residue * life.drift.at(day)
    drift = draw_drift(rng, day, lim, upkeep)
    gradual = life.drift.shape in (LINEAR, EXPONENTIAL) and life.drift.onset <= day
    if gradual and rng.random() < upkeep.resumes:
        size = life.drift.size
        faster = size * upkeep.faster if life.drift.shape == LINEAR else size / upkeep.faster
        drift = replace(life.drift, onset=day, size=faster)
    return begin_life(day, PURGE, life.baseline + left, drift, lim)
