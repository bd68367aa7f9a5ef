"""Score every series as known at one moment: state, probabilities, crossing date, expected reading, chart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from checks.engine.drift_action import shortening
from checks.engine.drift_bank import Posterior, onsets_needed, weigh
from checks.engine.drift_data import (
    CLOSING,
    DRIFTING,
    OVER_LIMIT,
    STEADY,
    TOO_FEW,
    Chart,
    FleetFit,
    Floats,
    Ints,
    Lives,
    Readings,
    SeriesScore,
)
from checks.engine.drift_reference import Reference
from checks.engine.drift_series import Prepared, block_of, prepare

HORIZON_DAYS = 540.0
BAND_POINTS = 40
BAND = (0.05, 0.5, 0.95)
CROSSING = (0.1, 0.5, 0.9)
CELLS_PER_BLOCK = 1_500_000


@dataclass(frozen=True)
class Thresholds:
    """Probabilities above which a series is called closing or drifting; tuned by simulation (test_drift_bar)."""

    closing: float = 0.6
    drifting: float = 0.6


@dataclass(frozen=True, eq=False)
class _Found:
    """What the bank says of lives, all (L,) unless stated."""

    p_drift: Floats
    p_cross: Floats
    whole_drift: Floats
    whole_cross: Floats
    crossing: Floats
    level: Floats
    slope: Floats
    expected: Floats
    band_day: Floats
    band: Floats


def score(
    readings: Readings,
    references: Mapping[int, Reference],
    fit: FleetFit,
    now: float,
    horizon_days: float | Mapping[int, float] | ArrayLike = HORIZON_DAYS,
    *,
    over: ArrayLike | None = None,
    lives: Lives | None = None,
    thresholds: Thresholds | None = None,
    charts: bool = True,
) -> tuple[SeriesScore, ...]:
    """Score every series that has a reading at or before `now`; later readings are not looked at.

    horizon_days: days from `now` to the next check, one for all, a mapping by series, or an array in the order of
        the sorted series numbers of `readings`
    over: for each reading, whether its event's outcome was over limit; left out, the reference table decides
    lives: when and why lives began; charts: leave out to score a large fleet without bands to draw
    fit: from `fit_fleet` with the same `now`, or the fit would know what came later.
    Returns one score per series in the order of series numbers. Raises KeyError for a group without reference.
    """
    thresholds = thresholds or Thresholds()
    horizons = _horizons(readings, horizon_days)
    flags = _over_flags(readings, references, over)
    prepared = prepare(readings, references, fit, now, lives)
    limits = {key: reference.lim for key, reference in references.items()}
    current = prepared.current
    scores: list[SeriesScore] = []
    for chosen, onsets in _blocks(prepared, current, now, horizons):
        ahead = np.array([horizons[int(s)] for s in prepared.series[chosen]])
        found = _find(prepared, chosen, fit, limits, now, ahead, onsets, charts)
        for i, life in enumerate(chosen):
            scores.append(
                _series_score(
                    prepared, int(life), i, found, flags, references, thresholds, now, float(ahead[i]), charts
                )
            )
    return tuple(sorted(scores, key=lambda one: one.series))


def _find(
    prepared: Prepared,
    chosen: Ints,
    fit: FleetFit,
    limits: Mapping[int, float],
    now: float,
    ahead: Floats,
    onsets: int,
    charts: bool,
) -> _Found:
    """Weigh one block of lives, with and without the effect of their checks."""
    block = block_of(prepared, chosen, fit, limits, whole=False)
    posterior = weigh(block, onsets)
    whole = weigh(block_of(prepared, chosen, fit, limits, whole=True), onsets)
    at = now - prepared.start[chosen]
    heavy = posterior.likeliest()
    new = _variance_ahead(prepared, chosen, fit)
    steps = np.linspace(0.0, 1.0, BAND_POINTS if charts else 2)
    grid = steps * (at + ahead)[:, None]
    band = heavy.expected(grid if charts else grid[:, -1:], new, BAND, fit.widening)
    return _Found(
        p_drift=posterior.begun(at),
        p_cross=posterior.over(at + ahead),
        whole_drift=whole.begun(at),
        whole_cross=whole.over(at + ahead),
        crossing=_crossing(posterior, at, prepared.start[chosen]),
        level=posterior.level(at),
        slope=posterior.slope(at),
        expected=band[:, :, -1],
        band_day=grid + prepared.start[chosen][:, None],
        band=band,
    )


def _crossing(posterior: Posterior, at: Floats, start: Floats) -> Floats:
    return posterior.crossing(at, CROSSING) + start[:, None]


def _variance_ahead(prepared: Prepared, chosen: Ints, fit: FleetFit) -> Floats:
    """Variance of one further reading of each life, its thermometer's share included."""
    last = prepared.edges[chosen + 1] - 1
    return prepared.variance[last] + np.where(prepared.shares[last], fit.s_check**2, 0.0)


