"""The invented fleet's master data, from fixtures/demo: places, people, instruments, variants, procedures.

Everything is dated from `today`, so that the demo looks the same on any day. History is history.py's.
"""

import datetime as dt
import json
from collections.abc import Iterable
from dataclasses import dataclass, field, fields
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.contrib.auth.hashers import make_password
from django.contrib.auth.models import Group
from django.db import transaction

from checks.models import MelItem, Procedure, RecurringCheck, Revision
from fleet.models import (
    Authorisation,
    Base,
    Calibration,
    FluidBatch,
    Instrument,
    MeasuringPoint,
    Operator,
    Position,
    ReferenceRow,
    User,
    Variant,
)

FOLDER = settings.BASE_DIR / "fixtures" / "demo"
CALIBRATED_BACK_DAYS = 2400  # older readings than this are in no history of the demo
CERTIFICATE = {
    "technician": ("DEMO-T-{n:03}", "invented mechanic certificate"),
    "inspector": ("DEMO-I-{n:03}", "invented inspector certificate"),
    "authorised releaser": ("DEMO-R-{n:03}", "invented release certificate"),
}
DESK_ROLES = {"maintenance controller", "director of maintenance", "auditor"}  # set-up pages are theirs


@dataclass
class Master:
    """What was loaded, by code; what belongs to a variant by (variant code, code)."""

    today: dt.date
    operator: Operator
    bases: dict[str, Base] = field(default_factory=dict)
    variants: dict[str, Variant] = field(default_factory=dict)
    positions: dict[tuple[str, str], Position] = field(default_factory=dict)
    points: dict[tuple[str, str], MeasuringPoint] = field(default_factory=dict)
    people: dict[str, User] = field(default_factory=dict)
    instruments: dict[str, Instrument] = field(default_factory=dict)
    calibrations: dict[str, list[Calibration]] = field(default_factory=dict)  # of an instrument, oldest first
    batches: dict[str, FluidBatch] = field(default_factory=dict)
    procedures: dict[tuple[str, str], Procedure] = field(default_factory=dict)
    revisions: dict[tuple[str, str], list[Revision]] = field(default_factory=dict)  # oldest first
    recurring: dict[tuple[str, str], RecurringCheck] = field(default_factory=dict)
    mel: dict[str, MelItem] = field(default_factory=dict)  # items in force, by number
    sparse: set[tuple[str, str]] = field(default_factory=set)  # of these the history holds one record each

    def days_ago(self, days: int) -> dt.date:
        """The day so many days before (negative: after) today."""
        return self.today - dt.timedelta(days=days)

    def revision(self, variant: str, code: str, on: dt.date | None = None) -> Revision:
        """The revision of a procedure in force on a day, by default today."""
        return [r for r in self.revisions[variant, code] if r.effective_on <= (on or self.today)][-1]


def read(name: str) -> Any:
    """One file of fixtures/demo."""
    return json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))


@transaction.atomic
def load_master(*, today: dt.date, password: str | None = None) -> Master:
    """Write the master data into a database without any. Without a password nobody can log in."""
    from reports.demo.mel import load_mel
    from reports.demo.procedures import load_procedures

    data = read("operator")
    master = Master(today, Operator.objects.create(**data["operator"], is_demo=True))
    master.bases = {row["code"]: Base.objects.create(**row) for row in data["bases"]}
    for row in read("variants")["variants"]:
        _load_variant(master, row, read("variants")["reference_temperatures"])
    _load_people(master, read("people")["people"], make_password(password))
    _load_instruments(master, read("instruments"))
    load_procedures(master, read("procedures"))
    load_mel(master)
    return _as_stored(master)


def _as_stored(master: Master) -> Master:
    """The same with every row read back, so that numbers are Decimals and not the files' texts."""
    master.operator.refresh_from_db()
    for each in fields(master):
        held = getattr(master, each.name)
        if not isinstance(held, dict) or not held:
            continue
        lists = isinstance(next(iter(held.values())), list)
        model = next(row for value in held.values() for row in (value if lists else [value])).__class__
        stored = model._default_manager.select_related().in_bulk()
        for key, value in held.items():
            held[key] = [stored[row.pk] for row in value] if lists else stored[value.pk]
    return master


