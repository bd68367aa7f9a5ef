"""Score every series as known at one moment: state, probabilities, crossing date, expected reading, chart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from checks.engine.drift_action import shortening
from checks.engine.drift_bank import SHAPES, onsets_needed, weigh
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
from checks.engine.drift_forecast import forecast
from checks.engine.drift_reference import Reference
from checks.engine.drift_series import Prepared, block_of, prepare, variance_of_next
from checks.engine.entry import NEEDED

HORIZON_DAYS = 540.0
BAND_POINTS = 40
BAND = (0.05, 0.5, 0.95)
CROSSING = (0.1, 0.5, 0.9)
ALARMS = (DRIFTING, CLOSING)
CELLS_PER_BLOCK = 200_000


@dataclass(frozen=True)
class Thresholds:
    """Probabilities above which a series is called closing or drifting.

    questioned_*: where all readings of the life from the third on, the first of which anything is expected,
    were questioned at their entry, so that hardly one is an outlier; whole_*: with what a check shares left
    in, which gives a notice of the whole aircraft.
    Tuned on seeds of the simulator to less than one false alarm in 100 healthy panel-years; what others would
    have warned of: simulate_rule.py, `manage.py drift_rule`.
    """

    closing: float = 0.4
    drifting: float = 0.75
    questioned_closing: float = 0.3
    questioned_drifting: float = 0.32
    whole_closing: float = 0.5
    whole_drifting: float = 0.85

    @property
    def of_whole(self) -> Thresholds:
        """Those of the whole aircraft in the place of a single point's."""
        return replace(self, closing=self.whole_closing, drifting=self.whole_drifting)

    @property
    def of_questioned(self) -> Thresholds:
        """Those of questioned readings in the place of the usual ones."""
        return replace(self, closing=self.questioned_closing, drifting=self.questioned_drifting)


@dataclass(frozen=True, eq=False)
class _Asked:
    """What one call of `score` was asked, and over (n,) of the readings as given."""

    references: Mapping[int, Reference]
    fit: FleetFit
    thresholds: Thresholds
    horizons: Mapping[int, float]
    over: np.ndarray
    now: float
    charts: bool


@dataclass(frozen=True, eq=False)
class _Found:
    """Findings on L lives, (L,); crossing (L, 3), expected (3, L), band_day (L, m), band (3, L, m)."""

    ahead: Floats
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
    questioned: ArrayLike | None = None,
) -> tuple[SeriesScore, ...]:
    """Score every series that has a reading at or before `now`; later readings are not looked at.

    horizon_days: days from `now` to the next check, one for all, a mapping by series, or an array in the
        order of the sorted series numbers of `readings`
    over: for each reading, whether its event's outcome was over limit; if None, the reference table decides
    lives: when and why lives began; charts: False scores a large fleet without bands to draw
    questioned: for each reading, whether it was held against its forecast as it was entered (entry.py)
    fit: from `fit_fleet` with the same `now`, or the fit would know what came later.
    Returns one score per series in the order of series numbers. Raises KeyError for a group without
    reference.
    """
    asked = _Asked(
        references=references,
        fit=fit,
        thresholds=thresholds or Thresholds(),
        horizons=_horizons(readings, horizon_days),
        over=_over_flags(readings, references, over),
        now=float(now),
        charts=charts,
    )
    asked_again = None if questioned is None else np.asarray(questioned, dtype=bool)
    prepared = prepare(readings, references, fit, now, lives, asked_again)
    scores: list[SeriesScore] = []
    for chosen, onsets in _blocks(prepared, asked):
        found = _find(prepared, chosen, onsets, asked)
        scores += [_series_score(prepared, int(life), found, i, asked) for i, life in enumerate(chosen)]
    return tuple(sorted(scores, key=lambda one: one.series))


def _find(prepared: Prepared, chosen: Ints, onsets: int, asked: _Asked) -> _Found:
    """Weigh one block of lives, with and without the effect of their checks."""
    limits = {key: reference.lim for key, reference in asked.references.items()}
    ahead = np.array([asked.horizons[int(s)] for s in prepared.series[chosen]])
    start = prepared.start[chosen]
    at = asked.now - start
    own, whole = (block_of(prepared, chosen, asked.fit, limits, whole=each) for each in (False, True))
    posterior, posterior_whole = weigh(own, onsets), weigh(whole, onsets)
    ahead_of, ahead_whole = forecast(own, posterior), forecast(whole, posterior_whole)
    steps = np.linspace(0.0, 1.0, BAND_POINTS) if asked.charts else np.ones(1)
    grid = steps * (at + ahead)[:, None]
    new = variance_of_next(prepared, chosen, asked.fit)
    band = ahead_of.expected(grid, new, BAND, asked.fit.widening)
    return _Found(
        ahead=ahead,
        p_drift=posterior.begun(at),
        p_cross=ahead_of.over(at + ahead),
        whole_drift=posterior_whole.begun(at),
        whole_cross=ahead_whole.over(at + ahead),
        crossing=ahead_of.crossing(at, CROSSING) + start[:, None],
        level=ahead_of.level(at),
        slope=ahead_of.slope(at),
        expected=band[:, :, -1],
        band_day=grid + start[:, None],
        band=band,
    )


