"""The outcome of a check on a page: of a draft as judged just now, of a signed check as stored."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from checks.charts.builders import limit_scene, series_scene
from checks.charts.scene import Scene
from checks.charts.svg import Picture, picture
from checks.engine.limits import LimitTable
from checks.engine.settle import SETTLED
from checks.engine.units import (
    canonical_unit,
    difference_from_canonical,
    from_canonical,
    plain,
    to_canonical,
    unit_of,
)
from checks.models import CheckEvent, Reading, Step
from checks.services.errors import Problem
from checks.services.evaluate import Evaluation, blind_spots
from checks.services.points import limit_table
from fleet.models import MeasuringPoint

_CENT = Decimal("0.01")


@dataclass(frozen=True)
class Judged:
    """What is known of one point, canonical: of a draft from the engine, of a signed check from its row."""

    point: MeasuringPoint
    outcome: str
    value: Decimal | None
    temperature: Decimal | None
    lower: Decimal | None
    upper: Decimal | None
    margin: Decimal | None
    uncertainty: Decimal | None
    reasons: tuple[str, ...]
    baseline: Decimal | None = None


@dataclass(frozen=True)
class PointShown:
    """One point in the unit in which it was read, with its place against the limit curve."""

    name: str
    outcome: str
    note: str
    unit: str
    value: str
    temperature: str
    limit: str
    margin: str
    uncertainty: str
    usual: str
    reasons: tuple[str, ...]
    read: bool
    picture: Picture | None


@dataclass(frozen=True)
class Panel:
    """Everything that the outcome panel says. missing: what bars signing, with the field it leads to."""

    outcome: str
    next_action: str
    reasons: tuple[str, ...]
    points: tuple[PointShown, ...]
    blind_spots: tuple[str, ...]
    series: tuple[Picture, ...] = ()
    missing: tuple[Problem, ...] = ()
    too_low: bool = False
    signed: bool = False
    started: bool = True

    @property
    def tentative(self) -> bool:
        """Whether there is nothing to say yet: not all is recorded, and what is recorded is not outside."""
        return bool(self.missing) and self.outcome == CheckEvent.Outcome.NOT_VALID


def panel_of_draft(event: CheckEvent, evaluation: Evaluation) -> Panel:
    """The panel of a draft. Three queries, however many rows."""
    readings = readings_of(event)
    judged = (
        Judged(
            line.point,
            line.outcome,
            line.judged.value,
            line.temperature,
            line.judged.limit.lower if line.judged.limit else None,
            line.judged.limit.upper if line.judged.limit else None,
            line.margin,
            line.judged.uncertainty,
            line.judged.reasons,
            line.baseline,
        )
        for line in evaluation.points
    )
    tables = tables_of(event)
    return Panel(
        outcome=evaluation.outcome,
        next_action=evaluation.next_action,
        reasons=evaluation.reasons,
        points=tuple(point_shown(one, readings, tables.get(one.point.pk)) for one in judged),
        blind_spots=evaluation.blind_spots,
        series=tuple(series_pictures(readings, evaluation.marks)),
        missing=evaluation.missing,
        too_low=evaluation.too_low,
        started=bool(readings),
    )


def panel_of_signed(event: CheckEvent) -> Panel:
    """The panel of a signed check, from what was stored when it was signed. Four queries."""
    readings, tables = readings_of(event), tables_of(event)
    results = list(event.results.select_related("point").order_by("point__order", "point__code"))
    points = tuple(
        point_shown(
            Judged(
                result.point,
                result.outcome,
                result.value,
                result.temperature,
                result.lower,
                result.upper,
                result.margin,
                result.uncertainty,
                tuple(result.reason.splitlines()),
            ),
            readings,
            tables.get(result.point_id),
        )
        for result in results
    )
    return Panel(
        outcome=event.outcome,
        next_action=event.next_action,
        reasons=tuple(event.outcome_reason.splitlines()),
        points=points,
        blind_spots=blind_spots(
            event.aircraft.variant, feels_panels=any(result.point.feels_panels for result in results)
        ),
        series=tuple(series_pictures(readings, {r.pk: r.mark for r in readings})),
        too_low=event.too_low,
        signed=True,
    )


def readings_of(event: CheckEvent) -> list[Reading]:
    """The readings in the order of the procedure. One query."""
    related = event.readings.select_related("step", "point", "instrument", "calibration")
    return list(related.order_by("step__number", "sequence"))


def tables_of(event: CheckEvent) -> dict[int, LimitTable]:
    """The limit tables of the event's revision by point, canonical. Two queries."""
    stored = event.revision.limit_tables.prefetch_related("rows")
    return {table.point_id: limit_table(table) for table in stored}


