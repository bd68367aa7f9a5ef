"""Likely cause of a check: its readings beside the aircraft's own accepted checks since the last reset.

Reads, never writes. The engine ranks; here its input is gathered and its words are put beside the check.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from math import hypot, sqrt
from typing import TYPE_CHECKING, Any

from checks.engine.conformity import InstrumentAccuracy, collected_flow_uncertainty
from checks.engine.diagnosis_data import (
    NO,
    NOT_LOOKED,
    WITHIN_SCATTER,
    YES,
    Diagnosis,
    Uncertainties,
    baseline_of,
)
from checks.engine.diagnosis_words import CAVEATS, Said, say
from checks.engine.fluid import DEFAULT_CURVE, flow_exponent
from checks.engine.units import parse_decimal, to_canonical
from checks.models import CheckEvent, LimitTable, Procedure, Reading
from checks.selectors.cause import Layout, Read, accepted_before, confirmed_before, layout_of, minutes_of
from checks.selectors.events import may_be_decided
from checks.services.rows import is_start
from checks.services.values import accuracy_of

if TYPE_CHECKING:
    from checks.services.evaluate import Evaluation

ANSWERS = (NOT_LOOKED, YES, NO)
NO_BASELINE = (
    "This aircraft has no accepted check since the last reset of its measuring points: its readings have "
    "nothing of its own to stand beside, so no cause is ranked."
)
NO_READING = (
    "No valid reading with a measured fluid temperature is at hand, so no cause is ranked. Take the readings "
    "again."
)
RESET_SINCE = (
    "What is outside its limit was reset since ({}): no accepted check of this aircraft stands beside it "
    "yet, so no cause is ranked."
)
# Standard uncertainty where no instrument is named, as on paper: an assumption of ours.
UNNAMED_SHARE = 0.03
UNNAMED_CELSIUS = 1.0


@dataclass(frozen=True)
class LikelyCause:
    """What may be said of one check. diagnosis, said: None where nothing can be, why_not says why.

    since, until: first and last day of the baseline's checks; seen: looks that were not satisfactory
    alone: measuring points read now that no check of the baseline has read since their reset
    panels: their names in the order of the engine's numbers.
    """

    diagnosis: Diagnosis | None
    said: Said | None
    why_not: str
    checks: int
    since: date | None
    until: date | None
    seen: tuple[str, ...]
    alone: tuple[str, ...]
    wet: str
    panels: tuple[str, ...] = ()
    caveats: tuple[str, ...] = CAVEATS

    @property
    def beside(self) -> list[tuple[str, float]]:
        """(what, its ratio to the baseline) of every reading that was compared."""
        if self.diagnosis is None:
            return []
        read = self.diagnosis.ratios
        pairs = [
            ("pressure", read.pressure),
            ("nozzle flow", read.flow),
            ("time to settle", read.minutes),
            ("tank draw-down", read.drawdown),
            *((f"port, {name}", port) for name, port in zip(self.panels, read.ports, strict=True)),
        ]
        return [(name, ratio) for name, ratio in pairs if ratio is not None]

    @property
    def ranking(self) -> dict[str, Any]:
        """As kept with a confirmed cause: plain values for JSON."""
        if self.diagnosis is None:
            return {}
        return {
            "verdict": self.diagnosis.verdict,
            "group": self.diagnosis.groups[0][0],
            "causes": [[one.cause, round(one.share, 4), one.panel] for one in self.diagnosis.causes],
            "wet": self.wet,
        }


def likely_cause(
    event: CheckEvent, *, evaluation: Evaluation | None = None, wet: str = NOT_LOOKED
) -> LikelyCause | None:
    """The likely cause behind a check that is over its limit or out of the aircraft's own scatter.

    None for any other check, and for work that is no check. evaluation: of a draft. wet: whether fluid was
    seen where it should not be. Eleven queries at most.
    """
    if event.revision.procedure.kind != Procedure.Kind.CHECK:
        return None
    over = (evaluation.outcome if evaluation else event.outcome) == CheckEvent.Outcome.OVER
    too_low = evaluation.too_low if evaluation else event.too_low
    layout = layout_of(event.aircraft.variant)
    if layout.test_port is None or not layout.panels:
        return None
    readings = list(
        event.readings.select_related("instrument", "point", "step").order_by("step__number", "sequence")
    )
    if not any(reading.point_id in layout.points for reading in readings):
        return None
    now = _read_now(event, layout, readings, evaluation)
    told = _told(event, layout, readings, now, wet if wet in ANSWERS else NOT_LOOKED)
    quiet = told.diagnosis is None or told.diagnosis.verdict == WITHIN_SCATTER
    return None if quiet and not (over or too_low) else told


@dataclass(frozen=True)
class _Now:
    """The readings of the check itself, and its points that are outside their limits."""

    read: Read
    over: frozenset[int]


def _told(event: CheckEvent, layout: Layout, readings: list[Reading], now: _Now, wet: str) -> LikelyCause:
    before = accepted_before(event, layout)
    checks = [(one, taken) for one, read in before if (taken := read.taken(layout)) is not None]
    compared = {point for _, read in before for point in read.values}
    names = {reading.point_id: str(reading.point) for reading in readings if reading.point_id}
    alone = [point for point in now.read.values if point not in compared]

    def answer(
        why_not: str = "", diagnosis: Diagnosis | None = None, said: Said | None = None
    ) -> LikelyCause:
        days = [one.work_date for one, _ in checks]
        return LikelyCause(
            diagnosis=diagnosis,
            said=said,
            why_not=why_not,
            checks=len(days),
            since=min(days, default=None),
            until=max(days, default=None),
            seen=_seen(event),
            alone=tuple(names[point] for point in alone),
            wet=wet,
            panels=tuple(panel.name for panel in layout.panels),
        )

    taken = now.read.taken(layout)
    if taken is None:
        return answer(NO_READING)
    if not checks:
        return answer(NO_BASELINE)
    from checks.engine.diagnosis import diagnose  # scipy is loaded when a cause is asked for

    known = {
        "panels": len(layout.panels),
        "flow_exponent": _alpha(event, layout),
        "confirmed": confirmed_before(event),
    }
    sure = uncertainties(readings, layout)
    try:
        found = diagnose(replace(taken, wet=wet), baseline_of([one for _, one in checks]), sure, **known)
    except ValueError as refused:  # outside the curve, or nothing that the baseline has
        return answer(f"No cause is ranked: {refused}.")
    names_of_panels = [panel.name for panel in layout.panels]
    reset = [names[point] for point in alone if point in now.over]
    if found.verdict == WITHIN_SCATTER and reset:
        return answer(RESET_SINCE.format(", ".join(reset)))
    return answer(diagnosis=found, said=say(found, names_of_panels, has_ports=bool(layout.ports)))


def _read_now(
    event: CheckEvent, layout: Layout, readings: list[Reading], evaluation: Evaluation | None
) -> _Now:
    """Of a draft as judged just now, of a signed one as stored."""
    now = Read()
    if evaluation:
        low = {line.point.pk for line in evaluation.points if line.judged.too_low}
        rows = [(ln.point.pk, ln.judged.value, ln.temperature, ln.outcome) for ln in evaluation.points]
        marked = [r for r in readings if evaluation.marks.get(r.pk)]
        for reading in marked:
            reading.mark = evaluation.marks[reading.pk]
    else:
        stored = list(event.results.all())
        low = {one.point_id for one in stored} if may_be_decided(event) else set()
        rows = [(one.point_id, one.value, one.temperature, one.outcome) for one in stored]
    for point, value, temperature, outcome in rows:
        sound = outcome != CheckEvent.Outcome.NOT_VALID or point in low
        known = point in layout.points and value is not None and value > 0 and temperature is not None
        if sound and known:
            now.values[point], now.temperature = float(value), float(temperature)
    if layout.test_port.pk in now.values:
        now.minutes = minutes_of(readings, layout.test_port.pk)
    over = frozenset(point for point, _, _, outcome in rows if outcome == CheckEvent.Outcome.OVER)
    return _Now(now, over)


def uncertainties(readings: list[Reading], layout: Layout) -> Uncertainties:
    """Standard uncertainties of the instruments that were used. No query.

    What one gauge is off at all panel ports alike is common to them; with several gauges it is each port's.
    """
    by_point: dict[int | None, list[Reading]] = {}
    for reading in readings:
        if not is_start(reading):
            by_point.setdefault(reading.point_id, []).append(reading)
    at_test_port = by_point.get(layout.test_port.pk, [])
    at_ports = [reading for point in layout.ports for reading in by_point.get(point, [])]
    at_nozzle = by_point.get(layout.nozzle.pk, []) if layout.nozzle else []
    thermometers = [r for r in readings if r.role == Reading.Role.TEMPERATURE]
    off, step = _parts(at_ports[-1]) if at_ports else (0.0, 0.0)
    alone = len({reading.instrument_id for reading in at_ports}) > 1
    return Uncertainties(
        pressure=hypot(*_parts(at_test_port[-1])) if at_test_port else 0.0,
        port_shared=0.0 if alone else off,
        port=hypot(off, step) if alone else step,
        flow=_flow_u(at_nozzle[-1]) if at_nozzle else 0.0,
        temperature=(
            hypot(*_parts(thermometers[-1]))
            if thermometers and thermometers[-1].instrument
            else UNNAMED_CELSIUS
        ),
    )


def _parts(reading: Reading) -> tuple[float, float]:
    """Standard uncertainty from the instrument's class, and from its graduation."""
    value = to_canonical(parse_decimal(reading.typed), reading.unit)
    accuracy: InstrumentAccuracy | None = accuracy_of(reading.instrument)
    if accuracy is None:
        return UNNAMED_SHARE * float(value), 0.0
    return float(accuracy.half_width(value)) / sqrt(3), float(accuracy.resolution) / sqrt(12)


