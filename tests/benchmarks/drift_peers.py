"""Simple rules beside the method: a fixed limit, an individuals chart, Theil–Sen, EWMA.

Each gives a number for every moment at which the method spoke; larger means nearer to a warning. `x` of a
reading is ln of it beside its limit: the limit at 20 °C for readings taken as they are, the limit at the
temperature read for compensated ones.
"""

from collections.abc import Callable

import numpy as np

from checks.engine.simulate_fleet import SimulatedFleet
from checks.engine.simulate_rule import Watched

D2 = 1.128  # of moving ranges of two, as the e-Handbook rounds it
EWMA_SHARE = 0.5
CLIP = 3.0
NOTHING = -1e9


def as_read(fleet: SimulatedFleet) -> np.ndarray:
    """ln of every reading beside the limit at 20 °C, whatever its temperature, (n,)."""
    limits = np.array([point.reference.limit_20 for point in fleet.points])
    return np.log(fleet.readings.value / limits[fleet.readings.group])


def compensated(fleet: SimulatedFleet) -> np.ndarray:
    """ln of every reading beside the limit at the temperature read, (n,)."""
    x = np.empty(len(fleet.readings))
    for group, point in enumerate(fleet.points):
        rows = fleet.readings.group == group
        limit = point.reference.at(fleet.readings.temperature_c[rows])
        x[rows] = np.log(fleet.readings.value[rows] / limit)
    return x


def individuals_limits(x: np.ndarray, sds: float = 3.0) -> tuple[float, float, float]:
    """Lower limit, centre and upper limit of an individuals chart by moving ranges of two."""
    spread = np.abs(np.diff(x)).mean() / D2
    centre = float(x.mean())
    return centre - sds * spread, centre, centre + sds * spread


def ewma(x: np.ndarray, share: float, start: float) -> np.ndarray:
    """Exponentially weighted moving averages, (n,)."""
    found, last = [], start
    for value in x:
        last = share * value + (1 - share) * last
        found.append(last)
    return np.array(found)


def theil_sen(t: np.ndarray, x: np.ndarray) -> tuple[float, float]:
    """Median of pairwise slopes, and median(x) - slope × median(t). Days of one value give no slope."""
    i, j = np.triu_indices(len(t), 1)
    apart = t[j] != t[i]
    if not apart.any():
        return 0.0, float(np.median(x))
    slope = float(np.median((x[j] - x[i])[apart] / (t[j] - t[i])[apart]))
    return slope, float(np.median(x) - slope * np.median(t))


def by_limit(t: np.ndarray, x: np.ndarray, ahead: float) -> float:
    """The last reading itself: above 0 it is over the limit."""
    return float(x[-1])


def by_individuals(t: np.ndarray, x: np.ndarray, ahead: float) -> float:
    """Standard deviations of the last reading above the mean of those before it, three at least."""
    if len(x) < 4:
        return NOTHING
    _, centre, high = individuals_limits(x[:-1], 1.0)
    return float((x[-1] - centre) / max(high - centre, 1e-3))


def by_theil_sen(t: np.ndarray, x: np.ndarray, ahead: float) -> float:
    """Where the line through three readings or more will be at the next check, beside the limit."""
    if len(x) < 3:
        return NOTHING
    slope, level = theil_sen(t, x)
    return level + slope * ahead


def by_ewma(t: np.ndarray, x: np.ndarray, ahead: float, sd: float = 0.04) -> float:
    """EWMA of standardised distances from the running mean of the readings before."""
    if len(x) < 2:
        return NOTHING
    before = np.arange(1, len(x))
    mean = np.cumsum(x)[:-1] / before
    z = np.clip((x[1:] - mean) / (sd * np.sqrt(1 + 1 / before)), -CLIP, CLIP)
    return float(ewma(z, EWMA_SHARE, 0.0)[-1])


Rule = Callable[[np.ndarray, np.ndarray, float], float]


def watch_by(rule: Rule, fleet: SimulatedFleet, watched: Watched, x: np.ndarray) -> np.ndarray:
    """The rule's number at every row of `watched`, (m,)."""
    readings = fleet.readings
    order = np.lexsort((readings.value, readings.check, readings.day, readings.life))
    edges = np.searchsorted(readings.life[order], np.arange(len(fleet.lives) + 1))
    t, x = readings.day[order], x[order]
    found = np.empty(len(watched.life))
    for row, (life, count, ahead) in enumerate(
        zip(watched.life, watched.count, watched.next_day, strict=True)
    ):
        part = slice(edges[life], edges[life] + count)
        found[row] = rule(t[part], x[part], float(ahead))
    return found
