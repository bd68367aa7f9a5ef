"""Where a life goes from here: the heaviest hypotheses of the bank, each fitted to the readings once more.

The bank's sizes are coarse. Here every hypothesis kept may stretch: level = base + (1 + stretch) × rise, with
base and stretch estimated together, so that a slope between two of the bank's is met and its uncertainty is
carried into levels, readings and crossing days. ln units, days since the life began; L lives, K hypotheses.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from checks.engine.drift_bank import (
    EXPONENTIAL_START,
    HUBER,
    LARGEST_POWER,
    PER_DAY,
    RATE,
    STEP,
    YEAR,
    Block,
    Posterior,
    rise,
)
from checks.engine.drift_data import Floats

KEPT = 32
STRETCH_SD = 0.3
LEAST_STRETCH = -0.8
BISECTIONS = 8
NEWTON_STEPS = 4
_NODES = np.array([-np.sqrt(3.0), 0.0, np.sqrt(3.0)])
_NODE_WEIGHTS = np.array([1 / 6, 2 / 3, 1 / 6])


@dataclass(frozen=True, eq=False)
class Forecast:
    """Kept hypotheses: (L, K) each, scale and lim (L,). Variances and covariance of base and stretch."""

    onset: Floats
    shape: np.ndarray
    weight: Floats
    base: Floats
    stretch: Floats
    base_var: Floats
    stretch_var: Floats
    covariance: Floats
    scale: Floats
    lim: Floats

    def level(self, t: Floats) -> Floats:
        """Mean level at `t`, both (L,)."""
        return (self.weight * self._levels(t[:, None])[0][..., 0]).sum(axis=1)

    def over(self, t: Floats) -> Floats:
        """P(level over the limit at `t`), both (L,)."""
        from scipy.special import ndtr

        level, variance = (part[..., 0] for part in self._levels(t[:, None]))
        return (self.weight * ndtr((level - self.lim[:, None]) / np.sqrt(variance))).sum(axis=1)

    def slope(self, t: Floats) -> Floats:
        """Mean gradual slope at `t`, ln per year, both (L,); a step has none."""
        elapsed = t[:, None] - self.onset
        per_day = PER_DAY[self.shape]
        power = np.minimum(np.maximum(elapsed, 0.0) * per_day, LARGEST_POWER)
        slopes = RATE[self.shape] + EXPONENTIAL_START * YEAR * per_day * np.exp(power)
        slopes = np.where(elapsed >= 0, slopes * (1 + self.stretch) * self.scale[:, None], 0.0)
        return (self.weight * slopes).sum(axis=1)

    def crossing(self, now: Floats, quantiles: tuple[float, ...]) -> Floats:
        """Days since the life began at which the level meets the limit, given drift begun by `now`: (L, q).

        Each hypothesis is solved in closed form at nine nodes of its base and stretch. Inf: it may never; a
        day before `now` (L,) counts as `now`.
        """
        base, stretch, share = self._nodes()
        room = np.maximum(self.lim[:, None, None] - base, 0.0) / self.scale[:, None, None] / (1 + stretch)
        waits = _wait(np.broadcast_to(self.shape[..., None], room.shape), room)
        days = np.maximum(self.onset[..., None] + waits, now[:, None, None]).reshape(len(now), -1)
        weight = ((self.weight * (self.onset <= now[:, None]))[..., None] * share).reshape(len(now), -1)
        order = np.argsort(days, axis=1, kind="stable")
        days = np.take_along_axis(days, order, axis=1)
        grown = np.cumsum(np.take_along_axis(weight, order, axis=1), axis=1)
        total = grown[:, -1:]
        found = np.stack([np.argmax(grown >= q * total, axis=1) for q in quantiles], axis=1)
        return np.where(total > 0, np.take_along_axis(days, found, axis=1), np.inf)

    def expected(
        self, t: Floats, variance: Floats, quantiles: tuple[float, ...], widening: float = 1.0
    ) -> Floats:
        """Quantiles of a reading taken at `t` (L, m) with own `variance` (L,): shape (q, L, m).

        `widening` stretches the quantiles about the median.
        """
        centre, spread = self._levels(t)
        sd = np.sqrt(spread + variance[:, None, None])
        wanted = np.stack([_quantile(self.weight[..., None], centre, sd, q) for q in (*quantiles, 0.5)])
        return wanted[-1] + widening * (wanted[:-1] - wanted[-1])

    def standing(self, t: Floats, y: Floats, variance: Floats) -> Floats:
        """Where readings `y` at `t` stand in what was expected, as standard normal deviates, all (L,)."""
        from scipy.special import ndtr, ndtri

        centre, spread = (part[..., 0] for part in self._levels(t[:, None]))
        below = (self.weight * ndtr((y[:, None] - centre) / np.sqrt(spread + variance[:, None]))).sum(axis=1)
        return ndtri(np.clip(below, 1e-12, 1 - 1e-12))

    def _levels(self, t: Floats) -> tuple[Floats, Floats]:
        """Level of each hypothesis at `t` (L, m) and its variance, (L, K, m)."""
        added = self.scale[:, None, None] * rise(self.onset, self.shape, t)
        variance = self.stretch_var[..., None] * added**2 + 2 * self.covariance[..., None] * added
        level = self.base[..., None] + (1 + self.stretch[..., None]) * added
        return level, np.maximum(variance + self.base_var[..., None], 1e-9)

    def _nodes(self) -> tuple[Floats, Floats, Floats]:
        """Base and stretch at nine nodes of their joint distribution (L, K, 9), and the nodes' shares
        (9,).
        """
        first, second = (grid.ravel() for grid in np.meshgrid(_NODES, _NODES))
        sd = np.sqrt(self.base_var)
        tied = self.covariance / sd
        own = np.sqrt(np.maximum(self.stretch_var - tied**2, 0.0))
        base = self.base[..., None] + sd[..., None] * first
        stretch = self.stretch[..., None] + tied[..., None] * first + own[..., None] * second
        return base, np.maximum(stretch, LEAST_STRETCH), np.outer(_NODE_WEIGHTS, _NODE_WEIGHTS).ravel()


def forecast(block: Block, posterior: Posterior, kept: int = KEPT) -> Forecast:
    """Fit base and stretch of the heaviest hypotheses of each life to the readings of its block."""
    heavy = posterior.heaviest(kept)
    added = block.scale[:, None, None] * rise(heavy.onset, heavy.shape, block.t)
    rest = block.y[:, None, :] - added
    plain = np.where(block.used, 1 / block.v, 0.0)[:, None, :]
    off = np.abs(rest - heavy.base[..., None]) * np.sqrt(plain)
    weight = plain * np.minimum(1.0, HUBER / np.maximum(off, 1e-12))
    own = (1 / block.sd**2)[:, None]
    a = weight.sum(axis=2) + own
    b = (weight * added).sum(axis=2)
    c = (weight * added**2).sum(axis=2) + 1 / STRETCH_SD**2
    right_base = (weight * rest).sum(axis=2) + block.mean[:, None] * own
    right_stretch = (weight * rest * added).sum(axis=2)
    determinant = a * c - b * b
    return Forecast(
        onset=heavy.onset,
        shape=heavy.shape,
        weight=heavy.weight,
        base=(c * right_base - b * right_stretch) / determinant,
        stretch=np.maximum((a * right_stretch - b * right_base) / determinant, LEAST_STRETCH),
        base_var=c / determinant,
        stretch_var=a / determinant,
        covariance=-b / determinant,
        scale=block.scale,
        lim=block.lim,
    )


def _wait(shape: np.ndarray, room: Floats) -> Floats:
    """Days from onset until the unscaled rise fills `room`; inf where it never does."""
    with np.errstate(divide="ignore", invalid="ignore"):
        ramp = np.where(room > 0, room / RATE[shape] * YEAR, 0.0)
        exponential = np.log1p(room / EXPONENTIAL_START) / PER_DAY[shape]
    gradual = np.where(PER_DAY[shape] > 0, exponential, ramp)
    return np.where(RATE[shape] + PER_DAY[shape] > 0, gradual, np.where(STEP[shape] >= room, 0.0, np.inf))


def _quantile(weight: Floats, centre: Floats, sd: Floats, q: float) -> Floats:
    """Quantile of normal mixtures over axis 1: (L, m). Bisection finds the neighbourhood, Newton's steps,
    kept inside the bracket, the place."""
    from scipy.special import ndtr

    low, high = (centre - 8 * sd).min(axis=1), (centre + 8 * sd).max(axis=1)
    share = weight / sd / np.sqrt(2 * np.pi)
    middle = last = (low + high) / 2
    for step in range(BISECTIONS + NEWTON_STEPS):
        z = (middle[:, None, :] - centre) / sd
        off = (weight * ndtr(z)).sum(axis=1) - q
        low, high = np.where(off < 0, middle, low), np.where(off < 0, high, middle)
        middle = (low + high) / 2
        if step >= BISECTIONS:
            density = (share * np.exp(-z * z / 2)).sum(axis=1)
            newton = last - off / np.maximum(density, 1e-12)
            middle = np.where((newton >= low) & (newton <= high), newton, middle)
        last = middle
    return middle
