"""A small invented world for tests: the demo's master data, a few aircraft and no history."""

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from checks.engine.units import from_canonical, plain
from checks.models import CheckEvent, MelItem, RecurringCheck, Revision, Step
from fleet.models import Aircraft, Instrument, MeasuringPoint, Operator, Position, User, UtilisationEntry
from reports.demo.aircraft import load_aircraft
from reports.demo.master import Master, load_master
from reports.demo.plan import Planned, PlannedReading
from reports.demo.writer import Writer
from tests.snapshot import once

TODAY = dt.date(2025, 3, 12)
PASSWORD = "a phrase for tests only"
PORT_GAUGE_TO = 160  # kPa


@dataclass
class World:
    """The master data by code, and the aircraft in order of registration: forward and underfloor in turn."""

    master: Master
    fleet: list[Aircraft]
    history: dict[int, CheckEvent] = field(default_factory=dict)  # what `signed` made

    @property
    def today(self) -> dt.date:
        return self.master.today

    @property
    def forward(self) -> Aircraft:
        """The first aircraft without panel ports."""
        return next(a for a in self.fleet if a.variant.code == "forward")

    @property
    def underfloor(self) -> Aircraft:
        """The first aircraft with panel ports."""
        return next(a for a in self.fleet if a.variant.code == "underfloor")

    def person(self, username: str) -> User:
        return self.master.people[username]

    def instrument(self, code: str) -> Instrument:
        return self.master.instruments[code]

    def point(self, aircraft: Aircraft, code: str) -> MeasuringPoint:
        return self.master.points[aircraft.variant.code, code]

    def position(self, aircraft: Aircraft, code: str) -> Position:
        return self.master.positions[aircraft.variant.code, code]

    def revision(self, aircraft: Aircraft, code: str = "pressure-flow") -> Revision:
        """The revision in force today."""
        return self.master.revision(aircraft.variant.code, code)

    def signed(
        self,
        aircraft: Aircraft,
        on: dt.date,
        *,
        code: str = "pressure-flow",
        temperature: str = "20.0",
        values: Mapping[str, str] | None = None,
        dry: Mapping[str, str] | None = None,
        follows: CheckEvent | None = None,
        hours: str = "1900.0",
        released: bool = False,
        by: str = "technician1",
    ) -> CheckEvent:
        """A check of the past, signed on its own day through the same pens as any other.

        values: typed value by measuring point, in kPa or mL, nominal ones where not given; dry: remark by
        position not satisfactory; follows: an event that this world signed. Due points and drift are not
        counted anew.
        """
        key = len(self.history)
        plan = Planned(
            aircraft=aircraft.registration,
            code=code,
            day=on,
            performed_by=by,
            hours=hours,
            landings=1400,
            key=key,
            readings=tuple(self._readings(aircraft, code, temperature, values or {})),
            unsatisfactory=dry or {},
            follows=next((k for k, event in self.history.items() if event == follows), None),
            released_by="releaser1" if released else "",
        )
        writer = Writer(self.master, {aircraft.registration: aircraft})
        writer.events |= {(aircraft.registration, k): event for k, event in self.history.items()}
        writer.write([plan])
        self.history[key] = writer.event(plan)
        return self.history[key]

    def _readings(
        self, aircraft: Aircraft, code: str, temperature: str, values: Mapping[str, str]
    ) -> Iterator[PlannedReading]:
        """A temperature where the procedure measures anything, and every point that it reads."""
        steps = self.revision(aircraft, code).steps.exclude(quantity="").select_related("point")
        if any(step.quantity == "temperature" for step in steps):
            yield PlannedReading("temperature", temperature, "Cel", "thermo-1")
        for step in steps:
            if step.quantity != "temperature":
                usual = from_canonical(step.point.nominal, _unit(step))
                yield from _of_point(step, values.get(step.point.code, plain(usual.quantize(Decimal("0.1")))))

    def item(self, number: str = "30-10-01") -> MelItem:
        """An item of the MEL in force: 30-10-01 is C, -02 D, -03 B; 30-20-01 to -03 are A, in days, flight
        hours and flight days."""
        return self.master.mel[number]

    def recurring(self, aircraft: Aircraft, code: str = "pressure-flow") -> RecurringCheck:
        return self.master.recurring[aircraft.variant.code, code]


def build_world(*, today: dt.date = TODAY, aircraft: int = 2, password: str = PASSWORD) -> World:
    """Load it into an empty test database: `aircraft` aircraft at North Skerry, each with one utilisation
    entry (2000 h, 1500 landings, 30 days ago). Everybody logs in with the password.

    The same world is made for real once in a process (tests/snapshot.py)."""
    key = ("world", today, aircraft, password)
    return once(key, lambda: _build(today, aircraft, password))


def _build(today: dt.date, aircraft: int, password: str) -> World:
    master = load_master(today=today, password=password)
    # One entry a month old is all there is: only tests of stale utilisation ask about its age.
    Operator.objects.update(stale_use_days=3650)
    master.operator.refresh_from_db()
    fleet = load_aircraft(master, [_aircraft(number) for number in range(aircraft)])
    UtilisationEntry.objects.bulk_create(
        UtilisationEntry(
            aircraft=one,
            on=master.days_ago(30),
            hours=2000,
            landings=1500,
            entered_by=master.people["controller1"],
        )
        for one in fleet
    )
    return World(master, fleet)


def _of_point(step: Step, typed: str) -> Iterator[PlannedReading]:
    if step.kind == Step.Kind.TIMED_SERIES:
        for n in range(4):  # the last one is past the time at which the ceilings begin to hold
            yield PlannedReading(step.point.code, typed, "kPa", "gauge-1", n, 60 * (n + 1))
    elif step.kind == Step.Kind.TIMED_COLLECTION:
        yield PlannedReading(step.point.code, typed, "mL", "vessel-500", 0, 60, 260)
    else:
        yield PlannedReading(step.point.code, typed, step.unit, usual_instrument(step.point))


def usual_instrument(point: MeasuringPoint) -> str:
    """The instrument with which a single value of a point is read here."""
    if point.quantity == MeasuringPoint.Quantity.PRESSURE:
        return "port-gauge-1" if point.nominal < PORT_GAUGE_TO else "gauge-1"
    return {"ratio": "refracto-1", "volume": "vessel-l20"}[point.quantity]


def _unit(step: Step) -> str:
    """A collection for one minute: as many mL as mL/min."""
    return step.point.unit if step.kind == Step.Kind.TIMED_COLLECTION else step.unit


def _aircraft(number: int) -> dict[str, str | int]:
    return {
        "registration": f"Q-{number:04}",
        "serial_number": f"DT-{number:04}",
        "variant": ("forward", "underfloor")[number % 2],
        "base": "north",
        "entered_service": 2300,
    }