def _blocks(
    prepared: Prepared, current: Ints, now: float, horizons: Mapping[int, float]
) -> list[tuple[Ints, int]]:
    """Current lives sorted into blocks of like size, so that little is padded and memory stays small."""
    if not len(current):
        return []
    sizes = prepared.edges[current + 1] - prepared.edges[current]
    ahead = np.array([horizons[int(s)] for s in prepared.series[current]])
    onsets = np.array([onsets_needed(days) for days in now - prepared.start[current] + ahead])
    blocks = []
    for wanted in np.unique(onsets):
        alike = current[onsets == wanted]
        alike = alike[np.argsort(sizes[onsets == wanted], kind="stable")]
        longest = int(sizes[onsets == wanted].max())
        step = max(1, CELLS_PER_BLOCK // (longest * (1 + 8 * int(wanted))))
        blocks += [(alike[i : i + step], int(wanted)) for i in range(0, len(alike), step)]
    return blocks


def _series_score(
    prepared: Prepared,
    life: int,
    i: int,
    found: _Found,
    flags: np.ndarray,
    references: Mapping[int, Reference],
    thresholds: Thresholds,
    now: float,
    ahead: float,
    charts: bool,
) -> SeriesScore:
    first, end = int(prepared.edges[life]), int(prepared.edges[life + 1])
    last, count = end - 1, end - first
    reference = references[int(prepared.readings.group[last])]
    natural = reference.nominal * np.exp(prepared.y - prepared.check_effect)[first:end]
    several, enough = count >= 2, count >= 3
    over = bool(flags[prepared.row[last]])
    p_drift, p_cross = float(found.p_drift[i]), float(found.p_cross[i])
    state = _state(p_drift, p_cross, count, over, thresholds)
    whole = _state(float(found.whole_drift[i]), float(found.whole_cross[i]), count, over, thresholds)
    low, middle, high = found.crossing[i]
    series = int(prepared.series[life])
    return SeriesScore(
        series=series,
        state=state,
        p_drift=p_drift if several else None,
        p_cross=p_cross if several else None,
        crossing_day=_finite(middle) if enough else None,
        crossing_low=_finite(low) if enough else None,
        crossing_high=_finite(high) if enough else None,
        level_ln=float(found.level[i]) - reference.lim,
        level_20=reference.nominal * float(np.exp(found.level[i])),
        limit_20=reference.limit_20,
        last_20=float(natural[-1]),
        last_day=float(prepared.readings.day[last]),
        margin_percent=100 * (1 - float(natural[-1]) / reference.limit_20),
        slope_per_year=float(found.slope[i]) if enough else None,
        n_in_life=count,
        life_start_day=float(prepared.start[life]),
        next_low=reference.nominal * float(np.exp(found.expected[0, i])),
        next_mid=reference.nominal * float(np.exp(found.expected[1, i])),
        next_high=reference.nominal * float(np.exp(found.expected[2, i])),
        now=float(now),
        horizon_day=float(now) + ahead,
        left_out=prepared.left_out.get(series, 0),
        whole_aircraft_notice=whole in (DRIFTING, CLOSING) and state not in (DRIFTING, CLOSING, OVER_LIMIT),
        shortening=shortening(_purge_lives(prepared, life)),
        chart=_chart(prepared, life, i, found, reference) if charts else None,
    )


def _state(p_drift: float, p_cross: float, count: int, over: bool, thresholds: Thresholds) -> str:
    if over:
        return OVER_LIMIT
    if count < 2:
        return TOO_FEW
    if p_cross > thresholds.closing:
        return CLOSING
    return DRIFTING if p_drift > thresholds.drifting else STEADY


def _purge_lives(prepared: Prepared, life: int) -> list[float]:
    """Days of the completed lives since the part was last new, each ended by a purge."""
    days: list[float] = []
    while not prepared.renewed[life] and prepared.previous[life] >= 0:
        before = int(prepared.previous[life])
        days.append(float(prepared.start[life] - prepared.start[before]))
        life = before
    return days[::-1]


def _chart(prepared: Prepared, life: int, i: int, found: _Found, reference: Reference) -> Chart:
    series = prepared.series == prepared.series[life]
    rows = slice(int(prepared.edges[:-1][series][0]), int(prepared.edges[life + 1]))
    low, mid, high = reference.nominal * np.exp(found.band[:, i])
    return Chart(
        day=prepared.readings.day[rows],
        as_read=prepared.readings.value[rows],
        at_20=reference.nominal * np.exp((prepared.y - prepared.check_effect)[rows]),
        limit_20=reference.limit_20,
        band_day=found.band_day[i],
        band_low=low,
        band_mid=mid,
        band_high=high,
        resets=prepared.start[series][1:],
    )


def _horizons(readings: Readings, given: float | Mapping[int, float] | ArrayLike) -> dict[int, float]:
    series = np.unique(readings.series).tolist()
    if isinstance(given, Mapping):
        return {key: float(given.get(key, HORIZON_DAYS)) for key in series}
    days: Sequence[float] = np.broadcast_to(np.asarray(given, dtype=float), (len(series),)).tolist()
    return dict(zip(series, days, strict=True))


def _over_flags(
    readings: Readings, references: Mapping[int, Reference], over: ArrayLike | None
) -> np.ndarray:
    """Over limit or not for each reading, as told or by the reference table (never, where it says nothing)."""
    if over is not None:
        flags = np.asarray(over, dtype=bool)
        if flags.shape != (len(readings),):
            raise ValueError("over must have one flag for each reading")
        return flags
    flags = np.zeros(len(readings), dtype=bool)
    for group in np.unique(readings.group):
        rows = readings.group == group
        flags[rows] = readings.value[rows] > references[int(group)].at(readings.temperature_c[rows])
    return flags


def _finite(day: float) -> float | None:
    return float(day) if np.isfinite(day) else None
