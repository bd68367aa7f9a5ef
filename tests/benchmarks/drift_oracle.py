"""A judge of drift that knows every nuisance: the mark that the method is held against.

It knows the temperature law, the true temperature, every gauge's bias and noise, how often readings are
outliers and of what size, and the laws by which drifts are drawn. It does not know a panel's level and not
the future. What it cannot know it integrates out over a fine grid of onsets and sizes.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from checks.engine.drift_reference import AT, ln_viscosity_ratio
from checks.engine.simulate import EXPONENTIAL_START, YEAR, Noise, Upkeep
from checks.engine.simulate_fleet import SimulatedFleet
from checks.engine.simulate_rule import Watched

ONSET_STEP = 45.0
BEFORE = 120.0  # a first life may drift from so long before its first day
SIZES = {"linear": 7, "exponential": 5, "step": 5}
PASSES = 4
CELLS = 1_000_000


@dataclass(frozen=True, eq=False)
class Known:
    """y: ln above nominal at 20 °C with all that is known taken out, v: its variance; both (n,)."""

    y: np.ndarray
    v: np.ndarray


@dataclass(frozen=True, eq=False)
class Bank:
    """H hypotheses. onset: days since the life began, inf for none; rate: ln per year, tau: days of e-fold
    (inf for none), step: ln; of a limit 0.405 above nominal; ln prior of a later and of a first life."""

    onset: np.ndarray
    rate: np.ndarray
    tau: np.ndarray
    step: np.ndarray
    ln_later: np.ndarray
    ln_first: np.ndarray

    def rise(self, t: np.ndarray, scale: np.ndarray) -> np.ndarray:
        """ln added at t (L, m) where the limit is `scale` (L,) times as far as usual: (L, H, m)."""
        elapsed = t[:, None, :] - self.onset[:, None]
        begun = elapsed >= 0
        elapsed = np.where(begun, elapsed, 0.0)
        sized = elapsed * (self.rate / YEAR)[:, None] + begun * self.step[:, None]
        grown = EXPONENTIAL_START * np.expm1(np.minimum(elapsed / self.tau[:, None], 6.0))
        return sized * scale[:, None, None] + grown


def make_bank(longest: float, upkeep: Upkeep, step: float = ONSET_STEP, finer: int = 1) -> Bank:
    """Hypotheses for a life that has lasted `longest` days with its horizon."""
    onsets = np.arange(-BEFORE + step / 2, max(longest, step) + step, step)
    rates = _middles(0.08, 0.5, SIZES["linear"] * finer)
    taus = _middles(200, 400, SIZES["exponential"] * finer)
    steps = _middles(0.15, 0.6, SIZES["step"] * finer)
    counts = np.array([len(rates), len(taus), len(steps)])
    none = np.zeros
    rate = np.concatenate([rates, none(len(taus)), none(len(steps))])
    tau = np.concatenate([np.full(len(rates), np.inf), taus, np.full(len(steps), np.inf)])
    jump = np.concatenate([none(len(rates)), none(len(taus)), steps])
    share = np.repeat(np.array(upkeep.mix) / counts, counts)
    priors = []
    for since in (0.0, -BEFORE):
        low = np.maximum(onsets - step / 2, since) - since
        high = np.maximum(onsets + step / 2, since) - since
        hazard = upkeep.hazard / YEAR
        begun = np.exp(-hazard * low) - np.exp(-hazard * high)
        cells = (begun[:, None] * share).ravel()
        priors.append(np.log(np.append(cells, np.exp(-hazard * high[-1])) + 1e-300))
    many = len(onsets)
    return Bank(
        onset=np.append(np.repeat(onsets, len(share)), np.inf),
        rate=np.append(np.tile(rate, many), 0.0),
        tau=np.append(np.tile(tau, many), np.inf),
        step=np.append(np.tile(jump, many), 0.0),
        ln_later=priors[0],
        ln_first=priors[1],
    )


def known(fleet: SimulatedFleet) -> Known:
    """Everything known taken out of every reading."""
    readings = fleet.readings
    nominal = np.array([p.reference.nominal for p in fleet.points])[readings.group]
    bias = np.array([p.bias_per_10k for p in fleet.points])[readings.group]
    y = np.log(readings.value / nominal) - ln_viscosity_ratio(fleet.true_c)
    y -= bias * (fleet.true_c - AT) / 10 + fleet.gauge_effects[readings.gauge]
    rounding = readings.resolution**2 / (12 * readings.value**2)
    return Known(y, fleet.gauge_repeats[readings.gauge] ** 2 + rounding)


@dataclass(frozen=True, eq=False)
class Asked:
    """Moments in lives, (m,) each: the first `count` readings of a life are known; days since it began."""

    life: np.ndarray
    count: np.ndarray
    now: np.ndarray
    ahead: np.ndarray

    def take(self, rows: np.ndarray) -> "Asked":
        return Asked(self.life[rows], self.count[rows], self.now[rows], self.ahead[rows])


def oracle(
    fleet: SimulatedFleet, watched: Watched, noise: Noise, upkeep: Upkeep, **fineness: float
) -> tuple[np.ndarray, np.ndarray]:
    """P(drift has begun) and P(over the limit at the next check) for every row of `watched`, (m,) each.

    Lives are taken in the order in which they follow one another in their series, so that a life after a
    purge begins with all that the life before it taught of the level.
    """
    judge = _Judge(fleet, noise, upkeep, **fineness)
    start = fleet.starts.start_day
    of = watched.life
    asked = Asked(of, watched.count, watched.day - start[of], watched.next_day - start[of])
    lives = np.flatnonzero(judge.sizes > 0)
    final = Asked(lives, judge.sizes[lives], *[(fleet.ends - start)[lives]] * 2)
    found = np.full((2, len(of)), np.nan)
    rank = _rank_in_series(fleet)
    for turn in range(rank.max() + 1):
        rows = np.flatnonzero(rank[of] == turn)
        for part in _parts(rows, asked):
            found[:, part] = judge.weigh(asked.take(part))[:2]
        for part in _parts(np.flatnonzero(rank[lives] == turn), final):
            judge.learn(lives[part], *judge.weigh(final.take(part))[2:])
    return found[0], found[1]


class _Judge:
    """Holds what is believed of the level of every life before its first reading."""

    def __init__(
        self, fleet: SimulatedFleet, noise: Noise, upkeep: Upkeep, step: float = ONSET_STEP, finer: float = 1
    ) -> None:
        self.fleet, self.noise, self.upkeep = fleet, noise, upkeep
        self.fineness = (step, int(finer))
        self.what = known(fleet)
        readings, many = fleet.readings, len(fleet.lives)
        self.order = np.lexsort((readings.value, readings.check, readings.day, readings.life))
        self.edges = np.searchsorted(readings.life[self.order], np.arange(many + 1))
        self.sizes = np.diff(self.edges)
        self.mean, self.sd = np.zeros(many), np.full(many, upkeep.level_sd)
        self.kind = np.array(fleet.starts.kind)
        self.following = _following(fleet)
        lims = np.array([point.reference.lim for point in fleet.points])
        self.lim = lims[fleet.series_of % len(fleet.points)]

    def learn(self, lives: np.ndarray, level: np.ndarray, spread: np.ndarray) -> None:
        """Pass on what was learnt of the level after a purge to the life that follows."""
        later = self.following[lives]
        purged = (later >= 0) & (self.kind[later] == "purge")
        self.mean[later[purged]], self.sd[later[purged]] = level[purged], spread[purged]

    def weigh(self, asked: Asked) -> tuple[np.ndarray, ...]:
        """P(drift), P(over at `ahead`), and mean and sd of the level that a purge would leave; (m,) each."""
        life, lim = asked.life, self.lim[asked.life]
        rank = np.arange(asked.count.max())
        used = rank < asked.count[:, None]
        at = self.order[self.edges[life][:, None] + np.where(used, rank, 0)]
        t = self.fleet.readings.day[at] - self.fleet.starts.start_day[life][:, None]
        bank = make_bank(float(asked.ahead.max()), self.upkeep, *self.fineness)
        scale = lim / 0.405
        rest = self.what.y[at][:, None, :] - bank.rise(t, scale)
        inverse = np.where(used, 1 / self.what.v[at], 0.0)[:, None, :]
        middle, own = self.mean[life][:, None], (1 / self.sd[life] ** 2)[:, None]
        precision = inverse.sum(axis=2) + own
        share, size = self.noise.outliers, self.noise.outlier_size
        shift = np.zeros_like(rest)
        for _ in range(PASSES):
            base = ((inverse * (rest - shift)).sum(axis=2) + middle * own) / precision
            off = rest - base[..., None]
            parts = [np.exp(-((off - by) ** 2) / 2 * inverse) + 1e-300 for by in (0.0, size, -size)]
            density = (1 - share) * parts[0] + share / 2 * (parts[1] + parts[2])
            shift = size * share / 2 * (parts[1] - parts[2]) / density
        score = (np.log(density) * used[:, None, :]).sum(axis=2)
        score += -((base - middle) ** 2) * own / 2 - np.log(precision) / 2
        score += np.where((self.kind[life] == "first")[:, None], bank.ln_first, bank.ln_later)
        score = np.exp(score - score.max(axis=1, keepdims=True))
        score /= score.sum(axis=1, keepdims=True)
        ahead = base + bank.rise(asked.ahead[:, None], scale)[..., 0]
        left = base + self.upkeep.residue * bank.rise(asked.now[:, None], scale)[..., 0]
        level = (score * left).sum(axis=1)
        spread = (score * ((left - level[:, None]) ** 2 + 1 / precision)).sum(axis=1)
        return (
            (score * (bank.onset <= asked.now[:, None])).sum(axis=1),
            (score * ndtr((ahead - lim[:, None]) * np.sqrt(precision))).sum(axis=1),
            level,
            np.sqrt(spread),
        )


def _parts(rows: np.ndarray, asked: Asked) -> Iterator[np.ndarray]:
    """Rows in parts of like length, small enough for the memory."""
    band = np.ceil(asked.ahead[rows] / 500)
    rows = rows[np.lexsort((asked.count[rows], band))]
    band = np.ceil(asked.ahead[rows] / 500)
    for kind in np.unique(band):
        alike = rows[band == kind]
        width = sum(SIZES.values()) * (500 * kind / ONSET_STEP + 4) * asked.count[alike].max()
        many = max(1, int(CELLS / width))
        yield from (alike[i : i + many] for i in range(0, len(alike), many))


def _rank_in_series(fleet: SimulatedFleet) -> np.ndarray:
    rank = np.zeros(len(fleet.lives), dtype=int)
    seen: dict[int, int] = {}
    for life, series in enumerate(fleet.series_of.tolist()):
        rank[life] = seen.get(series, 0)
        seen[series] = rank[life] + 1
    return rank


def _following(fleet: SimulatedFleet) -> np.ndarray:
    """The life that follows each life in its series, -1 for none."""
    following = np.full(len(fleet.lives), -1)
    last: dict[int, int] = {}
    for life, series in enumerate(fleet.series_of.tolist()):
        if series in last:
            following[last[series]] = life
        last[series] = life
    return following


def _middles(low: float, high: float, count: int) -> np.ndarray:
    return low + (high - low) * (np.arange(count) + 0.5) / count
