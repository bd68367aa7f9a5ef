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

MODEL_VERSION = "bank-1"
MAD_TO_SD = 1.4826
HUBER = 1.345
PASSES = 10
LIVES_PER_BLOCK = 4096
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
        groups=_group_fits(groups, group, beta, sds, design.life, level + usual, references, prior),
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
    order = np.lexsort((values, codes))
    sizes = np.bincount(codes, minlength=count)
    first = np.cumsum(sizes) - sizes
    medians = np.full(count, np.nan)
    some = sizes > 0
    ranked = values[order]
    medians[some] = (ranked[(first + (sizes - 1) // 2)[some]] + ranked[(first + sizes // 2)[some]]) / 2
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
    spread = sds
    for _ in range(PASSES if several.any() else 0):
        beta, inverse = demeaned_ridge(design, weights, s**2 / sds**2)
        spread = s * np.sqrt(np.diag(inverse))
        rest = design.x - (design.values * beta[design.columns]).sum(axis=1)
        held = np.bincount(design.life, weights, len(design.life_size))
        level = np.bincount(design.life, weights * rest, len(design.life_size)) / np.where(held > 0, held, 1)
        residual = (rest - level[design.life]) * _spread_lost(design)
        seen = mad_sd(residual[several])
        s = float(np.sqrt(_pooled(prior.s**2, prior.s_weight, seen**2, freedom)))
        weights = several * np.minimum(1, HUBER * s / np.maximum(np.abs(residual), 1e-12))
    return beta, spread, s, residual


def demeaned_ridge(design: Design, weights: Floats, ridge: Floats) -> tuple[Floats, Floats]:
    """Solve the normal equations of the readings demeaned inside their lives, ridge on the diagonal.

    Returns the coefficients (p,) and the inverse of the normal matrix (p, p).

    Sums are gathered by bincount and lives taken in blocks, so no dense design of all readings is built.
    """
    width = design.width
    normal = np.zeros(width * width)
    right = np.zeros(width)
    for i in range(3):
        part = weights * design.values[:, i]
        right += np.bincount(design.columns[:, i], part * design.x, width)
        for j in range(3):
            cell = design.columns[:, i] * width + design.columns[:, j]
            normal += np.bincount(cell, part * design.values[:, j], width * width)
    normal = normal.reshape(width, width)
    lives = len(design.life_size)
    held = np.bincount(design.life, weights, lives)
    total = np.bincount(design.life, weights * design.x, lives)
    order = np.argsort(design.life, kind="stable")
    edges = np.concatenate([[0], np.cumsum(design.life_size)])
    for start in range(0, lives, LIVES_PER_BLOCK):
        end = min(start + LIVES_PER_BLOCK, lives)
        rows = order[edges[start] : edges[end]]
        cell = (design.life[rows] - start)[:, None] * width + design.columns[rows]
        sums = np.bincount(
            cell.ravel(), (weights[rows, None] * design.values[rows]).ravel(), (end - start) * width
        )
        sums = sums.reshape(end - start, width)
        scaled = sums / np.where(held[start:end] > 0, held[start:end], 1)[:, None]
        normal -= scaled.T @ sums
        right -= scaled.T @ total[start:end]
    normal += np.diag(ridge)
    return np.linalg.solve(normal, right), np.linalg.inv(normal)


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
    life: Ints,
    level: Floats,
    references: Mapping[int, Reference],
    prior: FleetPrior,
) -> dict[int, GroupFit]:
    """Temperature law and baseline prior of every group that has a reference, seen or not."""
    group_of_life = np.zeros(len(level), dtype=np.int64)
    group_of_life[life] = group
    unseen = GroupFit(0.0, 0.0, prior.b1_sd, prior.b2_sd, 0.0, prior.baseline_sd, 0)
    fits = {int(key): unseen for key in references}
    for code, key in enumerate(groups):
        levels = level[group_of_life == code]
        mean, sd = 0.0, prior.baseline_sd
        if len(levels) >= prior.baseline_lives:
            mean, sd = float(np.median(levels)), max(mad_sd(levels), prior.baseline_sd_floor)
        law, law_sd = ((float(of[code]), float(of[len(groups) + code])) for of in (beta, sds))
        fits[int(key)] = GroupFit(*law, *law_sd, mean, sd, len(levels))
    return fits


def _pooled(prior: float, prior_weight: float, seen: float, weight: float) -> float:
    return (prior_weight * prior + weight * seen) / (prior_weight + weight)
