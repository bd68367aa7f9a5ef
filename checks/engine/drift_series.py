"""From readings to lives: compensated, ordered, with what each check shares and where each life begins."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from checks.engine.drift_bank import Block
from checks.engine.drift_data import FIRST, PURGE, FleetFit, Floats, Ints, Lives, Readings
from checks.engine.drift_reference import AT, Reference, compensate
from checks.engine.drift_regression import FOLLOWS_FLUID, group_median
from checks.engine.entry import NEEDED

CHECK_LIVES = 4
PURGED_SD = 0.08
PURGED_READINGS = 3


@dataclass(frozen=True, eq=False)
class Prepared:
    """Readings up to `now` that can be compensated, ordered by series, life and day.

    y: ln above nominal at 20 °C, temperature law and gauge taken out, (n,)
    check_effect: what all points of the check share, (n,); check_left: share of its variance that taking it
        out leaves, 1 where none is taken out; variance: of y without that, (n,); law_doubt: the
        temperature law's part in it
    shares: readings that follow the fluid, (n,); row: position in the readings given, (n,)
    edges: life i holds rows edges[i]:edges[i+1], (k+1,); series, start: of each life, (k,)
    renewed: whether it began with a new part, (k,); previous: the life before it or -1, (k,)
    left_out: how many readings of a series nothing could compensate
    questioned: readings that were held against a forecast as they were entered, (n,).
    """

    readings: Readings
    row: Ints
    y: Floats
    check_effect: Floats
    check_left: Floats
    variance: Floats
    law_doubt: Floats
    shares: np.ndarray
    edges: Ints
    start: Floats
    renewed: np.ndarray
    previous: Ints
    series: Ints
    left_out: dict[int, int]
    questioned: np.ndarray

    @cached_property
    def at_20(self) -> Floats:
        """y without what the check shares, (n,)."""
        return self.y - self.check_effect

    @cached_property
    def current(self) -> Ints:
        """The last life of every series, in the order of series."""
        return np.flatnonzero(np.append(self.series[1:] != self.series[:-1], True)[: len(self.series)])


def prepare(
    readings: Readings,
    references: Mapping[int, Reference],
    fit: FleetFit,
    now: float,
    lives: Lives | None = None,
    questioned: np.ndarray | None = None,
) -> Prepared:
    """Compensate and order what is known at `now`; nothing later is looked at."""
    row = np.flatnonzero(readings.day <= now)
    past = readings.take(row)
    x, rounding = compensate(past, references)
    known = np.isfinite(x)
    strange, counts = np.unique(past.series[~known], return_counts=True)
    row, kept, x, rounding = row[known], past.take(known), x[known], rounding[known]
    start, kind = _starts(kept, lives)
    order = np.lexsort((kept.value, kept.check, kept.day, kept.life, start, kept.series))
    kept, start = kept.take(order), start[order]
    corrections, law_doubt, gauge_doubt = _corrections(kept, fit)
    y = x[order] - corrections
    first = np.flatnonzero(np.append(True, kept.life[1:] != kept.life[:-1])[: len(kept)])
    series = kept.series[first]
    same = np.append(False, series[1:] == series[:-1])[: len(series)]
    groups, group = np.unique(kept.group, return_inverse=True)
    follows = [references[int(g)].viscosity_exponent > FOLLOWS_FLUID for g in groups]
    shares = np.array(follows, dtype=bool)[group]
    check_effect, check_left = _check_effects(kept, y, shares, fit)
    return Prepared(
        readings=kept,
        row=row[order],
        y=y,
        check_effect=check_effect,
        check_left=check_left,
        variance=fit.s_rep**2 + rounding[order] + law_doubt + gauge_doubt,
        law_doubt=law_doubt,
        shares=shares,
        edges=np.append(first, len(kept)),
        start=start[first],
        renewed=np.array(
            [
                kind.get(int(key), PURGE if later else FIRST)
                for key, later in zip(kept.life[first], same, strict=True)
            ],
            dtype=object,
        )
        != PURGE,
        previous=np.where(same, np.arange(len(first)) - 1, -1),
        series=series,
        left_out={int(s): int(c) for s, c in zip(strange, counts, strict=True)},
        questioned=np.zeros(len(kept), dtype=bool) if questioned is None else questioned[row[order]],
    )


def block_of(
    prepared: Prepared,
    chosen: Ints,
    fit: FleetFit,
    lims: Mapping[int, float],
    *,
    whole: bool,
    known: Ints | None = None,
) -> Block:
    """Pad the chosen lives into one block.

    whole: keep the effect of the check in, so that an aircraft whose points all drift together is seen
    known: how many readings of each life to use; all, if None.
    """
    sizes = prepared.edges[chosen + 1] - prepared.edges[chosen] if known is None else known
    rank = np.arange(sizes.max())
    used = rank < sizes[:, None]
    rows = np.where(used, prepared.edges[chosen][:, None] + rank, prepared.edges[chosen][:, None])
    shared = np.where(prepared.shares[rows], fit.s_check**2, 0.0)
    y, left = prepared.y[rows], 1.0
    if not whole:
        y, left = y - prepared.check_effect[rows], prepared.check_left[rows]
    groups = [fit.groups[int(g)] for g in prepared.readings.group[rows[:, 0]]]
    mean = np.array([g.baseline_mean for g in groups])
    sd = np.array([g.baseline_sd for g in groups])
    for i in np.flatnonzero(~prepared.renewed[chosen] & (prepared.previous[chosen] >= 0)):
        before = prepared.edges[prepared.previous[chosen[i]]]
        until = min(before + PURGED_READINGS, prepared.edges[prepared.previous[chosen[i]] + 1])
        earlier = prepared.y if whole else prepared.at_20
        mean[i], sd[i] = np.median(earlier[before:until]), PURGED_SD
    return Block(
        t=prepared.readings.day[rows] - prepared.start[chosen][:, None],
        y=y,
        v=prepared.variance[rows] + left * shared,
        used=used,
        mean=mean,
        sd=sd,
        lim=np.array([lims[int(g)] for g in prepared.readings.group[rows[:, 0]]]),
        first=prepared.renewed[chosen],
        questioned=prepared.questioned[rows] & (rank >= NEEDED),
    )


def variance_of_one(prepared: Prepared, rows: Ints, fit: FleetFit) -> Floats:
    """Variance of one reading like those in `rows`, its thermometer's share included."""
    return prepared.variance[rows] + np.where(prepared.shares[rows], fit.s_check**2, 0.0)


