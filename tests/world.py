"""A small invented world for tests: the demo's master data, a few aircraft and no history."""

import datetime as dt
from dataclasses import dataclass

from checks.models import RecurringCheck, Revision
from fleet.models import Aircraft, Instrument, MeasuringPoint, Position, User, UtilisationEntry
from reports.demo.aircraft import load_aircraft
from reports.demo.master import Master, load_master

TODAY = dt.date(2025, 3, 12)
PASSWORD = "a phrase for tests only"


@dataclass
class World:
    """The master data by code, and the aircraft in order of registration: forward and underfloor in turn."""

    master: Master
    fleet: list[Aircraft]

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

    def recurring(self, aircraft: Aircraft, code: str = "pressure-flow") -> RecurringCheck:
        return self.master.recurring[aircraft.variant.code, code]


def build_world(*, today: dt.date = TODAY, aircraft: int = 2, password: str = PASSWORD) -> World:
    """Load it into an empty test database: `aircraft` aircraft at North Skerry, each with one utilisation
    entry (2000 h, 1500 landings, 30 days ago). Everybody logs in with the password."""
    master = load_master(today=today, password=password)
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


def _aircraft(number: int) -> dict[str, str | int]:
    return {
        "registration": f"Q-{number:04}",
        "serial_number": f"DT-{number:04}",
        "variant": ("forward", "underfloor")[number % 2],
        "base": "north",
        "entered_service": 2300,
    }
