"""The demo's aircraft with a serialised part in every position."""

from typing import Any

from fleet.models import Aircraft, Fitment, Part, Position
from reports.demo.master import Master, read

FITTED = {Position.Kind.PANEL, Position.Kind.NOZZLE, Position.Kind.PUMP, Position.Kind.PROPORTIONING}
PART_NUMBER = {
    Position.Kind.PANEL: "DP-{position}",
    Position.Kind.NOZZLE: "DN-1",
    Position.Kind.PUMP: "DM-1",
    Position.Kind.PROPORTIONING: "DU-1",
}


def load_aircraft(master: Master, rows: list[dict[str, Any]] | None = None) -> list[Aircraft]:
    """Write aircraft (by default all of fixtures/demo/aircraft.json) and the parts fitted when they came."""
    data = read("aircraft")
    rows = data["aircraft"] if rows is None else rows
    fleet = Aircraft.objects.bulk_create(
        Aircraft(
            registration=row["registration"],
            serial_number=row["serial_number"],
            type_name=data["type_name"],
            variant=master.variants[row["variant"]],
            base=master.bases[row["base"]],
            state=row.get("state", Aircraft.State.IN_SERVICE),
            entered_service_on=master.days_ago(row["entered_service"]),
        )
        for row in rows
    )
    places = [
        (aircraft, position)
        for aircraft in fleet
        for (variant, _), position in master.positions.items()
        if variant == aircraft.variant.code and position.kind in FITTED
    ]
    parts = Part.objects.bulk_create(
        new_part(position, f"{aircraft.serial_number}-{position.code}") for aircraft, position in places
    )
    Fitment.objects.bulk_create(
        Fitment(
            part=part,
            aircraft=aircraft,
            position=position,
            fitted_on=aircraft.entered_service_on,
            fitted_hours=0,
        )
        for part, (aircraft, position) in zip(parts, places, strict=True)
    )
    return fleet


def new_part(position: Position, serial: str) -> Part:
    """A part that fits a position, not yet saved."""
    number = PART_NUMBER[Position.Kind(position.kind)].format(position=position.code.upper())
    return Part(
        part_number=number, serial_number=serial.upper(), kind=position.kind, description=position.name
    )
