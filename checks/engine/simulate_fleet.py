"""A seeded fleet of one variant whose truth is known; readings may be questioned as they are entered.

Invented physics and figures: simulated truth, no field data.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from checks.engine.drift_data import FIRST, Floats, Ints, Lives, Readings
from checks.engine.drift_reference import Reference, ln_viscosity_ratio
from checks.engine.fluid import DEFAULT_CURVE
from checks.engine.simulate import (
    YEAR,
    LifeTruth,
    Noise,
    SimulatedPoint,
    Upkeep,
    begin_life,
    draw_drift,
    fluid_temperature,
)
from checks.engine.simulate_aircraft import Conditions, SimulatedAircraft, SimulatedReading, Steps

QUARTER = 90.0

Row = tuple[float, ...]


@dataclass(frozen=True, eq=False)
class SimulatedFleet:
    """Readings with their truth.

    lives[i] is the truth of life number i, which belongs to series series_of[i]; series numbers are
    aircraft × points + point; over, true_c (°C), asked: for each reading; starts: what `score` takes as lives
    gauge_effects: ln, gauge_repeats: sd, of each gauge; questioned: whether readings were, at their entry.
    """

    readings: Readings
    over: np.ndarray
    true_c: Floats
    asked: np.ndarray
    starts: Lives
    references: dict[int, Reference]
    lives: tuple[LifeTruth, ...]
    series_of: Ints
    points: tuple[SimulatedPoint, ...]
    gauge_effects: Floats
    gauge_repeats: Floats
    days: float
    questioned: bool

    @property
    def ends(self) -> Floats:
        """Day on which each life was over, or the records end, (lives,)."""
        starts = np.array([life.start for life in self.lives])
        order = np.lexsort((np.arange(len(starts)), self.series_of))
        following = np.append(order[1:], -1)
        same = np.append(self.series_of[order[1:]] == self.series_of[order[:-1]], False)
        ends = np.full(len(starts), self.days)
        ends[order[same]] = starts[following[same]]
        return ends


Questioner = Callable[[SimulatedFleet, SimulatedFleet], np.ndarray]


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
    question: Questioner | None = None,
) -> SimulatedFleet:
    """A fleet of one variant with `points` panel ports each, every point a group of its own.

    check_bias: sd of what the groups' tables miss of the true temperature law, ln per 10 K
    question: asked at every entry, of (the fleet as recorded before, what is being entered): which of these
        readings, (n,), are to be taken again. Each aircraft has random numbers of its own.
    """
    rng = np.random.default_rng(seed)
    made = _Making(
        tuple(_draw_point(rng, check_bias) for _ in range(points)),
        *_draw_gauges(rng, noise or Noise(), gauges),
        days=years * YEAR,
        questioned=question is not None,
    )
    for number, own in enumerate(rng.spawn(aircraft)):
        made.begin(number, own, noise or Noise(), upkeep or Upkeep(), days_between)
    if question is None:
        for number in range(aircraft):
            made.run(number)
    else:
        made.run_questioned(question)
    return made.fleet(made.read)


@dataclass(eq=False)
class _Making:
    """A fleet while it is simulated; of each aircraft: the gauge of each check, its steps, its readings."""

    points: tuple[SimulatedPoint, ...]
    gauge_effects: Floats
    gauge_repeats: Floats
    days: float
    questioned: bool
    aircraft: list[SimulatedAircraft] = field(default_factory=list)
    gauges: list[Ints] = field(default_factory=list)
    steps: list[Steps] = field(default_factory=list)
    read: list[list[Row]] = field(default_factory=list)

    def begin(
        self,
        number: int,
        rng: np.random.Generator,
        noise: Noise,
        upkeep: Upkeep,
        between: tuple[float, float],
    ) -> None:
        days = np.cumsum(rng.uniform(*between, int(self.days / between[0]) + 2))
        days = np.floor(days[days < self.days])
        used = rng.integers(0, len(self.gauge_effects), len(days))
        warmth = fluid_temperature(rng, days % YEAR, southern=number % 8 == 7)
        first = [_draw_first(rng, point.reference.lim, upkeep) for point in self.points]
        told = zip(days, warmth, self.gauge_effects[used], self.gauge_repeats[used], strict=True)
        checks = [Conditions(*map(float, row)) for row in told]
        self.aircraft.append(SimulatedAircraft(rng, self.points, first, noise, upkeep))
        self.gauges.append(used)
        self.steps.append(self.aircraft[-1].steps(checks))
        self.read.append([])

    def run(self, number: int) -> None:
        for read in self.steps[number]:
            self.read[number] += self._rows(number, read)

    def _rows(self, number: int, read: Sequence[SimulatedReading]) -> list[Row]:
        """Columns of `Readings` and of the fleet for each reading; lives counted within the aircraft."""
        return [
            (
                *(number * len(self.points) + r.point, r.life, (number * 1000 + r.check) * 10 + r.attempt),
                *(r.day, r.temperature_c, r.value, self.gauges[number][r.check], r.point),
                *(self.points[r.point].resolution, r.over, r.true_c, r.asked),
            )
            for r in read
        ]

    def run_questioned(self, question: Questioner) -> None:
        """All aircraft side by side, a quarter at a time, so that what is asked is asked of many at once."""
        entered = [next(steps, ()) for steps in self.steps]
        until = QUARTER
        while any(entered):
            while any(read and read[0].day < until for read in entered):
                now = [read if read and read[0].day < until else () for read in entered]
                rows = [self._rows(number, read) for number, read in enumerate(now)]
                doubted = question(self.fleet(self.read), self.fleet(rows))
                at = 0
                for number, read in enumerate(now):
                    if not read:
                        continue
                    again = {
                        r.point for r, odd in zip(read, doubted[at : at + len(read)], strict=True) if odd
                    }
                    at += len(read)
                    if again:
                        read = self.steps[number].send(again)
                    self.read[number] += self._rows(number, read)
                    entered[number] = next(self.steps[number], ())
            until += QUARTER

    def fleet(self, read: list[list[Row]]) -> SimulatedFleet:
        """The fleet with these readings of each aircraft and all lives so far."""
        lengths = [len(of_aircraft) for of_aircraft in read]
        offsets = np.cumsum([0] + [len(one.told) for one in self.aircraft])[:-1]
        told = [(a, p, truth) for a, one in enumerate(self.aircraft) for p, truth in one.told]
        points = len(self.points)
        columns = np.array([row for rows in read for row in rows], dtype=float).reshape(-1, 12).T
        columns[1] += np.repeat(offsets, lengths)
        lives = tuple(truth for _, _, truth in told)
        return SimulatedFleet(
            readings=Readings(*columns[:9]),
            over=columns[9].astype(bool),
            true_c=columns[10],
            asked=columns[11].astype(bool),
            starts=Lives(
                np.arange(len(lives)), np.array([t.start for t in lives]), tuple(t.kind for t in lives)
            ),
            references={p: point.reference for p, point in enumerate(self.points)},
            lives=lives,
            series_of=np.array([a * points + p for a, p, _ in told], dtype=np.int64),
            points=self.points,
            gauge_effects=self.gauge_effects,
            gauge_repeats=self.gauge_repeats,
            days=self.days,
            questioned=self.questioned,
        )


def _draw_gauges(rng: np.random.Generator, noise: Noise, gauges: int) -> tuple[Floats, Floats]:
    """Effect, ln, and sd of repeating a reading, of each gauge: 1–2 % and 2–4 % at the default noise."""
    effects = rng.choice([-1.0, 1.0], gauges) * rng.uniform(2 / 3, 4 / 3, gauges) * noise.gauge
    return effects, rng.uniform(2 / 3, 4 / 3, gauges) * noise.repeat


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
