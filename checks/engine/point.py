"""One measuring point: what its outcome depends on, and the outcome.

What cannot be judged is 'not valid' with its reason, never a silent pass.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from checks.engine import conformity
from checks.engine.conformity import OVER, WITHIN, InstrumentAccuracy, Judgement
from checks.engine.limits import Limit, LimitTable, NotServed, limit_at, slope_at
from checks.engine.settle import Ceiling, Settled
from checks.engine.units import plain, shown

NOT_VALID = "not valid"
MEASURED = "measured"
FROM_MEMORY = "from memory"
LOW_SHARE = Decimal("0.5")  # of the aircraft's own baseline; an assumption of ours, an argument everywhere
_ZERO = Decimal(0)


@dataclass(frozen=True)
class InstrumentUse:
    """One instrument and the reading (canonical, or None) it gave; due day itself is still in calibration.

    unit (UCUM): what reasons speak in.
    """

    label: str
    used_on: date
    calibration_due: date | None
    reading: Decimal | None = None
    range_lower: Decimal | None = None
    range_upper: Decimal | None = None
    unit: str | None = None


@dataclass(frozen=True)
class Collection:
    """A timed collection: asked-for and taken seconds, and its start in seconds after the pump started."""

    required_s: Decimal
    taken_s: Decimal
    tolerance_s: Decimal
    started_s: Decimal | None
    pressure: Settled | None  # the series that must have settled before


@dataclass(frozen=True)
class PointInput:
    """Everything that one measuring point's outcome depends on. Values canonical, temperatures Cel.

    table None: judged by its ceiling alone, and without one not valid. standard_u stands in for accuracy
    where a value is computed (a collected flow). compensation: factor that brings baseline and nominal to
    today's fluid temperature. low_decided: a person has decided in writing about a value that is too low.
    unit (UCUM): what reasons speak in.
    """

    name: str
    value: Decimal | None
    table: LimitTable | None = None
    temperature: Decimal | None = None
    temperature_source: str = MEASURED
    temperature_u: Decimal = _ZERO
    accuracy: InstrumentAccuracy | None = None
    standard_u: Decimal | None = None
    instruments: tuple[InstrumentUse, ...] = ()
    needs_settled: bool = False
    settled: Settled | None = None
    needs_ceiling: bool = False
    ceiling: Ceiling | None = None
    collection: Collection | None = None
    baseline: Decimal | None = None
    nominal: Decimal | None = None
    compensation: Decimal = Decimal(1)
    low_share: Decimal = LOW_SHARE
    low_decided: bool = False
    unit: str | None = None


@dataclass(frozen=True)
class PointOutcome:
    """One point's outcome with the limit used, the comparison (None where there was none) and the reasons."""

    name: str
    outcome: str
    value: Decimal | None
    limit: Limit | None
    judgement: Judgement | None
    uncertainty: Decimal | None
    too_low: bool
    reasons: tuple[str, ...]


def judge_point(point: PointInput) -> PointOutcome:
    """Outcome of one measuring point. A ceiling passed with good instruments is over, settled or not."""
    invalid = list(_instrument_faults(point))
    if point.ceiling is not None and point.ceiling.breached and not invalid:
        return _point(point, OVER, reasons=[f"ceiling: {point.ceiling.reason}"])
    invalid += [*_series_faults(point), *_collection_faults(point)]
    limit = _limit(point)
    if isinstance(limit, str):
        return _point(point, NOT_VALID, reasons=[*invalid, limit])
    if invalid or point.value is None:
        return _point(point, NOT_VALID, limit=limit, reasons=invalid or ["no value"])
    if limit is not None:
        return _compare(point, point.value, limit)
    return _point(point, WITHIN, reasons=[f"ceiling: {point.ceiling.reason}"] if point.ceiling else [])


def _point(
    point: PointInput,
    outcome: str,
    *,
    limit: Limit | None = None,
    judgement: Judgement | None = None,
    too_low: bool = False,
    reasons: Sequence[str] = (),
) -> PointOutcome:
    U = judgement.uncertainty if judgement else None
    return PointOutcome(point.name, outcome, point.value, limit, judgement, U, too_low, tuple(reasons))


