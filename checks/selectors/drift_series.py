"""One series: its course as a chart, its readings, its lives."""

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

from django.utils import timezone

from checks.charts.builders import drift_scene
from checks.charts.scene import Scene
from checks.models import CheckEvent, Reading, Result, SeriesState

MODES = ("both", "compensated", "as read")


@dataclass(frozen=True)
class ReadingRow:
    """One reading of a series with the event that it belongs to. life 0: not used; `why` then says why.

    instrument: its code, empty where none is named; several are joined.
    """

    event_id: UUID
    on: dt.date
    as_read: float | None
    temperature: float | None
    at_20: float | None
    upper: float | None
    outcome: str
    imported: bool
    instrument: str
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


def course(state: SeriesState, mode: str = "both", readings: Sequence[ReadingRow] = ()) -> Scene:
    """The chart of one series: points, expected band, limit, resets, where it is to cross.

    readings: reading_rows, for what came from paper and where the instrument changed; without them neither is
    marked.
    """
    chart = state.chart
    known = {row.event_id: row for row in readings}
    paper = {UUID(event) for event in chart["events"]} & {row.event_id for row in readings if row.imported}
    return drift_scene(
        [_day(day) for day in chart["days"]],
        chart["as_read"],
        chart["at_20"],
        chart["limit"],
        [(_day(day), low, middle, high) for day, low, middle, high in chart["band"]],
        [(_day(day), word) for day, word in chart["resets"]],
        label=state.point.get_quantity_display().capitalize(),
        unit=state.point.unit,
        mode=mode,
        lives=chart["lives"],
        gauges=[known[UUID(event)].instrument if UUID(event) in known else "" for event in chart["events"]],
        paper=[UUID(event) in paper for event in chart["events"]],
        crossing=(state.crossing_low, state.crossing_on, state.crossing_high),
        today=timezone.localdate(state.scored_at),
    )


def reading_rows(state: SeriesState) -> list[ReadingRow]:
    """All readings of the point in events that stand, newest first, those that the trend leaves out too.

    Two queries.
    """
    used = {UUID(event): n for n, event in enumerate(state.chart["events"])}
    standing = CheckEvent.objects.standing().filter(aircraft=state.aircraft_id)
    results = Result.objects.filter(point=state.point_id, event__in=standing).select_related("event")
    newest = ("-event__work_date", "-event__signed_at", "-pk")
    instruments = _instruments(state)
    return [
        _reading(one, used.get(one.event_id), state, instruments.get(one.event_id, ""))
        for one in results.order_by(*newest)
    ]


def _instruments(state: SeriesState) -> dict[UUID, str]:
    """Code of the instrument with which the point was read, by check. One query."""
    used = Reading.objects.filter(
        point=state.point_id, event__aircraft=state.aircraft_id, instrument__isnull=False
    ).exclude(role=Reading.Role.TEMPERATURE)
    found: dict[UUID, list[str]] = defaultdict(list)
    for event, code in used.order_by("instrument__code").values_list("event", "instrument__code").distinct():
        found[event].append(code)
    return {event: ", ".join(codes) for event, codes in found.items()}


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


def _reading(result: Result, place: int | None, state: SeriesState, instrument: str) -> ReadingRow:
    used, chart = place is not None, state.chart
    in_doubt = result.event_id.hex in state.facts.get("in_doubt", ())
    return ReadingRow(
        event_id=result.event_id,
        on=result.event.work_date,
        as_read=None if result.value is None else float(result.value),
        temperature=None if result.temperature is None else float(result.temperature),
        at_20=chart["at_20"][place] if used else None,
        upper=None if result.upper is None else float(result.upper),
        outcome=result.outcome,
        imported=result.event.source == CheckEvent.Source.IMPORTED,
        instrument=instrument,
        life=chart["lives"][place] + 1 if used else 0,
        why="" if used else "in doubt" if in_doubt else _left_out(result),
    )


def _left_out(result: Result) -> str:
    if result.value is None or result.temperature is None:
        return "no value"
    if result.outcome == CheckEvent.Outcome.NOT_VALID:
        return "not valid"
    return "not in the trend"


def _day(text: str) -> dt.date:
    return dt.date.fromisoformat(text)