def variance_of_next(prepared: Prepared, chosen: Ints, fit: FleetFit) -> Floats:
    """Variance of a reading to come in each of the chosen lives, its thermometer's share included.

    Its temperature and gauge are not known yet: of the law's doubt it has the group's usual share, of the
    gauge's what the last reading has.
    """
    last = prepared.edges[chosen + 1] - 1
    law = np.array([fit.groups[int(g)].law_variance for g in prepared.readings.group[last]])
    shared = np.where(prepared.shares[last], fit.s_check**2, 0.0)
    return prepared.variance[last] - prepared.law_doubt[last] + law + shared


def _starts(readings: Readings, lives: Lives | None) -> tuple[Floats, dict[int, str]]:
    """Day on which the life of each reading began, and the kinds that were told."""
    _, code = np.unique(readings.life, return_inverse=True)
    earliest = np.full(code.max(initial=-1) + 1, np.inf)
    np.minimum.at(earliest, code, readings.day)
    start = earliest[code]
    if lives is None:
        return start, {}
    kinds = dict(zip(lives.life.tolist(), lives.kind, strict=True))
    if not len(lives.life) or not len(readings):
        return start, kinds
    order = np.argsort(lives.life, kind="stable")
    at = np.searchsorted(lives.life[order], readings.life).clip(0, len(order) - 1)
    told = lives.life[order][at] == readings.life
    return np.where(told, np.minimum(start, lives.start_day[order][at]), start), kinds


def _runs(numbers: Ints) -> tuple[Ints, Ints]:
    """Position of each number's run among runs of equal numbers, and the length of every run."""
    begins = np.append(True, numbers[1:] != numbers[:-1])[: len(numbers)]
    first = np.flatnonzero(begins)
    return np.cumsum(begins) - 1, np.diff(np.append(first, len(numbers)))


def _corrections(readings: Readings, fit: FleetFit) -> tuple[Floats, Floats, Floats]:
    """Temperature law and gauge effect to take from each reading, ln, and the variance of each of the two."""
    groups, code = np.unique(readings.group, return_inverse=True)
    fits = [fit.groups[int(g)] for g in groups]
    law = np.array([(g.b1, g.b2, g.b1_sd**2, g.b2_sd**2) for g in fits]).reshape(-1, 4)[code].T
    gauges, instrument = np.unique(readings.gauge, return_inverse=True)
    effect = np.array([fit.gauges.get(int(g), 0.0) for g in gauges])[instrument]
    effect_sd = np.array([fit.gauge_sds.get(int(g), fit.new_gauge_sd) for g in gauges])[instrument]
    warmth = (readings.temperature_c - AT) / 10
    law_doubt = law[2] * warmth**2 + law[3] * warmth**4
    return law[0] * warmth + law[1] * warmth**2 + effect, law_doubt, effect_sd**2


def _check_effects(readings: Readings, y: Floats, shares: np.ndarray, fit: FleetFit) -> tuple[Floats, Floats]:
    """What the points of one check share (a misread thermometer moves them all), shrunk towards none, and the
    share of its variance that is left.

    Needs four lives of two readings or more in the check; zero and one elsewhere.
    """
    none, whole = np.zeros(len(readings)), np.ones(len(readings))
    _, size = _runs(readings.life)
    use = shares & (np.repeat(size, size) >= 2)
    if not use.any():
        return none, whole
    life, _ = _runs(readings.life[use])
    checks, check, counts = np.unique(readings.check[use], return_inverse=True, return_counts=True)
    wide = counts >= CHECK_LIVES
    shrink = np.where(wide, fit.s_check**2 / (fit.s_check**2 + 1.57 * fit.s_rep**2 / counts), 0.0)
    common = np.zeros(len(checks))
    for _ in range(2):
        level = group_median(y[use] - common[check], life, life.max() + 1)
        common = shrink * group_median(y[use] - level[life], check, len(checks))
    at = np.searchsorted(checks, readings.check).clip(0, len(checks) - 1)
    here = shares & (checks[at] == readings.check)
    return np.where(here, common[at], none), np.where(here, 1 - shrink[at], whole)
