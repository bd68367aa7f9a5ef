"""What the records held at one moment of every measuring point: readings, resets, references, next checks.

A reading counts from an event that stands (an accepted paper record like any other): a valid value, over
limit or not, or one that was too low and that a person has accepted in writing.
"""

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal
from uuid import UUID

from django.db.models import Exists, F, Max, Min, OuterRef, Q, QuerySet

from checks.engine.drift import Reference
from checks.engine.drift_data import PURGE, REPLACEMENT
from checks.engine.fluid import DEFAULT_CURVE, flow_exponent
from checks.engine.units import difference_to_canonical
from checks.models import (
    CheckEvent,
    DuePoint,
    EntryQuestion,
    ExpectedValue,
    Reading,
    Reset,
    Result,
    Step,
)
from checks.services.drift_doubt import Doubted, in_doubt
from fleet.models import Instrument, MeasuringPoint

#: events of one aircraft and day keep their order by this much of a day
NEXT = 0.001
UNKNOWN_GAUGE = 0
Key = tuple[int, int]  # aircraft, measuring point


@dataclass(frozen=True)
class Read:
    """One reading of a series."""

    day: float
    event: UUID
    value: float
    temperature: float
    over: bool
    gauge: int
    resolution: float
    questioned: bool


def followed(points: list[int] | None = None) -> dict[int, Reference]:
    """Reference of every point (of those asked for) that has a frozen table above its nominal value; others
    aren't followed. Two queries."""
    found = {}
    asked = MeasuringPoint.objects.all() if points is None else MeasuringPoint.objects.filter(pk__in=points)
    for point in asked.prefetch_related("reference_rows"):
        rows = sorted(
            (float(row.temperature), float(row.value))
            for row in point.reference_rows.all()
            if DEFAULT_CURVE.coldest <= row.temperature <= DEFAULT_CURVE.warmest
        )
        if not rows:
            continue
        exponent = 1.0
        if point.quantity == MeasuringPoint.Quantity.FLOW:
            (t_1, limit_1), (t_2, limit_2) = rows[0], rows[-1]
            exponent = flow_exponent(limit_1, t_1, limit_2, t_2) if len(rows) > 1 else 0.0
        reference = Reference(*zip(*rows, strict=True), float(point.nominal), exponent)
        if reference.lim > 0:
            found[point.pk] = reference
    return found


def days_of(events: QuerySet[CheckEvent], now: dt.datetime) -> dict[UUID, float]:
    """The engine's day of each event: those of one aircraft and day in the order of signing.

    A correction takes the place of the entry that it corrects.
    """
    corrected = CheckEvent.objects.signed().filter(superseded_by__isnull=False, signed_at__lte=now)
    signed = {
        pk: (earlier, at, started)
        for pk, earlier, at, started in corrected.values_list("pk", "supersedes", "signed_at", "started_at")
    }
    on_day: dict[tuple[int, dt.date], list] = defaultdict(list)
    for pk, aircraft, on, earlier, at, started, line in events.values_list(
        "pk", "aircraft", "work_date", "supersedes", "signed_at", "started_at", "import_line"
    ):
        while earlier in signed:
            earlier, at, started = signed[earlier]
        on_day[aircraft, on].append((at, line or 0, started, pk))
    return {
        moment[-1]: on.toordinal() + place * NEXT
        for (_, on), moments in on_day.items()
        for place, moment in enumerate(sorted(moments))
    }


