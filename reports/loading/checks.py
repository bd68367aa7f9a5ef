"""Check history from a file: one carrying out of one task a row, with the values that paper kept."""

import hashlib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import Count

from checks.engine.canonical import canonical_json
from checks.models import CheckEvent, ImportBatch, Procedure
from checks.services import after_sign
from checks.services.imports import PaperCheck, PaperReading, accept_check
from fleet.models import Aircraft, Instrument, MeasuringPoint
from reports.loading.columns import Column, Field, date_of, number_of, text_of, whole_of
from reports.loading.problems import Bad
from reports.loading.registrations import Registrations
from reports.tables.sheet import Row

TEMPERATURE = "temperature"
INSTRUMENT_FIELDS = {"thermometer": Instrument.Kind.THERMOMETER, "gauge": Instrument.Kind.GAUGE}


@dataclass(frozen=True)
class Given:
    """One row, read: the check, the number of the attempt on its day, and the key that it comes in by."""

    check: PaperCheck
    attempt: int
    key: str


class CheckRows:
    """Reads and writes rows of check history, in order of date so that resets and baselines come first."""

    def __init__(self, *, columns: Mapping[str, Column], batch: ImportBatch) -> None:
        self.columns, self.batch = columns, batch
        self.registrations = Registrations()
        self.procedures = {(p.variant_id, p.code): p for p in Procedure.objects.select_related("variant")}
        instruments = Instrument.objects.prefetch_related("calibrations")
        self.instruments = {one.code.lower(): one for one in instruments}
        self.points = _points()
        self.lines: dict[tuple, int] = {}
        self.touched: dict[int, Aircraft] = {}
        self.outcomes: Counter[str] = Counter()

    @staticmethod
    def fields() -> tuple[Field, ...]:
        """The fixed fields, and one for each measuring point by its code."""
        return (
            Field("registration", required=True),
            Field("task", required=True),
            Field("date", kind="date", required=True),
            Field("attempt", kind="whole"),
            Field(TEMPERATURE, kind="number", quantity="temperature"),
            *(Field(code, kind="number", quantity=quantity) for code, quantity in _points().items()),
            *(Field(name) for name in INSTRUMENT_FIELDS),
            Field("hours", kind="number", quantity="time", unit="h"),
            Field("landings", kind="whole"),
            Field("remarks"),
        )

    def read(self, row: Row) -> Given:
        aircraft = self.registrations.find(text_of(self.columns["registration"], row))
        hours = number_of(self.columns.get("hours"), row)
        check = PaperCheck(
            aircraft=aircraft,
            procedure=self._procedure(aircraft.variant, text_of(self.columns["task"], row)),
            work_date=date_of(self.columns["date"], row),
            readings=tuple(self._readings(row)),
            hours=hours.value if hours else None,
            landings=whole_of(self.columns.get("landings"), row),
            remarks=text_of(self.columns.get("remarks"), row),
        )
        attempt = whole_of(self.columns.get("attempt"), row) or 1
        return Given(check, attempt, _key(check, attempt))

    @staticmethod
    def order(given: Given) -> tuple:
        return given.check.work_date, given.check.aircraft.registration, given.attempt

    def write(self, line: int, given: Given) -> bool:
        """True where it was added, False where it came in before by the same row."""
        if CheckEvent.objects.filter(import_key=given.key).exists():
            return False
        self._once(line, given)
        event = accept_check(check=given.check, batch=self.batch, line=line, key=given.key)
        self.outcomes[event.outcome] += 1
        self.touched[given.check.aircraft.pk] = given.check.aircraft
        return True

    def finish(self) -> list[str]:
        for aircraft in self.touched.values():
            after_sign.refresh(aircraft)
        told = ", ".join(f"{number} {outcome}" for outcome, number in sorted(self.outcomes.items()))
        return [f"Outcomes by the limits in force on the day: {told}."] if told else []

    def _once(self, line: int, given: Given) -> None:
        """Refuse a second check of one task on one day that does not say that it is another attempt."""
        check = given.check
        place = (check.aircraft.pk, check.procedure.pk, check.work_date, given.attempt)
        other = self.lines.setdefault(place, line)
        if other != line:
            raise Bad(
                "attempt",
                f"line {other} has other figures for this task on this day. Number the attempts 1, 2, ... or "
                "delete the wrong row",
            )
        if given.attempt > 1:
            return
        same = CheckEvent.objects.signed().filter(
            aircraft=check.aircraft, revision__procedure=check.procedure, work_date=check.work_date
        )
        if same.exclude(import_batch=self.batch).exists():
            raise Bad(
                "date",
                "a signed record of this task on this day is on file with other figures. If this was another "
                "attempt, number it in a column called attempt",
            )

    def _procedure(self, variant, text: str) -> Procedure:
        found = self.procedures.get((variant.pk, text.lower()))
        if found is None:
            codes = ", ".join(sorted(code for key, code in self.procedures if key == variant.pk))
            raise Bad("task", f"{text!r} is no task of the {variant}. Its tasks: {codes}")
        return found

    def _readings(self, row: Row):
        named = {name: self._instrument(name, row) for name in INSTRUMENT_FIELDS}
        found = number_of(self.columns.get(TEMPERATURE), row)
        if found:
            yield PaperReading(TEMPERATURE, found.typed, found.unit, found.value, named["thermometer"])
        for code, quantity in self.points.items():
            found = number_of(self.columns.get(code), row)
            if found:
                gauge = named["gauge"] if quantity == MeasuringPoint.Quantity.PRESSURE else None
                yield PaperReading(code, found.typed, found.unit, found.value, gauge)

    def _instrument(self, name: str, row: Row) -> Instrument | None:
        text = text_of(self.columns.get(name), row)
        if not text:
            return None
        found = self.instruments.get(text.lower())
        if found is None:
            raise Bad(name, f"{text!r} is not on file. Enter the instrument first, or leave the cell empty")
        if found.kind != INSTRUMENT_FIELDS[name]:
            raise Bad(name, f"{found.code} is a {found.get_kind_display()}, not a {name}")
        return found


def _points() -> dict[str, str]:
    """Quantity by code of every measuring point; a code means one quantity on every variant."""
    rows = MeasuringPoint.objects.values_list("code", "quantity").annotate(Count("pk")).order_by("code")
    return {code: quantity for code, quantity, _ in rows}


def _key(check: PaperCheck, attempt: int) -> str:
    """What makes the row itself, whatever the file's name, columns or order."""
    content = {
        "aircraft": check.aircraft.serial_number,
        "task": check.procedure.code,
        "date": check.work_date,
        "attempt": attempt,
        "readings": {r.name: [r.typed, r.unit] for r in check.readings},
    }
    return hashlib.sha256(canonical_json(content).encode()).hexdigest()
