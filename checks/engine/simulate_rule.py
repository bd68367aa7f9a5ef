"""What a rule would have warned of: a simulated fleet watched check by check, then judged by its truth.

At each check only what was known then is used: readings and lives up to that day, and a fit of the fleet made
at the beginning of the quarter. Simulated truth, not field data.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from checks.engine.drift_data import FleetFit, Floats, Ints, Lives, Readings, SeriesScore
from checks.engine.drift_fit import fit_fleet
from checks.engine.drift_score import Thresholds, score
from checks.engine.drift_series import prepare
from checks.engine.entry import NEEDED
from checks.engine.simulate import STEP, YEAR, Upkeep
from checks.engine.simulate_entry import EntryQuestions
from checks.engine.simulate_fleet import QUARTER, SimulatedFleet, simulate_fleet

USUAL_GAP = 130.0
UPKEEP = Upkeep(routine=(3, 12))  # purged every 3 to 12 checks, whether a reading asks for it or not
DATED = Thresholds(-1.0, -1.0, -1.0, -1.0)  # every series is given a date, whatever its state


@dataclass(frozen=True, eq=False)
class Watched:
    """What was said of each series at each check of its aircraft, ordered by life and day; shape (m,).

    life, day, next_day (of the next check), count (readings in the life), over
    p_drift, p_cross: NaN with one reading; whole_drift, whole_cross: likewise, what a check shares left in
    early, middle, late: crossing day, inf for none; low, high: where the next reading was expected
    y_next: what that was, in the same life, NaN for none; ln above nominal at 20 °C.
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
    """How a rule did, as counts, so that fleets can be added up.

    healthy_years: panel-years before a drift; false: alarms that began in them
    crossings: gradual ones before the life ended; ahead: of these, warned of at the last check before
    before: of these, at any check from onset on
    steps: that went over the limit, and steps_warned: of these, from onset on
    date_errors: days that the date was off at the last check before a crossing, of those warned of, (k,).
    """

    healthy_years: float
    false: int
    crossings: int
    ahead: int
    before: int
    steps: int
    steps_warned: int
    date_errors: Floats

    @property
    def false_alarms(self) -> float:
        """Per 100 healthy panel-years."""
        return 100 * self.false / max(self.healthy_years, 1e-9)

    @property
    def date_error(self) -> float:
        """Median; NaN for none."""
        return float(np.median(self.date_errors)) if len(self.date_errors) else np.nan

    def share(self, count: int) -> float:
        """Of the gradual crossings."""
        return count / max(self.crossings, 1)


def pooled(records: Iterable[Record]) -> Record:
    """Several fleets as one."""
    told = list(records)
    sums = {f.name: sum(getattr(one, f.name) for one in told) for f in fields(Record)[:-1]}
    return Record(**sums, date_errors=np.concatenate([one.date_errors for one in told]))


def what_would_have_been(
    thresholds: Thresholds, *, seeds: Sequence[int], aircraft: int = 24, questioned: bool = False
) -> tuple[Record, ...]:
    """What these thresholds would have warned of, one record for each simulated fleet of six years.

    questioned: readings far from their forecast are taken again as they are entered. Lives of 3 to 12 checks,
    everything else as `simulate_fleet` has it. About 10 s for 24 aircraft.
    """
    records = []
    for seed in seeds:
        question = EntryQuestions() if questioned else None
        fleet = simulate_fleet(seed, aircraft, upkeep=UPKEEP, question=question)
        watched = watch(fleet)
        records.append(judge(fleet, watched, alarms(fleet, watched, thresholds)))
    return tuple(records)


def alarms(fleet: SimulatedFleet, watched: Watched, thresholds: Thresholds) -> np.ndarray:
    """Where a series was called closing or drifting, (m,)."""
    clean = fleet.questioned & (watched.count > NEEDED)
    closing = np.where(clean, thresholds.questioned_closing, thresholds.closing)
    drifting = np.where(clean, thresholds.questioned_drifting, thresholds.drifting)
    known = ~watched.over & (watched.count >= 2)
    return known & ((watched.p_cross > closing) | (watched.p_drift > drifting))


def judge(fleet: SimulatedFleet, watched: Watched, alarm: np.ndarray) -> Record:
    """Hold alarms (m,) against the truth. A false alarm is one that begins before its life drifts."""
    onset = np.array([life.drift.onset for life in fleet.lives])
    crossing = np.array([life.crossing for life in fleet.lives])
    start = np.array([life.start for life in fleet.lives])
    step = np.array([life.drift.shape == STEP for life in fleet.lives])
    ends = fleet.ends
    new = np.append(True, watched.life[1:] != watched.life[:-1])[: len(watched.life)]
    begins = alarm & (new | ~np.append(False, alarm[:-1]))
    crossed = crossing <= ends
    known = ~step[watched.life] & crossed[watched.life] & (watched.day < crossing[watched.life])
    last = np.flatnonzero(known & ~np.append(known[1:] & ~new[1:], False))
    since = alarm & (watched.day >= onset[watched.life]) & crossed[watched.life]
    dated = last[alarm[last] & np.isfinite(watched.middle[last])]
    return Record(
        healthy_years=float(np.maximum(np.minimum(onset, ends) - start, 0).sum()) / YEAR,
        false=int((begins & (watched.day < onset[watched.life])).sum()),
        crossings=int((crossed & ~step).sum()),
        ahead=int(alarm[last].sum()),
        before=len(np.unique(watched.life[since & known])),
        steps=int((crossed & step).sum()),
        steps_warned=len(np.unique(watched.life[since & step[watched.life]])),
        date_errors=np.abs(watched.middle[dated] - crossing[watched.life[dated]]),
    )


def watch(fleet: SimulatedFleet) -> Watched:
    """Score every series at every check of its aircraft, by a fit that is no younger than the quarter."""
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
        questioned=np.full(len(rows), fleet.questioned),
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


def _columns(said: tuple[SeriesScore, ...]) -> Callable[[str], Floats]:
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
