"""The drift of the fleet as a report: what the ranking shows for the same filter, summed up."""

import datetime as dt
from collections import Counter
from dataclasses import dataclass, replace

from django.http import QueryDict
from django.utils import timezone

from checks.charts.scene import Scene
from checks.filters_drift import DriftFilter
from checks.models import SeriesState
from checks.selectors.drift import (
    ALARMS,
    DriftRow,
    drift_rows,
    is_stale,
    latest_run,
    scatter,
    series_states,
    whole_aircraft,
)
from checks.selectors.drift_card import Card, report_card
from checks.selectors.drift_changes import Changes, changes
from checks.selectors.drift_series import course
from fleet.models import Operator

#: more charts than this make no report that a person reads; the rest stands in the table
MOST_CHARTS = 60
#: readings as read differ with the season, and paper has no room for both
ON_PAPER = "compensated"


@dataclass(frozen=True)
class Fit:
    """Which fit the report rests on. number: its key; one, check: scatter as shares; widening: factor on
    interval widths."""

    number: int
    run_at: dt.datetime
    model: str
    readings: int
    one: float
    check: float
    widening: float
    stale: bool


@dataclass(frozen=True)
class FleetTrend:
    """words: the filter; summary: base -> numbers in the order of `states`; acting: rows to act on with their
    charts; others: all other rows, those beyond MOST_CHARTS first; together: aircraft whose points may all
    move; changes: of the points shown; card: of the whole fleet."""

    operator: str
    is_demo: bool
    words: str
    today: dt.date
    fit: Fit | None
    states: tuple[str, ...]
    summary: tuple[tuple[str, tuple[int, ...]], ...]
    acting: tuple[tuple[DriftRow, Scene], ...]
    others: tuple[DriftRow, ...]
    together: tuple[str, ...]
    changes: Changes
    card: Card | None

    @property
    def left_without_chart(self) -> int:
        """How many rows to act on stand in the table only."""
        return sum(row.state in ALARMS for row in self.others)


def fleet_trend(query: QueryDict, *, today: dt.date | None = None) -> FleetTrend | None:
    """All series that the ranking shows for the same query, over all its pages; None: not understood.

    Eleven queries, and one for each of the filters base and variant.
    """
    found = DriftFilter(query, queryset=series_states())
    if not found.is_valid():
        return None
    operator, today = Operator.current(), today or timezone.localdate()
    states = list(found.listed)
    keys = {state.pk for state in states}
    rows = {row.pk: row for row in drift_rows(states)}
    drawn = [state for state in states if state.state in ALARMS][:MOST_CHARTS]
    drawn_keys = {state.pk for state in drawn}
    changed = changes(timezone.now())
    return FleetTrend(
        operator=operator.name,
        is_demo=operator.is_demo,
        words=found.words,
        today=today,
        fit=_fit(today),
        states=tuple(SeriesState.URGENCY),
        summary=_summary(states),
        acting=tuple((rows[one.pk], course(one, ON_PAPER)) for one in drawn),
        others=tuple(rows[one.pk] for one in states if one.pk not in drawn_keys),
        together=tuple(whole_aircraft(found.listed)),
        changes=replace(changed, rows=tuple(row for row in changed.rows if row.pk in keys)),
        card=report_card(),
    )


def _fit(today: dt.date) -> Fit | None:
    run = latest_run()
    if run is None:
        return None
    stale = is_stale(run, today)
    return Fit(run.pk, run.run_at, run.model_version, run.readings, **scatter(run), stale=stale)


def _summary(states: list[SeriesState]) -> tuple[tuple[str, tuple[int, ...]], ...]:
    """Numbers by base, bases by name, the whole last."""
    number = Counter((state.aircraft.base.name, state.state) for state in states)
    bases = sorted({base for base, _ in number})
    lines = [(base, tuple(number[base, state] for state in SeriesState.URGENCY)) for base in bases]
    whole = tuple(sum(column) for column in zip(*(counts for _, counts in lines), strict=True))
    return (*lines, ("all shown", whole)) if lines else ()