def _load_variant(master: Master, data: dict[str, Any], temperatures: list[str]) -> None:
    named = ("code", "name", "description", "has_panel_ports")
    variant = Variant.objects.create(**{key: data[key] for key in named})
    master.variants[variant.code] = variant
    positions = Position.objects.bulk_create(
        _position(variant, order, row) for order, row in enumerate(data["positions"])
    )
    master.positions |= {(variant.code, position.code): position for position in positions}
    wanted = [*data["points"], *_panel_ports(data, positions)]
    points = MeasuringPoint.objects.bulk_create(
        MeasuringPoint(
            variant=variant,
            order=order,
            position=master.positions[variant.code, row["position"]] if "position" in row else None,
            **{key: row[key] for key in ("code", "name", "kind", "quantity", "nominal")},
        )
        for order, row in enumerate(wanted)
    )
    master.points |= {(variant.code, point.code): point for point in points}
    ReferenceRow.objects.bulk_create(
        ReferenceRow(point=point, temperature=temperature, value=value)
        for point, row in zip(points, wanted, strict=True)
        if "reference" in row
        for temperature, value in zip(temperatures, row["reference"], strict=True)
    )
    through = Position.resets.through
    through.objects.bulk_create(
        through(position=position, measuringpoint=point)
        for point, row in zip(points, wanted, strict=True)
        for position in positions
        if position.kind in row.get("reset_by", ()) or position.code == row.get("position")
    )


def _position(variant: Variant, order: int, row: dict[str, Any]) -> Position:
    x, y, width, height = (Decimal(str(share)) for share in row["plan"])
    plan = {"plan_x": x, "plan_y": y, "plan_width": width, "plan_height": height}
    return Position(
        variant=variant, order=order, code=row["code"], name=row["name"], kind=row["kind"], **plan
    )


def _panel_ports(data: dict[str, Any], positions: Iterable[Position]) -> list[dict[str, Any]]:
    pattern = data.get("panel_ports")
    return [
        {
            "code": pattern["code"].format(position=panel.code),
            "name": pattern["name"].format(position=panel.name),
            "kind": MeasuringPoint.Kind.PANEL_PORT,
            "quantity": MeasuringPoint.Quantity.PRESSURE,
            "nominal": pattern["nominal"],
            "reference": pattern["reference"],
            "position": panel.code,
        }
        for panel in positions
        if pattern and panel.kind == Position.Kind.PANEL
    ]


def _load_people(master: Master, rows: list[dict[str, Any]], hashed: str) -> None:
    groups = {group.name: group for group in Group.objects.all()}
    for row in rows:
        number = int(row["username"].lstrip("abcdefghijklmnopqrstuvwxyz"))
        certificate, kind = CERTIFICATE.get(row["role"], ("", ""))
        user = User.objects.create(
            username=row["username"],
            password=hashed,
            first_name=row["username"].rstrip("0123456789").capitalize(),
            last_name=str(number),
            certificate_number=certificate.format(n=number),
            certificate_kind=kind,
            home_base=master.bases.get(row["base"]),
            is_staff=row["role"] in DESK_ROLES,
        )
        user.groups.add(groups[row["role"]])
        master.people[user.username] = user
        for serial, act in enumerate(row["acts"], start=1):
            authorisation = Authorisation.objects.create(
                user=user,
                act=act["act"],
                reference=f"DEMO-A-{user.pk:03}-{serial}",
                valid_from=master.days_ago(act["from"]),
                valid_until=master.days_ago(act["until"]),
            )
            authorisation.variants.set(master.variants[code] for code in act.get("variants", ()))


def _load_instruments(master: Master, data: dict[str, Any]) -> None:
    for row in data["instruments"]:
        instrument = Instrument.objects.create(
            owner=row.get("owner", master.operator.name),
            serial_number=f"DEMO-{row['code'].upper()}",
            base=master.bases.get(row["base"]),
            range_low=row["range"][0],
            range_high=row["range"][1],
            accuracy_kind=row["accuracy"][0],
            accuracy=row["accuracy"][1],
            needs_calibration=row.get("needs_calibration", True),
            in_use=row.get("in_use", True),
            **{key: row[key] for key in ("code", "kind", "description", "unit", "resolution")},
        )
        master.instruments[instrument.code] = instrument
        master.calibrations[instrument.code] = Calibration.objects.bulk_create(
            _calibrations(master, instrument, row)
        )
    for row in data["fluid_batches"]:
        master.batches[row["code"]] = FluidBatch.objects.create(
            code=row["code"],
            kind=row["kind"],
            base=master.bases[row["base"]],
            received_on=master.days_ago(row["received"]),
            expires_on=master.days_ago(row["expires"]),
            litres=row["litres"],
        )


def _calibrations(master: Master, instrument: Instrument, row: dict[str, Any]) -> list[Calibration]:
    """All since the history began, oldest first: each on the day on which the one before was due."""
    if not instrument.needs_calibration:
        return []
    days, interval = row["last_days_ago"], row["interval_days"]
    ages = range(days, CALIBRATED_BACK_DAYS + interval, interval)
    found = [
        Calibration(
            instrument=instrument,
            calibrated_on=master.days_ago(age),
            due_on=master.days_ago(age - interval),
            error_found="0",
            laboratory="Invented laboratory",
            certificate_number=f"DEMO-C-{instrument.code}-{age}",
        )
        for age in reversed(ages)
    ]
    found[-1].result = row.get("last_result", Calibration.Result.PASSED)
    found[-1].error_found = row.get("last_error_found", "0")
    return found
