"""Fleet regression: what temperature, instruments and the checks themselves do to a reading.

Within each life, x = level + b1 dT/10 + b2 dT²/100 + gauge + noise with dT from 20 °C. Levels are taken out
by demeaning inside the life; b1, b2 belong to a variant-and-point group, gauge effects to an instrument.
Ridge priors pull towards the group's own table; Huber weights keep outliers out. Figures of the priors are
assumptions of ours, tried on a simulated fleet.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from checks.engine.drift_data import FleetFit, Floats, GroupFit, Ints, Readings
from checks.engine.drift_reference import AT, Reference, compensate

MODEL_VERSION = "bank-2"
MAD_TO_SD = 1.4826
HUBER = 1.345
PASSES = 10
SETTLED = 1e-6
FOLLOWS_FLUID = 0.5


@dataclass(frozen=True)
class FleetPrior:
    """Beliefs before any reading, ln units; each `*_weight` says how many readings or checks it is worth."""

    b1_sd: float = 0.06
    b2_sd: float = 0.03
    gauge_sd: float = 0.015
    s: float = 0.036
    s_weight: float = 30
    s_check: float = 0.02
    s_check_weight: float = 10
    s_rep: float = 0.03
    s_rep_weight: float = 30
    s_rep_floor: float = 0.01
    baseline_sd: float = 0.15
    baseline_sd_floor: float = 0.05
    baseline_lives: int = 6
    warmth_2: float = 1.8
    warmth_4: float = 6.0
    warmth_weight: float = 30


@dataclass(frozen=True, eq=False)
class Design:
    """Each reading touches three columns: b1 and b2 of its group, and its gauge. Shapes (n,) and (n, 3)."""

    x: Floats
    values: Floats
    columns: Ints
    life: Ints
    life_size: Ints
    width: int


def regress(readings: Readings, references: Mapping[int, Reference], prior: FleetPrior) -> FleetFit:
    """The fit of all readings given; forecasts are not widened yet (see drift_fit.fit_fleet).

    Works from no readings upwards: what they do not teach stays at the prior. Row order does not matter.
    """
    x, rounding = compensate(readings, references)
    known = np.isfinite(x)
    used = readings.take(known)
    groups, group = np.unique(used.group, return_inverse=True)
    gauges, gauge = np.unique(used.gauge, return_inverse=True)
    design = _design(used, x[known], group, gauge, len(groups), len(gauges))
    beta, sds, s, residual = _solve(design, prior, len(groups))
    rest = design.x - (design.values * beta[design.columns]).sum(axis=1)
    level = group_median(rest, design.life, len(design.life_size))
    follows = np.array([references[int(g)].viscosity_exponent > FOLLOWS_FLUID for g in groups], dtype=bool)
    shared = follows[group] & (design.life_size[design.life] > 1)
    s_check, s_rep = _split_noise(residual[shared], used.check[shared], rounding[known], s, prior)
    effects = beta[2 * len(groups) :]
    usual = float(effects[gauge].mean()) if len(used) else 0.0
    return FleetFit(
        groups=_group_fits(groups, group, beta, sds, design, level + usual, references, prior),
        gauges={int(g): float(effect - usual) for g, effect in zip(gauges, effects, strict=True)},
        gauge_sds={int(g): float(sd) for g, sd in zip(gauges, sds[2 * len(groups) :], strict=True)},
        new_gauge_sd=prior.gauge_sd,
        s=s,
        s_check=s_check,
        s_rep=s_rep,
        readings=len(used),
        model_version=MODEL_VERSION,
    )


def group_median(values: Floats, codes: Ints, count: int) -> Floats:
    """Median of `values` within each code 0..count-1; NaN for a code without values."""
    sizes = np.bincount(codes, minlength=count)
    medians = np.full(count, np.nan)
    order = np.argsort(codes, kind="stable")
    edges = np.append(0, np.cumsum(sizes))
    for size in np.unique(sizes[sizes > 0]).tolist():  # codes of one size at a time: a table without gaps
        alike = np.flatnonzero(sizes == size)
        medians[alike] = np.median(values[order[edges[alike][:, None] + np.arange(size)]], axis=1)
    return medians


def mad_sd(values: Floats) -> float:
    """Standard deviation of normal values from their median absolute deviation."""
    return float(MAD_TO_SD * np.median(np.abs(values - np.median(values))))


def _design(used: Readings, x: Floats, group: Ints, gauge: Ints, groups: int, gauges: int) -> Design:
    warmth = (used.temperature_c - AT) / 10
    _, life, size = np.unique(used.life, return_inverse=True, return_counts=True)
    return Design(
        x=x,
        values=np.stack([warmth, warmth**2, np.ones(len(used))], axis=1),
        columns=np.stack([group, groups + group, 2 * groups + gauge], axis=1),
        life=life,
        life_size=size,
        width=2 * groups + gauges,
    )


def _spread_lost(design: Design) -> Floats:
    """sqrt(n / (n - 1)) for each reading, n the readings of its life (1 where n is 1)."""
    size = design.life_size[design.life]
    return np.sqrt(size / np.maximum(size - 1, 1))


def _solve(design: Design, prior: FleetPrior, groups: int) -> tuple[Floats, Floats, float, Floats]:
    """Coefficients and their sds, sd of one reading about its life, and residuals, by reweighted ridge."""
    gauges = design.width - 2 * groups
    sds = np.repeat([prior.b1_sd, prior.b2_sd, prior.gauge_sd], [groups, groups, gauges])
    several = design.life_size[design.life] > 1
    freedom = max(int(several.sum()) - int((design.life_size > 1).sum()) - design.width, 0)
    weights = several.astype(float)
    beta, s, residual = np.zeros(design.width), prior.s, np.zeros(len(design.x))
    noise, normal, pairs = 1.0, np.diag(1 / sds**2), Pairs.of(design)
    for _ in range(PASSES if several.any() else 0):
        before = beta
        beta, normal = demeaned_ridge(design, weights, s**2 / sds**2, pairs)
        noise = s
        rest = design.x - (design.values * beta[design.columns]).sum(axis=1)
        held = np.bincount(design.life, weights, len(design.life_size))
        level = np.bincount(design.life, weights * rest, len(design.life_size)) / np.where(held > 0, held, 1)
        residual = (rest - level[design.life]) * _spread_lost(design)
        seen = mad_sd(residual[several])
        s = float(np.sqrt(_pooled(prior.s**2, prior.s_weight, seen**2, freedom)))
        weights = several * np.minimum(1, HUBER * s / np.maximum(np.abs(residual), 1e-12))
        if np.abs(beta - before).max() < SETTLED:
            break
    return beta, noise * np.sqrt(np.diag(np.linalg.inv(normal))), s, residual


def demeaned_ridge(
    design: Design, weights: Floats, ridge: Floats, pairs: Pairs | None = None
) -> tuple[Floats, Floats]:
    """Solve the normal equations of the readings demeaned inside their lives, ridge on the diagonal.

    Returns the coefficients (p,) and the normal matrix (p, p). pairs: `Pairs.of(design)`, for
    those who solve one design several times.

    Sums are gathered by bincount and a life's sums kept sparse, so no dense design of all readings is built.
    """
    from scipy.sparse import csr_array

    pairs = pairs or Pairs.of(design)
    width, lives = design.width, len(design.life_size)
    weighted = weights[:, None] * design.values
    right = np.bincount(design.columns.ravel(), (weighted * design.x[:, None]).ravel(), width)
    normal = np.zeros(width * width)
    for i in range(3):
        for j in range(3):
            cell = design.columns[:, i] * width + design.columns[:, j]
            normal += np.bincount(cell, weighted[:, i] * design.values[:, j], width * width)
    normal = normal.reshape(width, width)
    held = np.bincount(design.life, weights, lives)
    shrunk = 1 / np.where(held > 0, held, 1)
    data = np.bincount(pairs.place, weighted.ravel(), len(pairs.column))
    per_pair = np.repeat(shrunk, np.diff(pairs.edges))
    sums, scaled = (
        csr_array((values, pairs.column, pairs.edges), shape=(lives, width))
        for values in (data, data * per_pair)
    )
    normal -= (scaled.T @ sums).toarray()
    right -= scaled.T @ np.bincount(design.life, weights * design.x, lives)
    normal += np.diag(ridge)
    return np.linalg.solve(normal, right), normal


@dataclass(frozen=True, eq=False)
class Pairs:
    """The pairs (life, column) that a design touches, in the order of lives.

    column: of each pair, (q,); edges: life i has the pairs edges[i]:edges[i+1]; place: the pair that each of
    the three columns of every reading adds to, (3n,).
    """

    column: Ints
    edges: Ints
    place: Ints

    @classmethod
    def of(cls, design: Design) -> Pairs:
        """Found once for a design; sums over the pairs are then one bincount."""
        key = design.life[:, None] * design.width + design.columns
        keys, place = np.unique(key.ravel(), return_inverse=True)
        life, column = np.divmod(keys, design.width)
        return cls(column, np.searchsorted(life, np.arange(len(design.life_size) + 1)), place)


def _split_noise(
    residual: Floats, check: Ints, rounding: Floats, s: float, prior: FleetPrior
) -> tuple[float, float]:
    """sd shared by the readings of one check, and sd of repeating one reading without its rounding.

    residual, check: readings of lives with more than one, of points that follow the fluid; rounding: of all.
    """
    _, code, size = np.unique(check, return_inverse=True, return_counts=True)
    clipped = np.clip(residual, -3 * s, 3 * s)
    sums, squares = np.bincount(code, clipped, len(size)), np.bincount(code, clipped**2, len(size))
    pairs = float((size * (size - 1)).sum())
    together = float((sums**2 - squares).sum()) / pairs if pairs else 0.0
    checks = int((size > 1).sum())
    shared = _pooled(prior.s_check**2, prior.s_check_weight, max(together, 0.0), checks)
    floor = prior.s_rep_floor**2
    rounded = float(np.median(rounding)) if len(rounding) else 0.0
    wide = size[code] >= 4
    if not wide.any():
        return float(np.sqrt(shared)), float(np.sqrt(max(s**2 - shared - rounded, floor)))
    own = (residual - (sums / size)[code]) * np.sqrt(size / np.maximum(size - 1, 1))[code]
    seen = mad_sd(own[wide]) ** 2
    freedom = int(wide.sum()) - int((size >= 4).sum())
    repeat = _pooled(prior.s_rep**2, prior.s_rep_weight, seen, freedom) - rounded
    return float(np.sqrt(shared)), float(np.sqrt(max(repeat, floor)))


def _group_fits(
    groups: Ints,
    group: Ints,
    beta: Floats,
    sds: Floats,
    design: Design,
    level: Floats,
    references: Mapping[int, Reference],
    prior: FleetPrior,
) -> dict[int, GroupFit]:
    """Temperature law and baseline prior of every group that has a reference, seen or not."""
    group_of_life = np.zeros(len(level), dtype=np.int64)
    group_of_life[design.life] = group
    warmth = (prior.warmth_2, prior.warmth_4)
    unseen = GroupFit(0.0, 0.0, prior.b1_sd, prior.b2_sd, 0.0, prior.baseline_sd, 0, *warmth)
    fits = {int(key): unseen for key in references}
    for code, key in enumerate(groups):
        levels = level[group_of_life == code]
        mean, sd = 0.0, prior.baseline_sd
        if len(levels) >= prior.baseline_lives:
            mean, sd = float(np.median(levels)), max(mad_sd(levels), prior.baseline_sd_floor)
        law, law_sd = ((float(of[code]), float(of[len(groups) + code])) for of in (beta, sds))
        read = design.values[group == code, 0]
        weight = prior.warmth_weight
        warmth = tuple(
            float(_pooled(before, weight, float((read**power).mean()), len(read)))
            for before, power in ((prior.warmth_2, 2), (prior.warmth_4, 4))
        )
        fits[int(key)] = GroupFit(*law, *law_sd, mean, sd, len(levels), *warmth)
    return fits


def _pooled(prior: float, prior_weight: float, seen: float, weight: float) -> float:
    return (prior_weight * prior + weight * seen) / (prior_weight + weight)
