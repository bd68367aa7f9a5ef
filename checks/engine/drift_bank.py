"""A bank of hypotheses of how one life may drift, and what its readings say of each.

One hypothesis is 'none', the others an onset on a 120-day grid times one of eight shapes: three ramps, two
exponentials, three steps. All arithmetic is in ln units and in days since the life began; arrays are padded:
L lives, n readings, H hypotheses. Sizes, shapes and priors are assumptions of ours, tried in simulation.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

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
OUTLIERS_QUESTIONED = 0.001
OUTLIER_SD = 0.25
HUBER = 2.0


@dataclass(frozen=True, eq=False)
class Block:
    """L lives padded to n readings: t, y, v of shape (L, n) with `used` False in the padding.

    t: days since the life began; y: compensated ln; v: variance; mean, sd: prior of the baseline, (L,)
    lim: ln of the limit at 20 °C above nominal, (L,); first: the series' own first life or a new part, (L,)
    questioned: (L, n), readings that would have been taken again if they were outliers; none where None
    """

    t: Floats
    y: Floats
    v: Floats
    used: np.ndarray
    mean: Floats
    sd: Floats
    lim: Floats
    first: np.ndarray
    questioned: np.ndarray | None = None

    @property
    def outliers(self) -> Floats:
        """How likely each reading is an outlier, (L, n)."""
        if self.questioned is None:
            return np.full(self.t.shape, OUTLIERS)
        return np.where(self.questioned, OUTLIERS_QUESTIONED, OUTLIERS)

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


def weigh(block: Block, onsets: int = ONSETS, added: NDArray[np.float32] | None = None) -> Posterior:
    """Weigh 1 + 8 × `onsets` hypotheses by the readings of each life in the block.

    added: `rises(block, onsets)`, for those who weigh the same days twice. Readings are the first axis and
    numbers are of single precision here: sums over a handful of readings then run along whole planes.
    """
    grid = (np.arange(onsets) - 1) * GRID
    onset = np.append(np.repeat(grid, SHAPES), np.inf)
    shape = np.append(np.tile(np.arange(SHAPES), onsets), SHAPES)
    if added is None:
        added = rises(block, onsets)
    y, v, used = (_planes(part) for part in (block.y, block.v, block.used))
    plain = np.where(used > 0, 1 / v, np.float32(0))
    rest = y - added
    own = (1 / block.sd**2).astype(np.float32)[:, None]
    middle = block.mean.astype(np.float32)[:, None]
    precision = np.broadcast_to(plain.sum(axis=0) + own, rest.shape[1:])
    base = ((plain * rest).sum(axis=0) + middle * own) / precision
    root = np.sqrt(plain) / np.float32(HUBER)
    for _ in range(2):
        weight = plain / np.maximum(np.abs(rest - base) * root, np.float32(1))
        precision = weight.sum(axis=0) + own
        weight *= rest
        base = (weight.sum(axis=0) + middle * own) / precision
    rest -= base
    score = _ln_likelihood(rest, v, used, _planes(block.outliers))
    score -= (base - middle) ** 2 * own / 2 + np.log(precision) / 2
    whole = np.empty((len(block.t), len(onset)))
    level = np.empty_like(whole)
    # An onset that no reading has seen yet says what 'none', the last column, says.
    seen = score.shape[1] - 1
    for full, part in ((whole, score), (level, base)):
        full[:, :seen], full[:, seen:] = part[:, :seen], part[:, seen:]
    whole += _ln_prior(onsets, block.first)
    whole = np.exp(whole - whole.max(axis=1, keepdims=True))
    whole /= whole.sum(axis=1, keepdims=True)
    return Posterior(np.broadcast_to(onset, whole.shape), np.broadcast_to(shape, whole.shape), whole, level)


def rises(block: Block, onsets: int) -> NDArray[np.float32]:
    """What every hypothesis adds to every reading, readings first: (n, L, H).

    Of the onsets only those that the latest reading of the block has seen, and 'none' as the last column.
    """
    t = _planes(block.t)
    latest = float(block.t[block.used].max(initial=0.0))
    seen = min(max(int(latest // GRID) + 2, 1), onsets)
    elapsed = t - ((np.arange(seen) - 1) * GRID).astype(np.float32)
    begun = (elapsed >= 0).astype(np.float32)
    np.maximum(elapsed, 0, out=elapsed)
    scale = block.scale.astype(np.float32)[:, None]
    added = np.zeros((*elapsed.shape[:2], SHAPES * seen + 1), dtype=np.float32)
    by_shape = added[:, :, :-1].reshape(*elapsed.shape, SHAPES)
    sized, stepped = elapsed * (scale / YEAR), begun * scale
    for shape in range(SHAPES):
        if RATE[shape]:
            np.multiply(sized, np.float32(RATE[shape]), out=by_shape[..., shape])
        elif STEP[shape]:
            np.multiply(stepped, np.float32(STEP[shape]), out=by_shape[..., shape])
        else:
            power = np.minimum(elapsed * np.float32(PER_DAY[shape]), np.float32(LARGEST_POWER))
            grown = np.expm1(power) * np.float32(EXPONENTIAL_START)
            np.multiply(grown, scale, out=by_shape[..., shape])
    return added


def _planes(field: NDArray) -> NDArray[np.float32]:
    """(L, n) as (n, L, 1), single precision."""
    return np.ascontiguousarray(field.T, dtype=np.float32)[..., None]


def rise(onset: Floats, shape: np.ndarray, t: Floats) -> Floats:
    """Unscaled ln added at `t` (L, m) for onsets and shapes (H,) or (L, H): (L, H, m)."""
    elapsed = t[:, None, :] - onset[..., None]
    begun = elapsed >= 0
    elapsed = np.maximum(elapsed, 0.0)
    grown = EXPONENTIAL_START * np.expm1(np.minimum(elapsed * PER_DAY[shape][..., None], LARGEST_POWER))
    return elapsed * RATE[shape][..., None] / YEAR + grown + begun * STEP[shape][..., None]


def _ln_likelihood(
    off: NDArray[np.float32],
    v: NDArray[np.float32],
    used: NDArray[np.float32],
    outliers: NDArray[np.float32],
) -> NDArray[np.float32]:
    """Sum over readings of ln[(1 - o) N(0, v) + o N(0, v + .25²)], (L, H), with o the share of outliers.

    off: (n, L, H), overwritten; v, used, outliers: (n, L, 1).
    """
    wide = v + np.float32(OUTLIER_SD**2)
    flatter = used * (1 / v - 1 / wide) / 2
    ratio = outliers / (1 - outliers) * np.sqrt(v / wide)
    off *= off
    outlying = np.log1p(ratio * np.exp(np.minimum(off * flatter, np.float32(80))))
    outlying *= used
    off *= used / (2 * v)
    outlying -= off
    constant = (used * np.log((1 - outliers) / np.sqrt(v))).sum(axis=0)
    return outlying.sum(axis=0) + constant


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