def _blocks(prepared: Prepared, asked: _Asked) -> list[tuple[Ints, int]]:
    """Current lives in blocks of like size with their number of onsets: little is padded, memory stays
    small.
    """
    current = prepared.current
    sizes = prepared.edges[current + 1] - prepared.edges[current]
    ahead = np.array([asked.horizons[int(s)] for s in prepared.series[current]])
    onsets = np.array(
        [onsets_needed(days) for days in asked.now - prepared.start[current] + ahead], dtype=int
    )
    blocks = []
    for wanted in np.unique(onsets).tolist():
        alike = np.flatnonzero(onsets == wanted)
        alike = alike[np.argsort(sizes[alike], kind="stable")]
        step = max(1, CELLS_PER_BLOCK // (int(sizes[alike].max()) * (1 + SHAPES * wanted)))
        blocks += [(current[alike[i : i + step]], wanted) for i in range(0, len(alike), step)]
    return blocks


def _series_score(prepared: Prepared, life: int, found: _Found, i: int, asked: _Asked) -> SeriesScore:
    """The score of the series whose current life is number `i` of what was found."""
    first, end = int(prepared.edges[life]), int(prepared.edges[life + 1])
    last, count = end - 1, end - first
    reference = asked.references[int(prepared.readings.group[last])]
    over = bool(asked.over[prepared.row[last]])
    p_drift, p_cross = float(found.p_drift[i]), float(found.p_cross[i])
    clean = count > NEEDED and bool(prepared.questioned[first + NEEDED : end].all())
    thresholds = asked.thresholds.of_questioned if clean else asked.thresholds
    state = _state(p_drift, p_cross, count, over, thresholds)
    whole = _state(
        float(found.whole_drift[i]), float(found.whole_cross[i]), count, over, asked.thresholds.of_whole
    )
    dated = count >= 3 and state in ALARMS
    early, middle, late = (_finite(day) if dated else None for day in found.crossing[i])
    next_low, next_mid, next_high = (reference.nominal * float(np.exp(ln)) for ln in found.expected[:, i])
    last_20 = reference.nominal * float(np.exp(prepared.at_20[last]))
    series = int(prepared.series[life])
    return SeriesScore(
        series=series,
        state=state,
        p_drift=p_drift if count >= 2 else None,
        p_cross=p_cross if count >= 2 else None,
        crossing_day=middle,
        crossing_low=early,
        crossing_high=late,
        level_ln=float(found.level[i]) - reference.lim,
        level_20=reference.nominal * float(np.exp(found.level[i])),
        limit_20=reference.limit_20,
        last_20=last_20,
        last_day=float(prepared.readings.day[last]),
        margin_percent=100 * (1 - last_20 / reference.limit_20),
        slope_per_year=float(found.slope[i]) if count >= 3 else None,
        n_in_life=count,
        life_start_day=float(prepared.start[life]),
        next_low=next_low,
        next_mid=next_mid,
        next_high=next_high,
        now=asked.now,
        horizon_day=asked.now + float(found.ahead[i]),
        left_out=prepared.left_out.get(series, 0),
        whole_drift=float(found.whole_drift[i]) if count >= 2 else None,
        whole_cross=float(found.whole_cross[i]) if count >= 2 else None,
        whole_aircraft_notice=whole in ALARMS and state not in (*ALARMS, OVER_LIMIT),
        shortening=shortening(_purge_lives(prepared, life)),
        chart=_chart(prepared, life, found, i, reference) if asked.charts else None,
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
    """Days of the completed lives since the part was last new, oldest first, each ended by a purge."""
    days: list[float] = []
    while not prepared.renewed[life] and prepared.previous[life] >= 0:
        before = int(prepared.previous[life])
        days.append(float(prepared.start[life] - prepared.start[before]))
        life = before
    return days[::-1]


def _chart(prepared: Prepared, life: int, found: _Found, i: int, reference: Reference) -> Chart:
    earliest = life
    while prepared.previous[earliest] >= 0:
        earliest = int(prepared.previous[earliest])
    rows = slice(int(prepared.edges[earliest]), int(prepared.edges[life + 1]))
    low, mid, high = reference.nominal * np.exp(found.band[:, i])
    return Chart(
        day=prepared.readings.day[rows],
        as_read=prepared.readings.value[rows],
        at_20=reference.nominal * np.exp(prepared.at_20[rows]),
        limit_20=reference.limit_20,
        band_day=found.band_day[i],
        band_low=low,
        band_mid=mid,
        band_high=high,
        resets=prepared.start[earliest + 1 : life + 1],
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
    """Over limit or not for each reading: as told, else by the reference table where that says anything."""
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
