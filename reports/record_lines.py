"""What was read, seen and followed in one signed check, as lines for paper."""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from checks.charts.scene import Scene
from checks.engine.units import canonical_unit, plain, unit_of
from checks.forms.check_text import clock
from checks.models import CautionFollowed, CheckEvent, LimitTable, Observation, Reading
from checks.services.points import limit_table
from checks.services.rows import is_start
from checks.views.check_panel import Judged, PointShown, point_scene, point_shown, unit_read
from fleet.models import Calibration, Instrument


@dataclass(frozen=True)
class ReadingLine:
    """One reading: as typed and in canonical units; elapsed is words, since the pump started."""

    step: int
    what: str
    elapsed: str
    typed: str
    canonical: str
    instrument: str
    remark: str


@dataclass(frozen=True)
class InstrumentLine:
    """One instrument with the calibration that covered the day of the work (None: none was needed)."""

    code: str
    kind: str
    serial_number: str
    scale: str
    calibrated_on: dt.date | None
    due_on: dt.date | None
    certificate_number: str
    laboratory: str
    used_for: str
    owner: str


@dataclass(frozen=True)
class PointLine(PointShown):
    """One measuring point on paper: what the page shows of it, whence its limits are, its chart."""

    limits_from: str
    scene: Scene | None
    feels_panels: bool


@dataclass(frozen=True)
class Seen:
    """What was seen at one place."""

    where: str
    satisfactory: bool
    remark: str
    step: int
    asked: str


@dataclass(frozen=True)
class Followed:
    """A warning, caution or confirmation that was acknowledged; put_back is empty where nothing was to be."""

    step: int
    kind: str
    text: str
    put_back: str


_WHAT = {
    Reading.Role.TEMPERATURE: "fluid temperature",
    Reading.Role.SERIES: "series",
    Reading.Role.COLLECTION: "collected volume",
}


def reading_lines(readings: Iterable[Reading]) -> tuple[ReadingLine, ...]:
    """Readings in the order of the procedure. No query."""
    return tuple(_reading(reading) for reading in readings)


def _reading(reading: Reading) -> ReadingLine:
    start, unit = is_start(reading), unit_of(reading.unit)
    canonical = unit_of(canonical_unit(unit.quantity)).label
    what = "collection began" if start else _WHAT.get(reading.role, "")
    elapsed = "" if reading.elapsed_seconds is None else clock(reading.elapsed_seconds)
    if reading.role == Reading.Role.COLLECTION and elapsed:
        elapsed = f"for {elapsed}"
    return ReadingLine(
        step=reading.step.number,
        what=", ".join(filter(None, (reading.point and reading.point.name, what))) or reading.step.quantity,
        elapsed=elapsed,
        typed=reading.typed if start else f"{reading.typed} {unit.label}",
        canonical=f"{minus(plain(reading.value))} {canonical}",
        instrument=reading.instrument.code if reading.instrument else "",
        remark=reading.mark,
    )


def instrument_lines(readings: Iterable[Reading]) -> tuple[InstrumentLine, ...]:
    """Every instrument with the calibration relied on, once, in the order of use. No query."""
    used: dict[tuple[Instrument, Calibration | None], list[str]] = {}
    for reading in readings:
        if reading.instrument:
            purposes = used.setdefault((reading.instrument, reading.calibration), [])
            purpose = unit_of(reading.unit).quantity
            if purpose not in purposes:
                purposes.append(purpose)
    return tuple(_instrument(*pair, ", ".join(purposes)) for pair, purposes in used.items())


def _instrument(one: Instrument, calibration: Calibration | None, used_for: str) -> InstrumentLine:
    label = unit_of(one.unit).label
    absolute = one.accuracy_kind == Instrument.AccuracyKind.ABSOLUTE
    accuracy = f"±{plain(one.accuracy)} {label if absolute else one.get_accuracy_kind_display()}"
    return InstrumentLine(
        code=one.code,
        kind=one.get_kind_display(),
        serial_number=one.serial_number,
        scale=f"{minus(plain(one.range_low))} to {plain(one.range_high)} {label}, {accuracy}",
        calibrated_on=calibration.calibrated_on if calibration else None,
        due_on=calibration.due_on if calibration else None,
        certificate_number=calibration.certificate_number if calibration else "",
        laboratory=calibration.laboratory if calibration else "",
        used_for=used_for,
        owner=one.owner,
    )


