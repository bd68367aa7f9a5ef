"""From the engine's scores to stored rows: one SeriesState for each series, chart and facts as JSON."""

import datetime as dt
import math
from typing import Any

from checks.engine.drift import Chart, FleetFit, SeriesScore, Thresholds, action, score
from checks.engine.drift_action import LOOK
from checks.engine.drift_data import OVER_LIMIT, TOO_FEW
from checks.models import SeriesState
from checks.services.drift_inputs import DriftInputs

#: a crossing date further away than this many days says nothing
FARTHEST_DAYS = 20 * 365.25
DIGITS = 5


def states_of(inputs: DriftInputs, fit: FleetFit, thresholds: Thresholds) -> list[SeriesState]:
    """The states, unsaved and without run, of every series of the inputs, in their order."""
    told = score(
        inputs.readings,
        inputs.references,
        fit,
        inputs.now,
        inputs.horizons,
        over=inputs.over,
        lives=inputs.lives,
        thresholds=thresholds,
        questioned=inputs.questioned,
    )
    scores = {one.series: one for one in told}
    checks, digests = inputs.check_at, inputs.digests()
    made = [_state(inputs, series, scores.get(series), checks) for series in range(len(inputs.keys))]
    for one in made:
        one.inputs_hash = digests[one.aircraft_id]
    return made


def _state(
    inputs: DriftInputs, series: int, one: SeriesScore | None, checks: dict[tuple[int, float], int]
) -> SeriesState:
    aircraft, point = inputs.keys[series]
    running = inputs.past[series][-1]
    made = SeriesState(
        aircraft_id=aircraft,
        point_id=point,
        state=TOO_FEW,
        readings_in_life=running.readings,
        life_began_on=_date(running.began),
        next_check_on=inputs.next_check[series],
        action=LOOK,
        action_by=inputs.next_check[series],
        chart=_chart(inputs, series, one, checks),
        facts=_facts(inputs, series, one),
    )
    if one is not None and running.readings:
        _scored(made, one)
    elif one is not None and one.state == OVER_LIMIT:
        made.state = OVER_LIMIT  # purged since, but nothing has shown that it helped
    made.urgency = SeriesState.URGENCY.index(made.state)
    return made


def _scored(made: SeriesState, one: SeriesScore) -> None:
    """What the engine says of a life that has readings."""
    what = action(one, one.horizon_day)
    by = _date(what.day)
    made.state, made.p_drift, made.p_cross = one.state, one.p_drift, one.p_cross
    made.readings_in_life, made.margin = one.n_in_life, one.margin_percent / 100
    made.life_began_on = _date(one.life_start_day)
    made.crossing_on, made.crossing_low, made.crossing_high = (
        _date(day) if day is not None and day - one.now < FARTHEST_DAYS else None
        for day in (one.crossing_day, one.crossing_low, one.crossing_high)
    )
    made.action = what.kind
    made.action_by = made.next_check_on if what.kind == LOOK else by


def _chart(
    inputs: DriftInputs, series: int, one: SeriesScore | None, checks: dict[tuple[int, float], int]
) -> dict[str, Any]:
    """Arrays for the chart. days, events, as_read, at_20, lives (from 0): one for each reading; running: the
    life that runs now; band: its [day, low, middle, high]; resets: [day, word]."""
    lives = inputs.past[series]
    drawn = one.chart if one else None
    days = drawn.day.tolist() if drawn else []
    later = [life.began for life in lives[1:] if life.began is not None]
    return {
        "limit": _round(inputs.references[inputs.keys[series][1]].limit_20),
        "days": [_iso(day) for day in days],
        "events": [inputs.events[checks[series, day]].hex for day in days],
        "as_read": [_round(value) for value in (drawn.as_read.tolist() if drawn else [])],
        "at_20": [_round(value) for value in (drawn.at_20.tolist() if drawn else [])],
        "lives": [sum(start < day for start in later) for day in days],
        "running": len(lives) - 1,
        "band": _band(drawn) if drawn and lives[-1].readings else [],
        "resets": [[_iso(life.began), life.kind] for life in lives if life.began is not None],
    }


def _band(drawn: Chart) -> list[list[Any]]:
    columns = (drawn.band_day, drawn.band_low, drawn.band_mid, drawn.band_high)
    rows = zip(*(column.tolist() for column in columns), strict=True)
    # Two places on one day of the calendar are one.
    by_day = {_iso(day): [_round(value) for value in values] for day, *values in rows}
    return [[day, *values] for day, values in by_day.items()]


def _facts(inputs: DriftInputs, series: int, one: SeriesScore | None) -> dict[str, Any]:
    """What else is said: values at 20 °C in canonical units, dates as ISO; without a score only the lives."""
    facts: dict[str, Any] = {
        "lives": [
            {
                "kind": life.kind,
                "began": _iso(life.began),
                "readings": life.readings,
                "first": _iso(life.first),
                "last": _iso(life.last),
            }
            for life in inputs.past[series]
        ],
        "planned": inputs.next_check[series] is not None,
        "scored_on": _iso(inputs.now),
        "in_doubt": [event.hex for event in inputs.in_doubt[series]],
    }
    if one is None:
        return facts
    facts |= {
        "last_on": _iso(one.last_day),
        "last_20": _round(one.last_20),
        "level_20": _round(one.level_20),
        "left_out": one.left_out,
    }
    if inputs.past[series][-1].readings:
        facts |= {
            "slope": _round(one.slope_per_year),
            "horizon_on": _iso(one.horizon_day),
            "next": [_round(value) for value in (one.next_low, one.next_mid, one.next_high)],
            "whole_aircraft": one.whole_aircraft_notice,
            "shortening": one.shortening,
        }
    return facts


def _date(day: float | None) -> dt.date | None:
    return None if day is None else dt.date.fromordinal(math.floor(day))


def _iso(day: float | None) -> str | None:
    made = _date(day)
    return made and made.isoformat()


def _round(value: float | None) -> float | None:
    return None if value is None else float(f"{value:.{DIGITS}g}")
