"""How pages and paper word the error of an instrument and what it does to a check."""

from typing import Any

from checks.engine.units import from_canonical, plain, unit_of
from checks.models import InstrumentFinding
from checks.selectors.doubt import Doubt, Shift
from fleet.models import Instrument


def label_of(instrument: Instrument) -> str:
    return unit_of(instrument.unit).label


def error_words(finding: InstrumentFinding) -> str:
    """The error for a sentence, e.g. 'reads 9.5 kPa too low'."""
    if finding.error is None:
        return "not known"
    way = "high" if finding.error > 0 else "low"
    return f"reads {plain(abs(finding.error))} {label_of(finding.instrument)} too {way}"


def shift_words(shift: Shift) -> str:
    """One point in its own unit, e.g. 'system test port: 96 as read, 105.5 corrected, limit 100 kPa'."""
    point, recorded = shift.recorded.point, shift.recorded
    unit = unit_of(point.unit)

    def told(value: Any) -> str:
        return "no value" if value is None else plain(round(from_canonical(value, point.unit), 2))

    limits = " to ".join(told(v) for v in (recorded.lower, recorded.upper) if v is not None)
    limit = f", limit {limits}" if limits else ""
    values = f"{told(recorded.value)} as read, {told(shift.value)} corrected{limit}"
    return f"{point.name}: {values} {unit.label}"


def mark(doubt: Doubt) -> dict[str, Any]:
    """What the page of a check says of one doubt about it. No query."""
    return {
        "doubt": doubt,
        "error": error_words(doubt.finding),
        "shifts": [shift_words(shift) for shift in doubt.shifts],
    }
