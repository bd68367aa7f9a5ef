"""Utilisation from a file: the totals at the end of a day."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from checks.models import ImportBatch
from checks.services.due import refresh_due
from fleet.models import Aircraft, UtilisationEntry
from fleet.services import enter_utilisation
from reports.loading.columns import Column, Field, date_of, number_of, text_of, whole_of
from reports.loading.problems import Bad
from reports.loading.registrations import Registrations
from reports.tables.sheet import Row


@dataclass(frozen=True)
class Given:
    """One row, read. hours: total flight hours."""

    aircraft: Aircraft
    on: dt.date
    hours: Decimal
    landings: int
    remark: str


class UtilisationRows:
    """Reads and writes rows of utilisation, each day once."""

    def __init__(self, *, columns: Mapping[str, Column], batch: ImportBatch) -> None:
        self.columns, self.batch = columns, batch
        self.registrations = Registrations()
        self.touched: set[int] = set()

    @staticmethod
    def fields() -> tuple[Field, ...]:
        return (
            Field("registration", required=True),
            Field("date", kind="date", required=True),
            Field("hours", kind="number", required=True, quantity="time", unit="h"),
            Field("landings", kind="whole", required=True),
            Field("remark"),
        )

    def read(self, row: Row) -> Given:
        hours = number_of(self.columns["hours"], row)
        if hours.unit != "h":
            raise Bad("hours", "are kept in hours: declare the column as hours [h]")
        return Given(
            self.registrations.find(text_of(self.columns["registration"], row)),
            date_of(self.columns["date"], row),
            hours.value,
            whole_of(self.columns["landings"], row),
            text_of(self.columns.get("remark"), row),
        )

    @staticmethod
    def order(given: Given) -> tuple[str, dt.date]:
        return given.aircraft.registration, given.on

    def write(self, line: int, given: Given) -> bool:
        """True where it was added, False where the day stands with the same figures."""
        standing = UtilisationEntry.objects.standing().filter(aircraft=given.aircraft, on=given.on)
        if standing.filter(hours=given.hours, landings=given.landings).exists():
            return False
        enter_utilisation(
            aircraft=given.aircraft,
            on=given.on,
            hours=given.hours,
            landings=given.landings,
            by=self.batch.imported_by,
            remark=given.remark,
            source=f"{self.batch.file_name[-90:]}, line {line}",
        )
        self.touched.add(given.aircraft.pk)
        return True

    def finish(self) -> list[str]:
        refresh_due(aircraft_ids=self.touched)
        return []