def readings_of(
    events: QuerySet[CheckEvent],
    now: dt.datetime,
    points: set[int],
    days: dict[UUID, float],
    doubts: Doubted,
) -> tuple[dict[Key, list[Read]], dict[Key, list[UUID]]]:
    """Readings of each series by day: valid ones, and those too low that a person has accepted in writing.

    What is in doubt is left out; its events come second, and its series stays, without a reading if need be.
    """
    accepted = Q(event__decision__accepted=True, event__decision__decided_at__lte=now)
    results = Result.objects.filter(
        ~Q(outcome=CheckEvent.Outcome.NOT_VALID) | Q(event__too_low=True) & accepted,
        event__in=events,
        point__in=points,
        value__gt=0,
        temperature__isnull=False,
    )
    gauges, questioned = _gauges(events), _questioned(events)
    read: dict[Key, list[Read]] = defaultdict(list)
    left_out: dict[Key, list[UUID]] = defaultdict(list)
    for event, aircraft, point, value, temperature, outcome in results.values_list(
        "event", "event__aircraft", "point", "value", "temperature", "outcome"
    ):
        over = outcome == CheckEvent.Outcome.OVER
        gauge, resolution = gauges.get((event, point), (UNKNOWN_GAUGE, 0.0))
        held = (event, point) in questioned
        one = Read(days[event], event, float(value), float(temperature), over, gauge, resolution, held)
        of_series = read[aircraft, point]
        if in_doubt(doubts, event, point):
            left_out[aircraft, point].append(event)
        else:
            of_series.append(one)
    for ones in read.values():
        ones.sort(key=lambda one: one.day)
    for left in left_out.values():
        left.sort(key=lambda event: days[event])
    return read, left_out


def _questioned(events: QuerySet[CheckEvent]) -> set[tuple[UUID, int]]:
    """Event and point of each value that was held against its forecast as it was entered.

    One that was far from it and was kept without being read again may be an outlier like any other.
    """
    kept = EntryQuestion.objects.filter(
        event=OuterRef("event"),
        step__point=OuterRef("point"),
        answer=EntryQuestion.Answer.KEPT,
        read__isnull=False,
    )
    held = ExpectedValue.objects.filter(~Exists(kept), event__in=events).order_by()
    return set(held.values_list("event", "point"))


def _gauges(events: QuerySet[CheckEvent]) -> dict[tuple[UUID, int], tuple[int, float]]:
    """Instrument and its smallest step in canonical units by event and point; none where two were used."""
    steps = {
        pk: (kind, float(difference_to_canonical(resolution, unit)))
        for pk, kind, resolution, unit in Instrument.objects.values_list("pk", "kind", "resolution", "unit")
    }
    readings = Reading.objects.filter(event__in=events, point__isnull=False, instrument__isnull=False)
    used = readings.exclude(role=Reading.Role.TEMPERATURE).values_list("event", "point").order_by()
    found = {}
    for event, point, one, other, seconds in used.annotate(
        one=Min("instrument"), other=Max("instrument"), seconds=Max("elapsed_seconds")
    ):
        kind, step = steps[one]
        if kind == Instrument.Kind.VESSEL and seconds:
            step *= float(Decimal(60) / seconds)
        found[event, point] = (one, step) if one == other else (UNKNOWN_GAUGE, step)
    return found


def resets_of(
    events: QuerySet[CheckEvent], points: set[int], days: dict[UUID, float]
) -> dict[Key, list[tuple[float, str]]]:
    """Day and kind of every reset of each series, oldest first."""
    kinds = {Reset.Why.PURGE: PURGE, Reset.Why.REPLACEMENT: REPLACEMENT}
    found: dict[Key, list[tuple[float, str]]] = defaultdict(list)
    resets = Reset.objects.filter(event__in=events, point__in=points)
    for aircraft, point, event, why in resets.values_list("event__aircraft", "point", "event", "why"):
        found[aircraft, point].append((days[event], kinds[Reset.Why(why)]))
    for moments in found.values():
        moments.sort()
    return found


def next_checks(now: dt.datetime, aircraft_ids: list[int] | None = None) -> dict[Key, dt.date]:
    """When each point of each aircraft (None: all) is read next by the programme, as the due points stand."""
    measured: dict[int, set[int]] = defaultdict(set)
    steps = Step.objects.filter(point__isnull=False, revision__procedure__recurring__active=True).order_by()
    for check, point in steps.values_list("revision__procedure__recurring", "point").distinct():
        measured[check].add(point)
    due = DuePoint.objects.filter(check_due__in=measured, due_on__isnull=False)
    if aircraft_ids is not None:
        due = due.filter(aircraft__in=aircraft_ids)
    due = due.filter(Q(last_event=None) | Q(last_event__signed_at__lte=now)).order_by(F("due_on").desc())
    return {
        (aircraft, point): on
        for aircraft, check, on in due.values_list("aircraft", "check_due", "due_on")
        for point in measured[check]
    }
