"""Carrying out a check in a test as a technician would: a whole form, typed."""

import datetime as dt
from collections.abc import Sequence
from decimal import Decimal
from importlib import import_module
from types import SimpleNamespace

from django.apps import apps
from django.db import connection

from checks.engine.units import from_canonical, plain
from checks.models import CheckEvent, Step
from checks.services.inputs import (
    CautionInput,
    DraftInput,
    ObservationInput,
    ReadingInput,
    RepeatInput,
)
from checks.services.record import save_draft, start_check
from checks.services.rows import ACKNOWLEDGED
from checks.services.sign import sign_performed
from fleet.models import Aircraft, Instrument, MeasuringPoint, Position
from tests.world import PASSWORD, World, usual_instrument

GAUGE, VESSEL, THERMOMETER, PORT_GAUGE = "gauge-1", "vessel-500", "thermo-1", "port-gauge-1"
SETTLED = ("90", "96", "96", "96")


def roles_again() -> None:
    """Make the groups that a transactional test's tear-down emptied."""
    roles = import_module("checks.migrations.0003_roles")
    roles.make_roles(apps, SimpleNamespace(connection=connection))


def instrument_key(code: str) -> str:
    return str(Instrument.objects.get(code=code).pk)


def typed(
    event: CheckEvent,
    *,
    temperature: str = "20",
    series: Sequence[str] = SETTLED,
    volume: str = "170",
    ports: str = "20",
    dry: Sequence[str] = (),
    gauge: str = GAUGE,
    fields: dict[str, str] | None = None,
    kept: str = "",
) -> DraftInput:
    """A complete form: `series` one value a minute, `dry` the codes of panels that are not wet.

    kept: why every reading stands that may be asked about.
    """
    readings: list[ReadingInput] = []
    observations: list[ObservationInput] = []
    cautions: list[CautionInput] = []
    for step in event.revision.steps.all():
        if step.kind in ACKNOWLEDGED:
            cautions.append(CautionInput(step.pk, acknowledged=True, restored=bool(step.restore_text)))
        elif step.kind == Step.Kind.OBSERVE:
            observations += looks(event, step, dry)
        elif step.kind == Step.Kind.TIMED_SERIES:
            readings += [
                ReadingInput(
                    step.pk,
                    value,
                    unit="kPa",
                    instrument=instrument_key(gauge),
                    sequence=number,
                    elapsed=f"{number + 1}:00",
                )
                for number, value in enumerate(series)
            ]
        elif step.kind == Step.Kind.TIMED_COLLECTION:
            key = instrument_key(VESSEL)
            start = f"{len(series)}:10"
            pumped = step.point.kind == MeasuringPoint.Kind.PUMP
            given = f"{step.point.nominal:.0f}" if pumped else volume
            readings.append(
                ReadingInput(step.pk, given, unit="mL", instrument=key, elapsed="60", started=start)
            )
        elif step.kind == Step.Kind.MEASURE:
            readings.append(_measured(step, temperature, ports))
    asked = {one.step for one in readings} if kept else set()
    repeats = tuple(RepeatInput(step, reason=kept) for step in sorted(asked))
    return DraftInput(fields or {}, tuple(readings), tuple(observations), tuple(cautions), repeats)


def looks(event: CheckEvent, step: Step, dry: Sequence[str]) -> list[ObservationInput]:
    """One answer for every position that the step looks at."""
    if not step.position_kind:
        return [ObservationInput(step.pk, None, "yes")]
    positions = Position.objects.filter(variant=event.aircraft.variant, kind=step.position_kind)
    return [
        ObservationInput(step.pk, p.pk, "no", "dry area")
        if p.code in dry
        else ObservationInput(step.pk, p.pk, "yes")
        for p in positions
    ]


def _measured(step: Step, temperature: str, ports: str) -> ReadingInput:
    if step.quantity == "temperature":
        return ReadingInput(step.pk, temperature, "Cel", instrument_key(THERMOMETER))
    if step.point and step.point.kind != MeasuringPoint.Kind.PANEL_PORT:
        usual = plain(from_canonical(step.point.nominal, step.unit).quantize(Decimal("0.1")))
        return ReadingInput(step.pk, usual, step.unit, instrument_key(usual_instrument(step.point)))
    return ReadingInput(step.pk, ports, step.unit, instrument_key(PORT_GAUGE))


def started(
    world: World,
    aircraft: Aircraft,
    code: str = "pressure-flow",
    *,
    by: str = "technician1",
    work_date: dt.date | None = None,
    follows: CheckEvent | None = None,
) -> CheckEvent:
    """A draft of a task of the aircraft's variant."""
    return start_check(
        aircraft=aircraft,
        procedure=world.revision(aircraft, code).procedure,
        by=world.person(by),
        work_date=work_date or world.today,
        follows=follows,
    )


def filled(event: CheckEvent, world: World, by: str = "technician1", **how: object) -> CheckEvent:
    """The draft with a complete form; a problem fails the test."""
    saved = save_draft(event=event, by=world.person(by), given=typed(event, **how))
    assert saved.problems == ()
    return saved.event


def performed(
    world: World,
    aircraft: Aircraft,
    code: str = "pressure-flow",
    *,
    by: str = "technician1",
    work_date: dt.date | None = None,
    follows: CheckEvent | None = None,
    **how: object,
) -> CheckEvent:
    """A check carried out and signed as performed."""
    draft = started(world, aircraft, code, by=by, work_date=work_date, follows=follows)
    filled(draft, world, by, **how)
    return sign_performed(event=draft, by=world.person(by), password=PASSWORD)