def _instrument_faults(point: PointInput) -> Iterator[str]:
    for use in point.instruments:
        if use.calibration_due is None:
            yield f"{use.label} has no calibration on file"
        elif use.calibration_due < use.used_on:
            yield f"{use.label} was out of calibration on {use.used_on} (due {use.calibration_due})"
        if use.reading is None:
            continue
        read = shown(use.reading, use.unit)
        if use.range_upper is not None and use.reading > use.range_upper:
            yield f"{read} is above the range of {use.label} (to {shown(use.range_upper, use.unit)})"
        if use.range_lower is not None and use.reading < use.range_lower:
            yield f"{read} is below the range of {use.label} (from {shown(use.range_lower, use.unit)})"


def _series_faults(point: PointInput) -> Iterator[str]:
    if point.needs_settled and point.settled is None:
        yield "no series of readings"
    elif point.settled is not None and not point.settled.settled:
        yield point.settled.reason
    if point.needs_ceiling and point.ceiling is None:
        yield "the ceiling was not judged"
    elif point.ceiling is not None and not point.ceiling.judged:
        yield f"ceiling: {point.ceiling.reason}"


def _collection_faults(point: PointInput) -> Iterator[str]:
    taken = point.collection
    if taken is None:
        return
    if abs(taken.taken_s - taken.required_s) > taken.tolerance_s:
        asked = f"{plain(taken.required_s)} s (± {plain(taken.tolerance_s)} s)"
        yield f"collected for {plain(taken.taken_s)} s, asked for are {asked}"
    pressure = taken.pressure
    if pressure is None or not pressure.settled or pressure.elapsed_s is None:
        yield "collected although the pressure had not settled"
    elif taken.started_s is None:
        yield "the start of the collection was not recorded"
    elif taken.started_s < pressure.elapsed_s:
        started, settled = plain(taken.started_s), plain(pressure.elapsed_s)
        yield f"collected from {started} s, before the pressure settled at {settled} s"


def _limit(point: PointInput) -> Limit | str | None:
    """The limit that holds, or why there is none; None where the point is judged by its ceiling alone."""
    if point.value is None:
        return "no value"
    if point.table is None:
        return None if point.ceiling is not None else "no limit table"
    if point.temperature is None:
        return "no fluid temperature"
    if point.temperature_source != MEASURED:
        return f"the fluid temperature was not measured ({point.temperature_source})"
    limit = limit_at(point.table, point.temperature)
    return limit.reason if isinstance(limit, NotServed) else limit


def _compare(point: PointInput, value: Decimal, limit: Limit) -> PointOutcome:
    judgement = conformity.judge(value, limit, _uncertainty(point, value, limit), unit=point.unit)
    reasons = [judgement.reason]
    if point.accuracy is None and point.standard_u is None:
        reasons.append("no accuracy on file: closeness to the limit was not judged")
    if limit.lower is not None or judgement.outcome == OVER:
        return _point(point, judgement.outcome, limit=limit, judgement=judgement, reasons=reasons)
    low, why = _too_low(point, value)
    reasons += [why] if why else []
    if low and point.low_decided:
        reasons.append("decided in writing")
    outcome = NOT_VALID if low and not point.low_decided else judgement.outcome
    return _point(point, outcome, limit=limit, judgement=judgement, too_low=low, reasons=reasons)


def _uncertainty(point: PointInput, value: Decimal, limit: Limit) -> Decimal:
    u = point.standard_u
    if u is None:
        u = point.accuracy.standard_uncertainty(value) if point.accuracy else _ZERO
    slopes = slope_at(point.table, limit.temperature) if point.table else None
    slope = max(slopes.lower, slopes.upper) if slopes else _ZERO
    return conformity.expanded_from(u, temperature_u=point.temperature_u, limit_slope=slope)


def _too_low(point: PointInput, value: Decimal) -> tuple[bool, str]:
    """Whether a value without a lower limit is too low: a dead pump would pass every upper limit."""
    if value <= 0:
        return True, "nothing was measured: is the pump running?"
    reference, name = point.baseline, "the baseline of this aircraft"
    if reference is None:
        reference, name = point.nominal, "the nominal value of this point"
    if reference is None:
        return (
            False,
            "too low was not judged: this aircraft has no baseline yet and the point no nominal value",
        )
    expected = reference * point.compensation
    if value >= expected * point.low_share:
        return False, ""
    percent = plain((100 * value / expected).quantize(Decimal("0.1")))
    share = plain(100 * point.low_share)
    return True, f"too low: {percent} % of {name} at this temperature, under {share} %"
