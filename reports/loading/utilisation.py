"""Utilisation from a file: the totals at the end of a day, of its own for each row or of one for the file."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from checks.engine.use_questions import use_questions
from checks.forms.utilisation import before_of
from checks.models import ImportBatch
from checks.selectors.due_counting import totals_of
from checks.services.due import refresh_due
from fleet.models import Aircraft, UtilisationEntry
from fleet.services import enter_utilisation
from reports.loading.columns import Column, Field, date_of, number_of, text_of, whole_of
from reports.loading.problems import FIELD_NAMES, Bad
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
            self.day_of(row),
            hours.value,
            whole_of(self.columns["landings"], row),
            text_of(self.columns.get("remark"), row),
        )

    def day_of(self, row: Row) -> dt.date:
        return date_of(self.columns["date"], row)

    @staticmethod
    def order(given: Given) -> tuple[str, dt.date]:
        return given.aircraft.registration, given.on

    def write(self, line: int, given: Given) -> bool:
        """True where it was added, False where the day stands with the same figures."""
        if self.stands(given):
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

    @staticmethod
    def stands(given: Given) -> bool:
        """Whether the day has these figures already."""
        standing = UtilisationEntry.objects.standing().filter(aircraft=given.aircraft, on=given.on)
        return standing.filter(hours=given.hours, landings=given.landings).exists()

    def finish(self) -> list[str]:
        refresh_due(aircraft_ids=self.touched)
        return []


@dataclass(frozen=True)
class Day:
    """What holds for a whole file from the desk: its day, and that odd figures are right as written."""

    on: dt.date
    sure: bool
    gap_days: int


def rows_of_day(day: Day) -> type[UtilisationRows]:
    """The rows of a file that names no date; odd figures are asked about as they are on the sheet."""

    class RowsOfDay(UtilisationRows):
        def __init__(self, **given: Any) -> None:
            super().__init__(**given)
            self.before = totals_of(None, day.on)

        @staticmethod
        def fields() -> tuple[Field, ...]:
            return tuple(field for field in UtilisationRows.fields() if field.name != "date")

        def day_of(self, row: Row) -> dt.date:
            return day.on

        def write(self, line: int, given: Given) -> bool:
            before = before_of(self.before.get(given.aircraft.pk))
            if before and not day.sure and not self.stands(given):
                figures = (given.on, given.hours, given.landings)
                for asked in use_questions(before, *figures, gap_days=day.gap_days):
                    name = FIELD_NAMES.get(asked.field, asked.field)
                    raise Bad(name, f"{asked.text} Mend it; if it is right, tick 'right as written'")
            return super().write(line, given)

    return RowsOfDay
