"""Simulated fleets watched by the method, by the oracle and by the peers, and held against the truth."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from checks.engine.drift_score import Thresholds
from checks.engine.simulate import Noise
from checks.engine.simulate_entry import EntryQuestions
from checks.engine.simulate_fleet import SimulatedFleet, simulate_fleet
from checks.engine.simulate_rule import UPKEEP, Record, Watched, alarms, judge, pooled, watch
from tests.benchmarks.drift_oracle import oracle
from tests.benchmarks.drift_peers import (
    NOTHING,
    Rule,
    as_read,
    by_ewma,
    by_individuals,
    by_limit,
    by_theil_sen,
    compensated,
    watch_by,
)

NOISE = Noise()
MOST_FALSE = 1.0  # in 100 healthy panel-years
PEERS: tuple[tuple[str, Rule], ...] = (
    ("individuals chart", by_individuals),
    ("Theil–Sen to the next check", by_theil_sen),
    ("EWMA", by_ewma),
)


@dataclass(frozen=True, eq=False)
class Run:
    """One fleet. numbers: of each other rule at every row of `watched`, larger means nearer to a warning."""

    fleet: SimulatedFleet
    watched: Watched
    numbers: dict[str, np.ndarray]

    def judged(self, alarm: np.ndarray) -> Record:
        return judge(self.fleet, self.watched, alarm)


def run(seed: int, aircraft: int, *, questioned: bool, peers: bool) -> Run:
    fleet = simulate_fleet(
        seed, aircraft, noise=NOISE, upkeep=UPKEEP, question=EntryQuestions() if questioned else None
    )
    watched = watch(fleet)
    drift, cross = oracle(fleet, watched, NOISE, UPKEEP)
    numbers = {"oracle": np.maximum(drift, 2 * cross)}  # better on the tuning seeds than either alone
    if peers:
        raw, by_table = as_read(fleet), compensated(fleet)
        numbers["fixed limit"] = watch_by(by_limit, fleet, watched, raw)
        for name, rule in PEERS:
            numbers[f"{name}, as read"] = watch_by(rule, fleet, watched, raw)
            numbers[f"{name}, by the table"] = watch_by(rule, fleet, watched, by_table)
    return Run(fleet, watched, numbers)


def of_method(runs: Sequence[Run], thresholds: Thresholds) -> list[Record]:
    """The method with fixed thresholds, one record for each fleet."""
    return [one.judged(alarms(one.fleet, one.watched, thresholds)) for one in runs]


def above(runs: Sequence[Run], name: str, threshold: float) -> list[Record]:
    """Another rule with its threshold, one record for each fleet."""
    return [one.judged(~one.watched.over & (one.numbers[name] > threshold)) for one in runs]


def at_best(runs: Sequence[Run], name: str) -> tuple[float, list[Record]]:
    """The other rule at the threshold that is best for it in these very runs: the lowest that keeps it within
    the false alarms allowed."""
    values = np.concatenate([one.numbers[name] for one in runs])
    values = np.unique(values[values > NOTHING])
    low, high = 0, len(values) - 1
    while low < high:
        middle = (low + high) // 2
        if pooled(above(runs, name, values[middle])).false_alarms <= MOST_FALSE:
            high = middle
        else:
            low = middle + 1
    return float(values[high]), above(runs, name, values[high])


def coverage(one: Run) -> tuple[int, int]:
    """Next readings that fell inside the 90 % interval, of so many; from the second reading of a life on."""
    w = one.watched
    came = np.isfinite(w.y_next) & (w.count >= 2)
    held = (w.low <= w.y_next) & (w.y_next <= w.high)
    return int((held & came).sum()), int(came.sum())


def notices(one: Run, thresholds: Thresholds) -> tuple[int, float]:
    """Whole-aircraft notices that begin where nothing drifts, and the aircraft-years so far without drift.

    An aircraft is counted once while any of its points carries the notice.
    """
    w, fleet = one.watched, one.fleet
    points = len(fleet.points)
    onset = np.array([life.drift.onset for life in fleet.lives])
    own = alarms(fleet, w, thresholds)
    whole = ~w.over & (w.count >= 2) & ~own
    whole &= (w.whole_cross > thresholds.whole_closing) | (w.whole_drift > thresholds.whole_drifting)
    aircraft = fleet.series_of[w.life] // points
    keys, place = np.unique(np.stack([aircraft, w.day]), axis=1, return_inverse=True)
    noticed, drifting = np.zeros(keys.shape[1], dtype=bool), np.zeros(keys.shape[1], dtype=bool)
    np.logical_or.at(noticed, place, whole)
    np.logical_or.at(drifting, place, w.day >= onset[w.life])
    same = np.append(False, keys[0][1:] == keys[0][:-1])
    before = same & np.append(False, noticed[:-1])
    begins = noticed & ~before & ~drifting
    gaps = np.append(np.diff(keys[1]), 0)
    calm = np.append(same[1:], False) & ~drifting
    return int(begins.sum()), float(gaps[calm].sum()) / 365.25
