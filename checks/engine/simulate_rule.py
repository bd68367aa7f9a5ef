"""What a rule would have warned of: a simulated fleet watched check by check, then judged by its truth.

At each check only what was known then is used: readings and lives up to that day, and a fit of the fleet made
at the beginning of the quarter. Simulated truth, not field data.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from checks.engine.drift_data import FleetFit, Floats, Ints, Lives, Readings, SeriesScore
from checks.engine.drift_fit import fit_fleet
from checks.engine.drift_score import Thresholds, score
from checks.engine.drift_series import prepare
from checks.engine.simulate import STEP, YEAR
from checks.engine.simulate_fleet import QUARTER, SimulatedFleet

USUAL_GAP = 130.0
DATED = Thresholds(closing=-1.0, drifting=-1.0)  # every series is given a date, whatever its state


@dataclass(frozen=True, eq=False)
class Watched:
    """What was said of each series at each check of its aircraft, ordered by life and day; shape (m,).

    life, day, next_day (of the next check), count (readings in the life), over; p_drift, p_cross: NaN with one reading; whole_drift,
    whole_cross: likewise with the effect of the check left in; early, middle, late: crossing day, inf for none
    low, high: where the next reading was expected, y_next: what it was in its own life, NaN for none; ln
    """

    life: Ints
    day: Floats
    next_day: Floats
    count: Ints
    over: np.ndarray
    p_drift: Floats
    p_cross: Floats
    whole_drift: Floats
    whole_cross: Floats
    early: Floats
    middle: Floats
    late: Floats
    low: Floats
    high: Floats
    y_next: Floats


@dataclass(frozen=True)
class Record:
    """How a rule did: false alarms per 100 healthy panel-years; shares of the gradual crossings warned of.

    ahead: at the last check before the crossing; before: at any check between onset and crossing; steps: of
    steps over the limit, at any check between onset and the reading over limit
    date_error: median days that the date was off at the last check before a crossing, of those warned.
    """

    healthy_years: float
    false_alarms: float
    crossings: int
    ahead: float
    before: float
    date_error: float


def what_would_have_been(seed: int, thresholds: Thresholds | None = None, **fleet: object) -> Record:
    """What these thresholds would have warned of in one simulated fleet; further words go to
    `simulate_fleet`."""
    from checks.engine.simulate_fleet import simulate_fleet

    made = simulate_fleet(seed, **fleet)  # type: ignore[arg-type]
    watched = watch(made)
    return judge(made, watched, alarms(watched, thresholds or Thresholds()))


def alarms(watched: Watched, thresholds: Thresholds) -> np.ndarray:
    """Where a series was called closing or drifting, (m,)."""
    known = ~watched.over & (watched.count >= 2)
    return known & ((watched.p_cross > thresholds.closing) | (watched.p_drift > thresholds.drifting))


def judge(fleet: SimulatedFleet, watched: Watched, alarm: np.ndarray) -> Record:
    """Hold alarms (m,) against the truth. A false alarm is one that begins before its life drifts."""
    onset = np.array([life.drift.onset for life in fleet.lives])
    crossing = np.array([life.crossing for life in fleet.lives])
    start = np.array([life.start for life in fleet.lives])
    gradual = np.array([life.drift.shape != STEP for life in fleet.lives])
    years = float(np.maximum(np.minimum(onset, fleet.ends) - start, 0).sum()) / YEAR
    new = np.append(True, watched.life[1:] != watched.life[:-1])[: len(watched.life)]
    begins = alarm & (new | ~np.append(False, alarm[:-1]))
    false = int((begins & (watched.day < onset[watched.life])).sum())
    crossed = np.flatnonzero(gradual & (crossing <= fleet.ends))
    known = np.isin(watched.life, crossed) & (watched.day < crossing[watched.life])
    last = np.flatnonzero(known & ~np.append(known[1:] & ~new[1:], False))
    since = known & (watched.day >= onset[watched.life])
    dated = last[alarm[last] & np.isfinite(watched.middle[last])]
    return Record(
        healthy_years=years,
        false_alarms=100 * false / years,
        crossings=len(crossed),
        ahead=float(alarm[last].sum()) / max(len(crossed), 1),
        before=len(np.unique(watched.life[since & alarm])) / max(len(crossed), 1),
        date_error=float(np.median(np.abs(watched.middle[dated] - crossing[watched.life[dated]])))
        if len(dated)
        else np.nan,
    )


def watch(fleet: SimulatedFleet) -> Watched:
    """Score every series at every check of its aircraft, by a fit no younger than the quarter."""
    readings, points = fleet.readings, len(fleet.points)
    aircraft = readings.series // points
    moments = np.unique(np.stack([aircraft, readings.day]), axis=1)
    same = np.append(moments[0][1:] == moments[0][:-1], False)
    gaps = np.where(same, np.append(np.diff(moments[1]), 0), USUAL_GAP)
    parts = []
    for quarter in np.unique(moments[1] // QUARTER):
        chosen = moments[1] // QUARTER == quarter
        fit = fit_fleet(readings, fleet.references, now=quarter * QUARTER, lives=fleet.starts)
        parts.append(_watch_quarter(fleet, fit, moments[:, chosen], gaps[chosen]))
    columns = [np.concatenate(column) for column in zip(*parts, strict=True)]
    order = np.lexsort((columns[1], columns[0]))
    return Watched(*(column[order] for column in columns))


def _watch_quarter(fleet: SimulatedFleet, fit: FleetFit, moments: Floats, gaps: Floats) -> list[np.ndarray]:
    """The columns of `Watched` at these (aircraft, day), all scored at once with their days made equal."""
    points = len(fleet.points)
    known, rows, moment = _known(fleet, moments)
    said = score(
        known,
        fleet.references,
        fit,
        0.0,
        {m * points + p: float(gap) for m, gap in enumerate(gaps) for p in range(points)},
        over=fleet.over[rows],
        lives=_shifted_starts(fleet, moments, known, rows, moment),
        thresholds=DATED,
        charts=False,
    )
    series = np.array([one.series for one in said])
    at, day = series // points, moments[1][series // points]
    last = {int(s): int(li) for s, li in zip(known.series, fleet.readings.life[rows], strict=True)}
    life = np.array([last[int(s)] for s in series])
    nominal = np.array([fleet.points[int(s) % points].reference.nominal for s in series])
    column = _columns(said)
    return [
        life,
        day,
        day + gaps[at],
        column("n_in_life").astype(np.int64),
        np.array([one.state for one in said]) == "over limit",
        column("p_drift"),
        column("p_cross"),
        column("whole_drift"),
        column("whole_cross"),
        *(np.nan_to_num(column(name), nan=np.inf) + day for name in _DATES),
        *(np.log(column(name) / nominal) for name in ("next_low", "next_high")),
        _next(fleet, fit, life, day + gaps[at]),
    ]


_DATES = ("crossing_low", "crossing_day", "crossing_high")


def _columns(said: tuple[SeriesScore, ...]):
    def column(name: str) -> Floats:
        return np.array([getattr(one, name) for one in said], dtype=float)

    return column


def _known(fleet: SimulatedFleet, moments: Floats) -> tuple[Readings, Ints, Ints]:
    """Readings known at each moment as if they were of as many fleets, days counted from the moment; their
    rows in the fleet; the moment of each."""
    readings, points = fleet.readings, len(fleet.points)
    aircraft = readings.series // points
    rows, moment = [], []
    for m, (a, day) in enumerate(moments.T):
        mine = np.flatnonzero((aircraft == a) & (readings.day <= day))
        rows.append(mine)
        moment.append(np.full(len(mine), m))
    row, at = np.concatenate(rows), np.concatenate(moment)
    taken = readings.take(row)
    return (
        replace(
            taken,
            series=at * points + taken.series % points,
            life=_numbered(at, taken.life),
            check=_numbered(at, taken.check),
            day=taken.day - moments[1][at],
        ),
        row,
        at,
    )


def _numbered(moment: Ints, number: Ints) -> Ints:
    return moment * (int(number.max(initial=0)) + 1) + number


def _shifted_starts(
    fleet: SimulatedFleet, moments: Floats, known: Readings, rows: Ints, moment: Ints
) -> Lives:
    life, first = np.unique(known.life, return_index=True)
    original = fleet.readings.life[rows[first]]
    start = fleet.starts.start_day[original] - moments[1][moment[first]]
    return Lives(life, start, tuple(fleet.starts.kind[i] for i in original))


def _next(fleet: SimulatedFleet, fit: FleetFit, life: Ints, day: Floats) -> Floats:
    """The first reading of these lives on these days, ln above nominal at 20 °C, NaN where there is none."""
    prepared = prepare(fleet.readings, fleet.references, fit, np.inf, fleet.starts)
    rows = prepared.readings
    first = np.lexsort((rows.check, rows.day, rows.life))[::-1]  # the first attempt of a day is kept last
    told = dict(
        zip(
            zip(rows.life[first].tolist(), rows.day[first].tolist(), strict=True),
            prepared.y[first],
            strict=True,
        )
    )
    return np.array([told.get(key, np.nan) for key in zip(life.tolist(), day.tolist(), strict=True)])
