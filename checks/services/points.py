"""A draft's rows -> what the engine judges: one PointInput for each measuring point that was read."""

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from checks.engine.conformity import collected_flow_uncertainty
from checks.engine.limits import LimitRow, LimitTable
from checks.engine.point import MEASURED, Collection, InstrumentUse, PointInput
from checks.engine.settle import Sample, Settled, ceiling, settle
from checks.engine.units import collected_flow, to_canonical, unit_of
from checks.models import CheckEvent, Reading, Step
from checks.models import LimitTable as LimitTableRow
from checks.services.rows import MEASURING, is_start
from checks.services.temperatures import Temperature, Temperatures
from checks.services.values import Corrections, accuracy_of, canonical, corrected

# How far a collection may miss the time asked for: an assumption of ours, what a hand on a valve can do.
COLLECTION_TOLERANCE_S = Decimal(2)
# An instrument without a calibration to keep is never out of it.
NO_DUE_DATE = dt.date.max


@dataclass
class Judged:
    """Everything of one event that the points share."""

    event: CheckEvent
    readings: Mapping[int, list[Reading]]
    tables: Mapping[int, LimitTable]
    temperatures: Temperatures
    settled: Settled | None = None
    has_series: bool = False
    marks: dict[int, str] = field(default_factory=dict)
    corrections: Corrections = field(default_factory=dict)

    def value(self, reading: Reading) -> Decimal:
        """The canonical value with its instrument's correction."""
        return corrected(reading, self.corrections)


def limit_table(table: LimitTableRow) -> LimitTable:
    """A stored table in canonical units; its rows were fetched with it."""

    def convert(value: Decimal | None) -> Decimal | None:
        return None if value is None else to_canonical(value, table.unit)

    rows = tuple(LimitRow(r.temperature, convert(r.lower), convert(r.upper)) for r in table.rows.all())
    return LimitTable(rows, table.kind, table.reading_rule)


def points_read(steps: Iterable[Step]) -> list[Step]:
    """The steps that read a measuring point, in order."""
    return [step for step in steps if step.kind in MEASURING and step.point_id]


def point_input(
    step: Step,
    shared: Judged,
    at: Temperature,
    *,
    baseline: Decimal | None,
    factor: Decimal,
    low_share: Decimal,
) -> PointInput:
    """What the engine needs to judge the point of one step at a fluid temperature. Series must come before
    what waits for them."""
    readings = shared.readings.get(step.pk, [])
    common = {
        "name": step.point.name,
        "table": shared.tables.get(step.point_id),
        "temperature": at.value,
        "temperature_source": at.source,
        "temperature_u": at.standard_u,
        "instruments": _uses(step, readings, shared, at),
        "baseline": baseline,
        "nominal": step.point.nominal,
        "compensation": factor,
        "low_share": low_share,
    }
    if shared.event.source == CheckEvent.Source.IMPORTED:
        return _from_paper(step, readings, shared, common)
    if step.kind == Step.Kind.TIMED_SERIES:
        return _series(step, readings, shared, common)
    if step.kind == Step.Kind.TIMED_COLLECTION:
        return _collected(step, readings, shared, common)
    last = readings[-1] if readings else None
    return PointInput(
        value=shared.value(last) if last else None,
        accuracy=accuracy_of(last.instrument) if last else None,
        unit=last.unit if last else None,
        **common,
    )


def _from_paper(step: Step, readings: list[Reading], shared: Judged, common: dict) -> PointInput:
    """One value as written down: the paper answers for its having settled and the time of collection."""
    value = shared.value(readings[-1]) if readings else None
    volume = bool(readings) and unit_of(readings[-1].unit).quantity == "volume"
    if volume:
        value = collected_flow(value, Decimal(step.duration_seconds or 60))
    gauge = accuracy_of(readings[-1].instrument) if readings and not volume else None
    unit = step.point.unit if volume else readings[-1].unit if readings else None
    return PointInput(value=value, accuracy=gauge, unit=unit, **common)


