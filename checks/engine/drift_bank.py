"""A bank of hypotheses of how one life may drift, and what its readings say of each.

One hypothesis is 'none', the others an onset on a 120-day grid times one of eight shapes: three ramps, two
exponentials, three steps. All arithmetic is in ln units and in days since the life began; arrays are padded:
L lives, n readings, H hypotheses. Sizes, shapes and priors are assumptions of ours, tried in simulation.
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
EXPONENTIAL_START = 0.03
# Shapes 0..2 ramps (ln per year), 3..4 exponentials (1 per days of e-fold), 5..7 steps (ln), 8 none.
RATE = np.array([0.08, 0.2, 0.5, 0, 0, 0, 0, 0, 0])
PER_DAY = np.array([0, 0, 0, 1 / 200, 1 / 400, 0, 0, 0, 0])
STEP = np.array([0, 0, 0, 0, 0, 0.15, 0.3, 0.6, 0])
SHAPE_WEIGHTS = np.repeat([0.5 / 3, 0.25 / 2, 0.25 / 3], [3, 2, 3])
SHAPES = len(SHAPE_WEIGHTS)
LARGEST_POWER = 6.0
USUAL_LIMIT = 0.405
OUTLIERS = 0.01
OUTLIER_SD = 0.25
HUBER = 2.0


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
    """Weights (they sum to 1), baselines, onsets in days (inf for none) and shapes (0..8), each (L, H)."""

    onset: Floats
    shape: np.ndarray
    weight: Floats
    base: Floats

    def begun(self, t: Floats) -> Floats:
        """P(drift has begun by `t`), both (L,)."""
        return (self.weight * (self.onset <= t[:, None])).sum(axis=1)

    def heaviest(self, kept: int) -> Posterior:
        """The `kept` heaviest hypotheses of every life, their weights made to sum to 1 again."""
        order = np.argsort(-self.weight, axis=1, kind="stable")[:, :kept]
        onset, shape, weight, base = (
            np.take_along_axis(field, order, axis=1)
            for field in (self.onset, self.shape, self.weight, self.base)
        )
        return Posterior(onset, shape, weight / weight.sum(axis=1, keepdims=True), base)


def onsets_needed(longest: float) -> int:
    """Onsets that a life needs which, with its horizon, lasts `longest` days: 16 (129 hypotheses) or more."""
    return max(ONSETS, int(np.ceil(longest / GRID)) + 2)


def weigh(block: Block, onsets: int = ONSETS) -> Posterior:
    """Weigh 1 + 8 × `onsets` hypotheses by the readings of each life in the block."""
    grid = (np.arange(onsets) - 1) * GRID
    onset = np.append(np.repeat(grid, SHAPES), np.inf)
    shape = np.append(np.tile(np.arange(SHAPES), onsets), SHAPES)
    added = block.scale[:, None, None] * rise(onset, shape, block.t)
    rest = np.where(block.used[:, None, :], block.y[:, None, :] - added, 0.0)
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
    weight = score / score.sum(axis=1, keepdims=True)
    return Posterior(np.broadcast_to(onset, weight.shape), np.broadcast_to(shape, weight.shape), weight, base)


def rise(onset: Floats, shape: np.ndarray, t: Floats) -> Floats:
    """Unscaled ln added at `t` (L, m) for onsets and shapes (H,) or (L, H): (L, H, m)."""
    elapsed = t[:, None, :] - onset[..., None]
    begun = elapsed >= 0
    elapsed = np.maximum(elapsed, 0.0)
    grown = EXPONENTIAL_START * np.expm1(np.minimum(elapsed * PER_DAY[shape][..., None], LARGEST_POWER))
    return elapsed * RATE[shape][..., None] / YEAR + grown + begun * STEP[shape][..., None]


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
    """ln prior of every hypothesis, (L, H): hazard per panel-year on the grid; only a new part began
    before.
    """
    cell = HAZARD * GRID / YEAR
    later = np.exp(-cell * np.arange(onsets - 1)) * -np.expm1(-cell)
    before = np.where(first, BEFORE_FIRST, 1e-12)[:, None]
    begun = np.concatenate([before, (1 - before) * later], axis=1)
    none = (1 - before) * np.exp(-cell * (onsets - 1))
    shaped = (begun[:, :, None] * SHAPE_WEIGHTS).reshape(len(first), -1)
    return np.log(np.concatenate([shaped, none], axis=1))