def point_shown(one: Judged, readings: Iterable[Reading], table: LimitTable | None) -> PointShown:
    """A point in the unit in which it was read; a collected flow in the canonical one."""
    own = [r for r in readings if r.point_id == one.point.pk]
    code = unit_read(one.point, own)
    label = unit_of(code).label
    return PointShown(
        name=one.point.name,
        outcome=one.outcome,
        note="under its lower limit" if one.value is not None and _under(one) else "",
        unit=label,
        value=_words(one.value, code),
        temperature="" if one.temperature is None else plain(one.temperature),
        limit=_limit_words(one, code),
        margin=_words(one.margin, code, difference=True),
        uncertainty=_words(one.uncertainty, code, difference=True),
        usual=_words(one.baseline, code),
        reasons=one.reasons,
        read=bool(own),
        picture=picture(point_scene(one, table, code)) if own and table else None,
    )


def unit_read(point: MeasuringPoint, readings: Iterable[Reading]) -> str:
    """The UCUM code in which a point was read, among its own readings."""
    code = canonical_unit(point.quantity)
    return next((r.unit for r in readings if unit_of(r.unit).quantity == point.quantity), code)


def _under(one: Judged) -> bool:
    return one.lower is not None and one.value < one.lower


def _words(value: Decimal | None, code: str, *, difference: bool = False) -> str:
    if value is None:
        return ""
    convert = difference_from_canonical if difference else from_canonical
    return plain(convert(value, code).quantize(_CENT)).replace("-", "−")


def _limit_words(one: Judged, code: str) -> str:
    low, high = _words(one.lower, code), _words(one.upper, code)
    if low and high:
        return f"{low} to {high}"
    return f"at most {high}" if high else f"at least {low}" if low else ""


def point_scene(one: Judged, table: LimitTable, code: str) -> Scene:
    """A point's value against the limits of its table, in the given unit."""

    def convert(value: Decimal | None) -> Decimal | None:
        return None if value is None else from_canonical(value, code)

    rows = [(row.temperature, convert(row.lower), convert(row.upper)) for row in table.ordered]
    measured = None
    if one.value is not None and one.temperature is not None:
        measured = (one.temperature, from_canonical(one.value, code))
    room = difference_from_canonical(one.uncertainty, code) if one.uncertainty else 0
    label = f"{one.point.name}: {one.point.quantity}".capitalize()
    return limit_scene(rows, table.kind, measured, room, label, unit_of(code).label, table.rule)


def series_pictures(readings: Iterable[Reading], marks: Mapping[int, str]) -> Iterable[Picture]:
    """A drawing of each timed series, in the unit in which it was read."""
    return map(picture, series_scenes(readings, marks))


def series_scenes(readings: Iterable[Reading], marks: Mapping[int, str]) -> Iterable[Scene]:
    """Each timed series, in the unit in which it was read."""
    series: dict[Step, list[Reading]] = {}
    for reading in readings:
        # A value from paper has no time of its own: there is no course to draw.
        if reading.role == Reading.Role.SERIES and reading.elapsed_seconds is not None:
            series.setdefault(reading.step, []).append(reading)
    for step, rows in series.items():
        rows.sort(key=lambda r: r.elapsed_seconds)
        code = rows[0].unit
        samples = [(r.elapsed_seconds / 60, from_canonical(r.value, code)) for r in rows]
        settled = next((k for k, r in enumerate(rows) if marks.get(r.pk) == SETTLED), None)
        ceiling = None
        if step.ceiling is not None:
            top = from_canonical(to_canonical(step.ceiling, step.unit), code)
            ceiling = (Decimal(step.ceiling_after_seconds or 0) / 60, top)
        label = f"{rows[0].point.name if rows[0].point else step.quantity}: {step.quantity}".capitalize()
        yield series_scene(samples, ceiling, settled, label, unit_of(code).label)
