"""Aircraft from a file. One that is on file with the same figures is left as it is."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from checks.models import ImportBatch
from checks.services.due import refresh_due
from fleet.models import Aircraft, Base, Variant
from reports.loading.columns import Column, Field, date_of, text_of
from reports.loading.problems import Bad
from reports.tables.sheet import Row


@dataclass(frozen=True)
class Given:
    """One row, read."""

    registration: str
    serial_number: str
    type_name: str
    variant: Variant
    base: Base
    entered_service_on: dt.date


class AircraftRows:
    """Reads and writes rows of aircraft."""

    def __init__(self, *, columns: Mapping[str, Column], batch: ImportBatch) -> None:
        self.columns, self.batch = columns, batch
        self.variants = _by_name(Variant.objects.all())
        self.bases = _by_name(Base.objects.all())
        self.lines: dict[str, int] = {}
        self.added: list[int] = []

    @staticmethod
    def fields() -> tuple[Field, ...]:
        return (
            Field("registration", required=True),
            Field("serial number", required=True),
            Field("type", required=True),
            Field("variant", required=True),
            Field("base", required=True),
            Field("entered service", kind="date", required=True),
        )

    def read(self, row: Row) -> Given:
        text = {name: text_of(self.columns[name], row) for name in ("serial number", "type")}
        registration = text_of(self.columns["registration"], row).upper()
        return Given(
            registration,
            text["serial number"],
            text["type"],
            _known("variant", text_of(self.columns["variant"], row), self.variants),
            _known("base", text_of(self.columns["base"], row), self.bases),
            date_of(self.columns["entered service"], row),
        )

    @staticmethod
    def order(given: Given) -> str:
        return ""

    def write(self, line: int, given: Given) -> bool:
        """True where it was added, False where it is on file so already. Two queries."""
        earlier = self.lines.setdefault(given.registration, line)
        found = Aircraft.objects.filter(registration=given.registration).first()
        if found:
            differs = [name for name, value in vars(given).items() if getattr(found, name) != value]
            if not differs:
                return False
            where = f"line {earlier}" if earlier != line else "the aircraft on file"
            names = ", ".join(Aircraft._meta.get_field(name).verbose_name for name in differs)
            raise Bad(
                "registration",
                f"{given.registration} differs from {where} in {names}. Nothing is overwritten: change the "
                "aircraft in the master data, or correct the row",
            )
        aircraft = Aircraft(**vars(given))
        aircraft.full_clean()
        aircraft.save(force_insert=True)
        self.added.append(aircraft.pk)
        return True

    def finish(self) -> list[str]:
        refresh_due(aircraft_ids=self.added)
        return []


def _by_name(rows) -> dict[str, object]:
    return {name.lower(): one for one in rows for name in (one.code, one.name)}


def _known(name: str, text: str, known: Mapping[str, object]):
    found = known.get(text.lower())
    if found is None:
        codes = ", ".join(sorted({one.code for one in known.values()})) or "none yet"
        raise Bad(name, f"{text!r} is not on file. On file: {codes}. Enter it in the master data first")
    return found
