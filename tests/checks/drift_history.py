"""Measured history for drift tests, put straight into the database: checks, purges and what was read."""

import datetime as dt
from collections.abc import Mapping
from decimal import Decimal

import numpy as np
from django.utils import timezone

from checks.engine.drift import Reference
from checks.models import CheckEvent, Reading, Reset, Result, SeriesState
from checks.services.drift_records import followed
from fleet.models import Aircraft, Instrument, MeasuringPoint
from tests.world import TODAY, World

NOON = dt.time(12, tzinfo=dt.UTC)
Levels = Mapping[str, float]


def ago(days: int) -> dt.date:
    return TODAY - dt.timedelta(days=days)


def moment(on: dt.date, minutes: int = 0) -> dt.datetime:
    return dt.datetime.combine(on, NOON) + dt.timedelta(minutes=minutes)


def value_at(reference: Reference, level: float, temperature: float) -> Decimal:
    """A reading `level` (ln) above nominal at 20 °C, taken at another temperature."""
    value = reference.nominal * np.exp(level) * float(reference.at(temperature)) / reference.limit_20
    return Decimal(str(round(float(value), 3)))


def read_check(
    world: World,
    aircraft: Aircraft,
    on: dt.date,
    levels: Levels,
    *,
    temperature: float = 20.0,
    minutes: int = 0,
    gauge: str | None = "gauge-1",
    outcome: str | None = None,
    **more: object,
) -> CheckEvent:
    """A signed check of the day that read points (by code) at these ln levels above nominal."""
    references = followed()
    event = _event(world, aircraft, on, minutes, "pressure-flow", **more)
    instrument = Instrument.objects.get(code=gauge) if gauge else None
    found = []
    for code, level in levels.items():
        point = world.point(aircraft, code)
        value = value_at(references[point.pk], level, temperature)
        over = float(value) > references[point.pk].at(temperature)
        said = outcome or (CheckEvent.Outcome.OVER if over else CheckEvent.Outcome.WITHIN)
        found.append(said)
        Result.objects.create(
            event=event,
            point=point,
            value=value,
            temperature=Decimal(str(temperature)),
            outcome=said,
            upper=Decimal(str(round(float(references[point.pk].at(temperature)), 3))),
        )
        _reading(event, point, value, instrument)
    over = CheckEvent.Outcome.OVER in found
    event.outcome = CheckEvent.Outcome.OVER if over else found[0]
    return sign(event, minutes)


def reset(
    world: World,
    aircraft: Aircraft,
    on: dt.date,
    codes: list[str],
    *,
    minutes: int = 0,
    why: str = Reset.Why.PURGE,
    **more: object,
) -> CheckEvent:
    """A signed purge (or replacement) of the day that begins these points anew."""
    event = _event(world, aircraft, on, minutes, "panel-purge", **more)
    for code in codes:
        Reset.objects.create(event=event, point=world.point(aircraft, code), why=why)
    event.outcome = CheckEvent.Outcome.DONE
    return sign(event, minutes)


def sign(event: CheckEvent, minutes: int = 0) -> CheckEvent:
    """Frozen as signing freezes it: from here on the database lets nobody change it."""
    event.state = CheckEvent.State.SIGNED
    event.signed_at = event.signed_at or moment(event.work_date, minutes)
    event.save()
    return event


def series(aircraft: Aircraft, code: str = "port") -> SeriesState:
    return SeriesState.objects.get(aircraft=aircraft, point__code=code)


def ramp(
    world: World,
    aircraft: Aircraft,
    per_year: float,
    *,
    checks: int = 9,
    every: int = 100,
    last_ago: int = 20,
    start: float = 0.0,
    seed: int = 1,
    temperature: float | None = None,
    noise: float = 0.02,
) -> list[dt.date]:
    """Checks of the test port whose level rises by so much a year; seeded scatter; gives the days."""
    rng = np.random.default_rng(seed)
    days = [TODAY - dt.timedelta(days=last_ago + every * n) for n in reversed(range(checks))]
    for day in days:
        level = start + per_year * (day - days[0]).days / 365.25 + rng.normal(0, noise)
        t = float(np.round(rng.uniform(2, 28), 1)) if temperature is None else temperature
        read_check(world, aircraft, day, {"port": level}, temperature=t)
    return days


def _event(
    world: World, aircraft: Aircraft, on: dt.date, minutes: int, code: str, **more: object
) -> CheckEvent:
    event = CheckEvent.objects.create(
        aircraft=aircraft,
        revision=world.revision(aircraft, code),
        base=aircraft.base,
        work_date=on,
        started_by=world.person("technician1"),
        **{key: value for key, value in more.items() if key != "signed_at"},
    )
    event.signed_at = None
    CheckEvent.objects.filter(pk=event.pk).update(started_at=moment(on, minutes) - dt.timedelta(minutes=30))
    event.refresh_from_db()
    if "signed_at" in more:
        event.signed_at = more["signed_at"]
    return event


def _reading(event: CheckEvent, point: MeasuringPoint, value: Decimal, instrument: Instrument | None) -> None:
    step = event.revision.steps.get(point=point)
    Reading.objects.create(
        event=event,
        step=step,
        point=point,
        role=Reading.Role.SINGLE,
        typed=str(value),
        unit=point.unit,
        value=value,
        elapsed_seconds=60,
        instrument=instrument,
    )


def at_noon(on: dt.date = TODAY) -> dt.datetime:
    """The moment at which tests ask what is known."""
    return timezone.make_aware(dt.datetime.combine(on, dt.time(18)))
