"""The drift ranking as stored by services.drift: one line for each series, with what is on hand for it."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from django.db.models import Count, F, QuerySet
from django.utils import timezone

from checks.charts.builders import spark_scene
from checks.charts.scene import Scene
from checks.engine.drift_action import PURGE_BEFORE, REPLACE
from checks.models import CheckEvent, DriftRun, SeriesState
from checks.selectors.drift_words import (
    Advice,
    advice,
    chance_words,
    crossing_words,
    panel_words,
    share_words,
)
from checks.selectors.stock import Spares, spares_by_position
from fleet.models import Position

ORDER = ("urgency", F("p_cross").desc(nulls_last=True), F("margin").asc(nulls_last=True), "pk")
#: states that ask a person for something
ALARMS = (SeriesState.State.OVER, SeriesState.State.CLOSING, SeriesState.State.DRIFTING)
#: a fleet pass so many days old is out of date: it runs every night
STALE_DAYS = 2


@dataclass(frozen=True)
class DriftRow:
    """One line of the ranking; texts are as shown, empty where nothing can be said.

    panel: the one that it names, or why it can name none; imported: how many of the readings in this life
    are from paper records; part: what is in store for the panel that is to be purged or replaced; whole: all
    points of the aircraft may move together.
    """

    pk: int
    state: str
    registration: str
    base: str
    variant: str
    point: str
    panel: str
    quantity: str
    chance: str
    crossing: str
    interval: str
    margin: str
    readings: int
    imported: int
    next_check_on: dt.date | None
    advice: Advice
    part: str
    whole: bool
    spark: Scene


@dataclass(frozen=True)
class StateCount:
    """How many series are in a state, of those that the other filters leave."""

    state: str
    number: int


def series_states() -> QuerySet[SeriesState]:
    """Every stored series, most urgent first, with what its row shows. One query."""
    fetched = SeriesState.objects.select_related("aircraft__base", "aircraft__variant", "point__position")
    return fetched.order_by(*ORDER)


def count_series(states: QuerySet[SeriesState]) -> list[StateCount]:
    """How many of the series are in each state, every state named, most urgent first. One query."""
    found = dict(states.order_by().values_list("state").annotate(number=Count("pk")))
    return [StateCount(state, found.get(state, 0)) for state in SeriesState.URGENCY]


def whole_aircraft(states: QuerySet[SeriesState]) -> list[str]:
    """Registrations of aircraft whose points may all move together. One query."""
    found = states.filter(facts__whole_aircraft=True).order_by("aircraft__registration")
    return list(found.values_list("aircraft__registration", flat=True).distinct())


def drift_rows(states: Iterable[SeriesState]) -> list[DriftRow]:
    """The lines of a series_states queryset, in its order. Four queries beside it, none for no line."""
    states = list(states)
    if not states:
        return []
    ids = {state.aircraft_id for state in states}
    spares, paper = panel_spares(ids), from_paper(ids)
    return [_row(state, spares, paper) for state in states]


def panel_spares(aircraft_ids: Iterable[int]) -> dict[tuple[int, int], Spares]:
    """What is in store for the panels of the aircraft, by aircraft and position. Three queries."""
    ids = list(aircraft_ids)
    panels = Position.objects.filter(kind=Position.Kind.PANEL, variant__aircraft__in=ids).distinct()
    wanted = set(panels.values_list("pk", flat=True))
    return {key: one for key, one in spares_by_position(ids).items() if key[1] in wanted}


def from_paper(aircraft_ids: Iterable[int]) -> set[UUID]:
    """The checks of the aircraft that were brought in from paper records. One query."""
    imported = CheckEvent.objects.filter(source=CheckEvent.Source.IMPORTED, aircraft__in=list(aircraft_ids))
    return set(imported.values_list("pk", flat=True))


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


def spark_of(state: SeriesState) -> Scene:
    """The life that runs now, small: compensated readings and limit."""
    chart = state.chart
    running = chart["running"]
    kept = [n for n, life in enumerate(chart["lives"]) if life == running]
    days, values = ([chart[name][n] for n in kept] for name in ("days", "at_20"))
    label = f"{state.point.name} of {state.aircraft} since its last reset"
    return spark_scene([_day(day) for day in days], values, chart["limit"], label)


def _row(state: SeriesState, spares: dict[tuple[int, int], Spares], paper: set[UUID]) -> DriftRow:
    crossing, interval = crossing_words(state)
    return DriftRow(
        pk=state.pk,
        state=state.state,
        registration=state.aircraft.registration,
        base=state.aircraft.base.name,
        variant=state.aircraft.variant.name,
        point=state.point.name,
        panel=panel_words(state),
        quantity=state.point.quantity,
        chance="" if state.state == SeriesState.State.OVER else chance_words(state.p_cross),
        crossing=crossing,
        interval=interval,
        margin=share_words(state.margin),
        readings=state.readings_in_life,
        imported=_imported(state, paper),
        next_check_on=state.next_check_on,
        advice=advice(state),
        part=part_words(state, spares),
        whole=bool(state.facts.get("whole_aircraft")),
        spark=spark_of(state),
    )


def part_words(state: SeriesState, spares: dict[tuple[int, int], Spares]) -> str:
    """What is in store for the panel of a series that asks for a purge or a new part; empty for the others.

    spares: of panel_spares. Where the readings name no panel, for how many panels there are parts.
    """
    if state.action not in (PURGE_BEFORE, REPLACE):
        return ""
    if place := state.point.position_id:
        known = spares.get((state.aircraft_id, place))
        return known.words if known else "no part on file there"
    fitted = [one for (aircraft, _), one in spares.items() if aircraft == state.aircraft_id]
    here = sum(bool(one.at_base) for one in fitted)
    if here:
        return f"panels on hand for {here} of {len(fitted)} places"
    if any(one.elsewhere for one in fitted):
        return "panels at another base"
    return "no panel in store" if fitted else "no panels on file"


def _imported(state: SeriesState, paper: set[UUID]) -> int:
    chart = state.chart
    told = zip(chart["events"], chart["lives"], strict=True)
    return sum(life == chart["running"] and UUID(event) in paper for event, life in told)


def _day(text: str) -> dt.date:
    return dt.date.fromisoformat(text)