def _series(step: Step, readings: list[Reading], shared: Judged, common: dict) -> PointInput:
    samples = [Sample(r.elapsed_seconds, shared.value(r)) for r in readings]
    gauges = [accuracy_of(r.instrument) for r in readings if r.instrument]
    # Two gauges in one series: the finer one decides what agrees.
    settled = (
        samples
        and gauges
        and settle(
            samples,
            cadence_s=step.cadence_seconds or 60,
            resolution=min(gauge.resolution for gauge in gauges),
        )
    )
    if settled:
        shared.settled = settled
        shared.marks |= {r.pk: mark for r, mark in zip(readings, settled.marks, strict=True)}
    limit = None if step.ceiling is None else to_canonical(step.ceiling, step.unit)
    after = step.ceiling_after_seconds or 0
    last = samples[-1].value if samples else None
    return PointInput(
        value=settled.value if settled and settled.settled else last,
        accuracy=gauges[-1] if gauges else None,
        unit=readings[-1].unit if readings else None,
        needs_settled=True,
        settled=settled or None,
        needs_ceiling=limit is not None,
        ceiling=None if limit is None else ceiling(samples, after_s=after, limit=limit, unit=step.unit),
        **common,
    )


def _collected(step: Step, readings: list[Reading], shared: Judged, common: dict) -> PointInput:
    volume = next((r for r in readings if r.role == Reading.Role.COLLECTION), None)
    if volume is None or not volume.elapsed_seconds:
        return PointInput(value=None, **common)
    started = next(filter(is_start, readings), None)
    seconds, vessel = volume.elapsed_seconds, accuracy_of(volume.instrument)
    collection = Collection(
        required_s=Decimal(step.duration_seconds or 60),
        taken_s=seconds,
        tolerance_s=COLLECTION_TOLERANCE_S,
        started_s=started.value if started else None,
        pressure=shared.settled,
    )
    if not shared.has_series:  # the procedure asks for no series: there is nothing to wait for
        collection = Collection(
            collection.required_s, seconds, COLLECTION_TOLERANCE_S, Decimal(0), _NOTHING_TO_WAIT_FOR
        )
    millilitres = shared.value(volume)
    return PointInput(
        value=collected_flow(millilitres, seconds),
        standard_u=collected_flow_uncertainty(millilitres, seconds, vessel) if vessel else None,
        collection=collection,
        unit=step.point.unit,
        **common,
    )


_NOTHING_TO_WAIT_FOR = Settled(True, None, None, Decimal(0), (), "no series is asked for")


def _uses(step: Step, readings: list[Reading], shared: Judged, at: Temperature) -> tuple[InstrumentUse, ...]:
    """The instruments behind one point's value: its own, and the thermometer whose value reads the limit."""
    thermometer = [at.reading] if at.reading and at.source == MEASURED else []
    if step.kind == Step.Kind.TIMED_COLLECTION:
        readings = [r for r in readings if not is_start(r)]
    if shared.event.source == CheckEvent.Source.IMPORTED:  # paper may name no instrument
        return tuple(_use(r, shared.event.work_date) for r in [*readings, *thermometer] if r.instrument_id)
    return tuple(_use(reading, shared.event.work_date) for reading in [*readings, *thermometer])


def _use(reading: Reading, on: dt.date) -> InstrumentUse:
    instrument = reading.instrument
    if instrument is None:
        return InstrumentUse(f"the instrument of step {reading.step.number} (none is named)", on, None)
    due = reading.calibration.due_on if reading.calibration else None
    return InstrumentUse(
        label=instrument.code,
        used_on=on,
        calibration_due=due if instrument.needs_calibration else NO_DUE_DATE,
        reading=canonical(reading),  # what it showed: its range asks for that, whatever was true
        range_lower=to_canonical(instrument.range_low, instrument.unit),
        range_upper=to_canonical(instrument.range_high, instrument.unit),
        unit=reading.unit,
    )