def point_lines(event: CheckEvent, readings: Sequence[Reading]) -> tuple[PointLine, ...]:
    """The stored result of every measuring point with the limits that it was judged by. Three queries."""
    stored = event.revision.limit_tables.prefetch_related("rows")
    tables = {table.point_id: table for table in stored}
    results = event.results.select_related("point").order_by("point__order", "point__code")
    lines = []
    for result in results:
        judged = Judged(
            result.point,
            result.outcome,
            result.value,
            result.temperature,
            result.lower,
            result.upper,
            result.margin,
            result.uncertainty,
            tuple(result.reason.splitlines()),
        )
        lines.append(_point(judged, readings, tables.get(result.point_id)))
    return tuple(lines)


def _point(judged: Judged, readings: Sequence[Reading], table: LimitTable | None) -> PointLine:
    own = [reading for reading in readings if reading.point_id == judged.point.pk]
    shown = point_shown(judged, own, None)
    scene, limits_from = None, "no limit in this revision"
    if table:
        scene = point_scene(judged, limit_table(table), unit_read(judged.point, own)) if own else None
        limits_from = f"{table.source_reference}; {table.get_reading_rule_display()}"
    shown = replace(
        shown,
        temperature=minus(shown.temperature),
        uncertainty=shown.uncertainty if judged.uncertainty else "",  # 0: no accuracy was on file
    )
    return PointLine(
        **vars(shown), limits_from=limits_from, scene=scene, feels_panels=judged.point.feels_panels
    )


def seen_lines(event: CheckEvent) -> tuple[Seen, ...]:
    """What was seen, panel by panel. One query."""
    found: Iterable[Observation] = event.observations.select_related("step", "position")
    return tuple(
        Seen(
            where=one.position.name if one.position else "the whole",
            satisfactory=one.satisfactory,
            remark=one.remark,
            step=one.step.number,
            asked=one.step.text,
        )
        for one in found.order_by("step__number", "position__order", "pk")
    )


def followed_lines(event: CheckEvent) -> tuple[Followed, ...]:
    """Warnings, cautions and confirmations that were followed. One query."""
    found: Iterable[CautionFollowed] = event.cautions_followed.select_related("step")
    return tuple(
        Followed(
            step=one.step.number,
            kind=one.step.kind,
            text=one.step.text,
            put_back=one.step.restore_text if one.restored else "",
        )
        for one in found.order_by("step__number")
    )


def conditions(event: CheckEvent, measured: bool) -> tuple[tuple[str, str], ...]:
    """What else moves a reading: names and values. Of a check that measured, a gap is said to be one."""
    memory = "from memory, not measured" if event.temperature_from_memory else "measured"
    voltage = f"{event.supply_voltage} V" if event.supply_voltage else ""
    pairs = (
        ("Pump", event.pump),
        ("Mode", event.mode),
        ("Supply voltage", voltage),
        (
            "Fluid temperature taken",
            f"{event.temperature_place} ({memory})" if event.temperature_place else "",
        ),
        ("Height of the gauge", event.gauge_height),
        ("Hose bled", {True: "yes", False: "no"}.get(event.hose_bled, "")),
        ("Fluid batch", str(event.fluid_batch) if event.fluid_batch else ""),
    )
    return tuple((name, value or "not recorded") for name, value in pairs if value or measured)


def minus(text: str) -> str:
    """Digits with a true minus sign."""
    return text.replace("-", "−")


def hours_words(hours: Decimal | None) -> str:
    """Total time as recorded, e.g. 2003.50 h."""
    return "not recorded" if hours is None else f"{hours} h"
