"""A bank of hypotheses of how one life may drift, and what its readings say of each.

One hypothesis is 'none', the others an onset on a 120-day grid times one of eight shapes: three ramps, two
exponentials, three steps. All arithmetic is in ln units and in days since the life began; arrays are padded:
L lives, n readings, H hypotheses. Sizes, shapes and priors are assumptions of ours, tried on a simulated fleet.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from checks.engine.drift_data import Floats

YEAR = 365.25
GRID = 120.0
ONSETS = 16
HAZARD = 0.06
BEFORE_FIRST = 0.03
RAMPS = np.array([0.08, 0.2, 0.5])
EXPONENTIAL_START = 0.03
EXPONENTIAL_DAYS = np.array([200.0, 400.0])
STEPS = np.array([0.15, 0.3, 0.6])
SHAPE_WEIGHTS = np.repeat([0.5 / 3, 0.25 / 2, 0.25 / 3], [3, 2, 3])
SHAPES = len(SHAPE_WEIGHTS)
USUAL_LIMIT = 0.405
LARGEST_RISE = 5.0
OUTLIERS = 0.01
OUTLIER_SD = 0.25
HUBER = 2.0
KEPT = 32
_NODES = np.array([-np.sqrt(3.0), 0.0, np.sqrt(3.0)])
_NODE_WEIGHTS = np.array([1 / 6, 2 / 3, 1 / 6])


@dataclass(frozen=True, eq=False)
class Block:
    """L lives padded to n readings: t, y, v of shape (L, n) with `used` False in the padding.

    t: days since the life began; y: compensated ln; v: variance; mean, sd: prior of the baseline, (L,)
    lim: ln of the limit at 20 °C above nominal, (L,); first: the series' own first life or a new part, (L,)
    """

    t: Floats
    y: Floats
    v: Floats
    used: np.ndarray
    mean: Floats
    sd: Floats
    lim: Floats
    first: np.ndarray

    @property
    def scale(self) -> Floats:
        """Sizes of drift grow with the room up to the limit."""
        return np.maximum(self.lim, 0.1) / USUAL_LIMIT


@dataclass(frozen=True, eq=False)
class Posterior:
    """Weights (they sum to 1), baselines and their precisions, each (L, H); onset (H,) in days, inf for none.

    scale, lim: (L,). `rise` says what each hypothesis has added to its baseline.
    """

    onset: Floats
    shape: np.ndarray
    weight: Floats
    base: Floats
    precision: Floats
    scale: Floats
    lim: Floats

    def rise(self, t: Floats) -> Floats:
        """ln added at `t` (L, m) by each hypothesis: (L, H, m)."""
        return self.scale[:, None, None] * _rise(self.onset, self.shape, t)

    def begun(self, t: Floats) -> Floats:
        """P(drift has begun by `t`), both (L,)."""
        return (self.weight * (self._onsets() <= t[:, None])).sum(axis=1)

    def over(self, t: Floats) -> Floats:
        """P(level over the limit at `t`), both (L,)."""
        from scipy.special import ndtr

        level = self.base + self.rise(t[:, None])[:, :, 0]
        return (self.weight * ndtr((level - self.lim[:, None]) * np.sqrt(self.precision))).sum(axis=1)

    def level(self, t: Floats) -> Floats:
        """Mean level at `t`, both (L,)."""
        return (self.weight * (self.base + self.rise(t[:, None])[:, :, 0])).sum(axis=1)

    def slope(self, t: Floats) -> Floats:
        """Mean gradual slope at `t`, ln per year, both (L,); a step has none."""
        elapsed = np.maximum(t[:, None] - self._onsets(), 0.0)
        ramp = np.append(RAMPS, [0, 0, 0, 0, 0, 0])[self.shape]
        days = np.concatenate([[np.inf] * 3, EXPONENTIAL_DAYS, [np.inf] * 4])[self.shape]
        grown = EXPONENTIAL_START * YEAR / days * np.exp(np.minimum(elapsed / days, 6.0))
        slopes = np.where(self._onsets() <= t[:, None], ramp + grown, 0.0) * self.scale[:, None]
        return (self.weight * slopes).sum(axis=1)

    def likeliest(self, kept: int = KEPT) -> Posterior:
        """The `kept` heaviest hypotheses of every life, weights made to sum to 1 again; onset, shape (L, kept)."""
        count = self.weight.shape[1]
        order = np.argsort(-self.weight, axis=1, kind="stable")[:, : min(kept, count)]
        weight = np.take_along_axis(self.weight, order, axis=1)
        return Posterior(
            onset=np.take_along_axis(self._onsets(), order, axis=1),
            shape=np.take_along_axis(np.broadcast_to(self.shape, self.weight.shape), order, axis=1),
            weight=weight / weight.sum(axis=1, keepdims=True),
            base=np.take_along_axis(self.base, order, axis=1),
            precision=np.take_along_axis(self.precision, order, axis=1),
            scale=self.scale,
            lim=self.lim,
        )

    def crossing(self, now: Floats, quantiles: tuple[float, ...]) -> Floats:
        """Days since the life began at which the level meets the limit, given drift begun by `now`: (L, q).

        Each hypothesis is solved in closed form at three nodes of its baseline. Inf: it may never; not before now.
        """
        started = self.weight * (self._onsets() <= now[:, None])
        base = self.base[..., None] + _NODES / np.sqrt(self.precision)[..., None]
        room = np.maximum(self.lim[:, None, None] - base, 0.0) / self.scale[:, None, None]
        waits = _wait(np.broadcast_to(self.shape, self.weight.shape)[..., None], room)
        days = np.maximum(self._onsets()[..., None] + waits, now[:, None, None])
        lives = len(now)
        days, weight = days.reshape(lives, -1), (started[..., None] * _NODE_WEIGHTS).reshape(lives, -1)
        order = np.argsort(days, axis=1, kind="stable")
        days = np.take_along_axis(days, order, axis=1)
        grown = np.cumsum(np.take_along_axis(weight, order, axis=1), axis=1)
        total = grown[:, -1:]
        found = [np.argmax(grown >= q * total, axis=1) for q in quantiles]
        picked = np.stack([np.take_along_axis(days, f[:, None], axis=1)[:, 0] for f in found], axis=1)
        return np.where(total > 0, picked, np.inf)

    def expected(
        self, t: Floats, variance: Floats, quantiles: tuple[float, ...], widening: float = 1.0
    ) -> Floats:
        """Quantiles of a reading taken at `t` (L, m) with own `variance` (L,): shape (q, L, m).

        `widening` stretches the quantiles about the median.
        """
        centre = self.base[..., None] + self.rise(t)
        sd = np.sqrt(1 / self.precision + variance[:, None])[..., None]
        wanted = np.stack(
            [_mixture_quantile(self.weight[..., None], centre, sd, q) for q in (*quantiles, 0.5)]
        )
        return wanted[-1] + widening * (wanted[:-1] - wanted[-1])

    def _onsets(self) -> Floats:
        return np.broadcast_to(self.onset, self.weight.shape)


def onsets_needed(longest: float) -> int:
    """How many onsets a bank needs for a life and its horizon of `longest` days: 16 (129 hypotheses) or more."""
    return max(ONSETS, int(np.ceil(longest / GRID)) + 2)


def weigh(block: Block, onsets: int = ONSETS) -> Posterior:
    """Weigh 1 + 8 × `onsets` hypotheses by the readings of each life in the block."""
    grid = (np.arange(onsets) - 1) * GRID
    onset = np.append(np.repeat(grid, SHAPES), np.inf)
    shape = np.append(np.tile(np.arange(SHAPES), onsets), SHAPES)
    rise = block.scale[:, None, None] * _rise(onset, shape, block.t)
    rest = np.where(block.used[:, None, :], block.y[:, None, :] - rise, 0.0)
    plain = np.where(block.used, 1 / block.v, 0.0)[:, None, :]
    own = (1 / block.sd**2)[:, None]
    weight = np.broadcast_to(plain, rest.shape)
    for again in range(3):
        precision = weight.sum(axis=2) + own
        base = ((weight * rest).sum(axis=2) + block.mean[:, None] * own) / precision
        if again < 2:
            z = np.abs(rest - base[..., None]) * np.sqrt(plain)
            weight = plain * np.minimum(1.0, HUBER / np.maximum(z, 1e-12))
    score = _ln_likelihood(rest - base[..., None], block)
    score -= (base - block.mean[:, None]) ** 2 * own / 2 + np.log(precision) / 2
    score += _ln_prior(onsets, block.first)
    score = np.exp(score - score.max(axis=1, keepdims=True))
    return Posterior(
        onset, shape, score / score.sum(axis=1, keepdims=True), base, precision, block.scale, block.lim
    )


def _rise(onset: Floats, shape: np.ndarray, t: Floats) -> Floats:
    """Unscaled ln added at `t` (L, m) for onset and shape of shape (H,) or (L, H): (L, H, m)."""
    elapsed = t[:, None, :] - (onset[:, None] if onset.ndim == 1 else onset[..., None])
    begun = elapsed >= 0
    elapsed = np.maximum(elapsed, 0.0)
    rates = np.append(RAMPS, [0.0] * 6)[shape] / YEAR
    per_day = np.concatenate([[0.0] * 3, 1 / EXPONENTIAL_DAYS, [0.0] * 4])[shape]
    steps = np.concatenate([[0.0] * 5, STEPS, [0.0]])[shape]
    grown = EXPONENTIAL_START * np.expm1(np.minimum(elapsed * per_day[..., None], 6.0))
    rise = elapsed * rates[..., None] + grown + begun * steps[..., None]
    return np.minimum(rise, LARGEST_RISE)


def _wait(shape: np.ndarray, room: Floats) -> Floats:
    """Days from onset until the unscaled rise fills `room`; inf where it never does."""
    rates = np.append(RAMPS, [np.nan] * 6)[shape] / YEAR
    days = np.concatenate([[np.nan] * 3, EXPONENTIAL_DAYS, [np.nan] * 4])[shape]
    steps = np.concatenate([[np.nan] * 5, STEPS, [0.0]])[shape]
    gradual = np.where(np.isnan(rates), days * np.log1p(room / EXPONENTIAL_START), room / rates)
    return np.where(np.isnan(steps), gradual, np.where(steps >= room, 0.0, np.inf))


def _ln_likelihood(off: Floats, block: Block) -> Floats:
    """Sum over readings of ln[.99 N(0, v) + .01 N(0, v + .25²)], (L, H)."""
    wide = block.v + OUTLIER_SD**2
    near = (1 - OUTLIERS) / np.sqrt(block.v)
    far = OUTLIERS / np.sqrt(wide)
    square = off * off
    density = near[:, None, :] * np.exp(-square / (2 * block.v)[:, None, :])
    density += far[:, None, :] * np.exp(-square / (2 * wide)[:, None, :]) + 1e-300
    return (np.log(density) * block.used[:, None, :]).sum(axis=2)


def _ln_prior(onsets: int, first: np.ndarray) -> Floats:
    """ln prior of every hypothesis, (L, H): hazard per panel-year on the grid; only a new part began before."""
    cell = HAZARD * GRID / YEAR
    later = np.exp(-cell * np.arange(onsets - 1)) * -np.expm1(-cell)
    before = np.where(first, BEFORE_FIRST, 1e-12)[:, None]
    begun = np.concatenate([before, (1 - before) * later], axis=1)
    none = (1 - before) * np.exp(-cell * (onsets - 1))
    shaped = (begun[:, :, None] * SHAPE_WEIGHTS).reshape(len(first), -1)
    return np.log(np.concatenate([shaped, none], axis=1))


def _mixture_quantile(weight: Floats, centre: Floats, sd: Floats, q: float) -> Floats:
    """Quantile of normal mixtures over axis 1, by bisection: (L, m)."""
    from scipy.special import ndtr

    low, high = (centre - 8 * sd).min(axis=1), (centre + 8 * sd).max(axis=1)
    for _ in range(40):
        middle = (low + high) / 2
        under = (weight * ndtr((middle[:, None, :] - centre) / sd)).sum(axis=1) < q
        low, high = np.where(under, middle, low), np.where(under, high, middle)
    return (low + high) / 2