def _flow_u(reading: Reading) -> float:
    value = to_canonical(parse_decimal(reading.typed), reading.unit)
    vessel = accuracy_of(reading.instrument)
    if vessel is None or not reading.elapsed_seconds:
        return UNNAMED_SHARE * float(value)
    return float(collected_flow_uncertainty(value, Decimal(reading.elapsed_seconds), vessel))


def _alpha(event: CheckEvent, layout: Layout) -> float:
    """How flow goes with viscosity, from the outer rows of the operator's own limit table; 0 without two."""
    if layout.nozzle is None:
        return 0.0
    table = LimitTable.objects.filter(revision=event.revision_id, point=layout.nozzle)
    rows = [
        (float(row.temperature), float(row.upper or row.lower))
        for one in table.prefetch_related("rows")
        for row in one.rows.all()
        if DEFAULT_CURVE.coldest <= row.temperature <= DEFAULT_CURVE.warmest
    ]
    if len(rows) < 2:
        return 0.0
    (t_1, limit_1), (t_2, limit_2) = min(rows), max(rows)
    return flow_exponent(limit_1, t_1, limit_2, t_2)


def _seen(event: CheckEvent) -> tuple[str, ...]:
    """What was looked at and found not satisfactory."""
    looks = event.observations.filter(satisfactory=False).select_related("position", "step")
    return tuple(
        f"{one.position or one.step}{f': {one.remark}' if one.remark else ''}"
        for one in looks.order_by("step__number", "position__order", "pk")
    )
