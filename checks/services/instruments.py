"""Which instrument may serve a step on a day, and why another may not."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.db.models.functions import Lower

from checks.engine.limits import plain
from checks.engine.units import from_canonical, to_canonical, unit_of
from checks.models import Step
from fleet.models import Base, Calibration, Instrument

JUDGED_BY = ("calibrations", "findings")


@dataclass(frozen=True)
class Choice:
    """One instrument for a step: usable on the day, or why not; the calibration that covers the day."""

    instrument: Instrument
    calibration: Calibration | None
    why_not: str = ""

    @property
    def ok(self) -> bool:
        return not self.why_not


def allowed_instruments(step: Step, on: dt.date, base: Base | None = None) -> list[Choice]:
    """Every instrument of the kind that the step asks for, usable ones first, then those of the base.

    Three queries. Empty where the step asks for no instrument.
    """
    if not step.instrument_kind:
        return []
    instruments = Instrument.objects.filter(kind=step.instrument_kind).prefetch_related(*JUDGED_BY)
    choices = [choice_for(step, instrument, on) for instrument in instruments]
    at = base.pk if base else None
    return sorted(choices, key=lambda c: (not c.ok, c.instrument.base_id != at, c.instrument.code))


def of_codes(codes: Iterable[str]) -> dict[str, Instrument]:
    """Instruments by code in small letters, whatever case was typed. Three queries, none without a code."""
    wanted = {code.lower() for code in codes if code}
    if not wanted:
        return {}
    found = Instrument.objects.annotate(small=Lower("code")).filter(small__in=wanted)
    return {one.code.lower(): one for one in found.prefetch_related(*JUDGED_BY)}


def choice_for(step: Step, instrument: Instrument, on: dt.date) -> Choice:
    """Judge one instrument. No query where what JUDGED_BY names was fetched with it."""
    calibration, why_not = _calibration(instrument, on)
    if instrument.kind != step.instrument_kind:
        wanted = Instrument.Kind(step.instrument_kind).label if step.instrument_kind else "no instrument"
        why_not = f"{instrument.code} is a {instrument.get_kind_display()}; this step asks for: {wanted}."
    elif step.unit and unit_of(instrument.unit).quantity != unit_of(step.unit).quantity:
        why_not = f"{instrument.code} reads {unit_of(instrument.unit).quantity}; use another one."
    elif not instrument.in_use:
        why_not = f"{instrument.code} is out of use; take another one."
    return Choice(instrument, calibration, why_not)


def out_of_range(instrument: Instrument, value: Decimal) -> str:
    """Why a canonical value can't come from the instrument, or an empty text."""
    unit = unit_of(instrument.unit)
    low, high = (to_canonical(v, instrument.unit) for v in (instrument.range_low, instrument.range_high))
    if low <= value <= high:
        return ""
    shown = plain(from_canonical(value, instrument.unit))
    span = f"{plain(instrument.range_low)} to {plain(instrument.range_high)} {unit.label}"
    return (
        f"{shown} {unit.label} is outside the range of {instrument.code} ({span}); read again or change it."
    )


def _calibration(instrument: Instrument, on: dt.date) -> tuple[Calibration | None, str]:
    """The newest calibration done by the day, and why it doesn't cover the day."""
    newest = _newest(instrument.calibrations.all(), on)
    if not instrument.needs_calibration:
        return newest, _found_bad(instrument, newest, on)
    code = instrument.code
    if newest is None:
        return None, f"{code} has no calibration on file for {on:%d %b %Y}; take another one."
    if newest.result == Calibration.Result.FAILED:
        return None, f"{code} failed its calibration on {newest.calibrated_on:%d %b %Y}; take another one."
    if newest.due_on < on:
        return (
            None,
            f"{code} is out of calibration: it was due on {newest.due_on:%d %b %Y}; take another one.",
        )
    return newest, _found_bad(instrument, newest, on)


def _found_bad(instrument: Instrument, newest: Calibration | None, on: dt.date) -> str:
    """Words where it was found out of calibration before the day and not calibrated since.

    Work up to the day of the finding may still be sent in: it was done in good faith, and is in doubt.
    """
    calibrated = newest.calibrated_on if newest else dt.date.min
    found = [f.found_on for f in instrument.findings.all() if calibrated < f.found_on < on]
    if not found:
        return ""
    return f"{instrument.code} was found out of calibration on {max(found):%d %b %Y}; take another one."


def _newest(calibrations: Iterable[Calibration], on: dt.date) -> Calibration | None:
    done = [c for c in calibrations if c.calibrated_on <= on]
    return max(done, key=lambda c: c.calibrated_on, default=None)
