"""The drift ranking and the course of one series, as stored by services.drift."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db.models import Count, F, QuerySet
from django.utils import timezone

from checks.charts.builders import drift_scene, spark_scene
from checks.charts.scene import Scene
from checks.models import CheckEvent, DriftRun, Result, SeriesState
from checks.selectors.drift_words import Advice, advice, chance_words, crossing_words, share_words

MODES = ("both", "compensated", "as read")
ORDER = ("urgency", F("p_cross").desc(nulls_last=True), F("margin").asc(nulls_last=True), "pk")
#: states that ask a person for something
ALARMS = (SeriesState.State.OVER, SeriesState.State.CLOSING, SeriesState.State.DRIFTING)
#: a fleet pass so many days old is out of date: it runs every night
STALE_DAYS = 2


@dataclass(frozen=True)
class DriftRow:
    """One line of the ranking; texts are as shown, empty where nothing can be said."""

    pk: int
    state: str
    registration: str
    base: str
    variant: str
    point: str
    quantity: str
    chance: str
    crossing: str
    interval: str
    margin: str
    readings: int
    next_check_on: dt.date | None
    advice: Advice
    spark: Scene


@dataclass(frozen=True)
class StateCount:
    """How many series are in a state, of those that the other filters leave."""

    state: str
    number: int


@dataclass(frozen=True)
class ReadingRow:
    """One reading of a series with the event that it belongs to. life 0: not used; `why` then says why."""

    event_id: UUID
    on: dt.date
    as_read: float | None
    temperature: float | None
    at_20: float | None
    upper: float | None
    outcome: str
    imported: bool
    life: int
    why: str


@dataclass(frozen=True)
class LifeRow:
    """One life of a series: number from 1, how it began, its readings, how long it lasted."""

    number: int
    kind: str
    began_on: dt.date | None
    first_seen: bool
    readings: int
    last_on: dt.date | None
    days: int | None


def series_states() -> QuerySet[SeriesState]:
    """Every stored series, most urgent first, with what its row shows. One query."""
    fetched = SeriesState.objects.select_related("aircraft__base", "aircraft__variant", "point__position")
    return fetched.order_by(*ORDER)


def count_series(states: QuerySet[SeriesState]) -> list[StateCount]:
    """How many of the series are in each state, every state named, most urgent first. One query."""
    found = dict(states.order_by().values_list("state").annotate(number=Count("pk")))
    return [StateCount(state, found.get(state, 0)) for state in SeriesState.URGENCY]


def drift_rows(states: Iterable[SeriesState]) -> list[DriftRow]:
    """The lines of a series_states queryset, in its order."""
    return [_row(state) for state in states]


def latest_run() -> DriftRun | None:
    """The newest fit of the fleet."""
    return DriftRun.objects.order_by("-run_at", "-pk").first()


def is_stale(run: DriftRun, today: dt.date) -> bool:
    """Whether the nightly run has not run lately."""
    return (today - timezone.localdate(run.run_at)).days >= STALE_DAYS


def scatter(run: DriftRun) -> dict[str, float]:
    """How far readings scatter by the fit, as shares: one reading about its series, all readings of one
    check together; and the factor on forecast widths."""
    fit = run.parameters["fit"]
    return {"one": fit["s"], "check": fit["s_check"], "widening": fit["widening"]}


def course(state: SeriesState, mode: str = "both") -> Scene:
    """The chart of one series: points, expected band, limit and resets."""
    chart = state.chart
    return drift_scene(
        [_day(day) for day in chart["days"]],
        chart["as_read"],
        chart["at_20"],
        chart["limit"],
        [(_day(day), low, high) for day, low, _, high in chart["band"]],
        [(_day(day), word) for day, word in chart["resets"]],
        label=state.point.get_quantity_display().capitalize(),
        unit=state.point.unit,
        mode=mode,
        lives=chart["lives"],
    )


def spark_of(state: SeriesState) -> Scene:
    """The life that runs now, small: compensated readings and limit."""
    chart = state.chart
    running = chart["running"]
    kept = [n for n, life in enumerate(chart["lives"]) if life == running]
    days, values = ([chart[name][n] for n in kept] for name in ("days", "at_20"))
    label = f"{state.point.name} of {state.aircraft} since its last reset"
    return spark_scene([_day(day) for day in days], values, chart["limit"], label)


def reading_rows(state: SeriesState) -> list[ReadingRow]:
    """All readings of the point in events that stand, newest first, those that the trend leaves out too.

    One query.
    """
    chart = state.chart
    used = {UUID(event): n for n, event in enumerate(chart["events"])}
    results = Result.objects.filter(
        point=state.point_id, event__in=CheckEvent.objects.standing().filter(aircraft=state.aircraft_id)
    ).select_related("event")
    newest = ("-event__work_date", "-event__signed_at", "-pk")
    return [_reading(one, used.get(one.event_id), chart) for one in results.order_by(*newest)]


def life_rows(state: SeriesState) -> list[LifeRow]:
    """The lives of a series, the one that runs now first."""
    lives = state.facts.get("lives", [])
    rows = []
    for number, life in enumerate(lives, 1):
        ended = _day(lives[number]["began"]) if number < len(lives) else None
        began = life["began"] or life["first"]
        start = _day(began) if began else None
        days = (ended - start).days if start and ended else None
        last = _day(life["last"]) if life["last"] else None
        rows.append(LifeRow(number, life["kind"], start, not life["began"], life["readings"], last, days))
    return rows[::-1]


def _row(state: SeriesState) -> DriftRow:
    crossing, interval = crossing_words(state)
    return DriftRow(
        pk=state.pk,
        state=state.state,
        registration=state.aircraft.registration,
        base=state.aircraft.base.name,
        variant=state.aircraft.variant.name,
        point=state.point.name,
        quantity=state.point.quantity,
        chance="" if state.state == SeriesState.State.OVER else chance_words(state.p_cross),
        crossing=crossing,
        interval=interval,
        margin=share_words(state.margin),
        readings=state.readings_in_life,
        next_check_on=state.next_check_on,
        advice=advice(state),
        spark=spark_of(state),
    )


def _reading(result: Result, place: int | None, chart: dict[str, Any]) -> ReadingRow:
    used = place is not None
    return ReadingRow(
        event_id=result.event_id,
        on=result.event.work_date,
        as_read=None if result.value is None else float(result.value),
        temperature=None if result.temperature is None else float(result.temperature),
        at_20=chart["at_20"][place] if used else None,
        upper=None if result.upper is None else float(result.upper),
        outcome=result.outcome,
        imported=result.event.source == CheckEvent.Source.IMPORTED,
        life=chart["lives"][place] + 1 if used else 0,
        why="" if used else _left_out(result),
    )


def _left_out(result: Result) -> str:
    if result.value is None or result.temperature is None:
        return "no value"
    if result.outcome == CheckEvent.Outcome.NOT_VALID:
        return "not valid"
    return "not in the trend"


def _day(text: str) -> dt.date:
    return dt.date.fromisoformat(text)
