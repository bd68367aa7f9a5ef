"""Which instruments a step of a check offers, and which it does not, each with the reason."""

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from checks.engine.limits import LimitTable
from checks.engine.units import difference_to_canonical, plain, to_canonical, unit_of
from checks.forms.check_text import shared_place
from checks.models import Step
from checks.services.instruments import JUDGED_BY, choice_for, of_codes
from fleet.models import Base, Instrument

_STEPS = 10  # of an instrument, that a limit should be worth


@dataclass(frozen=True)
class Offer:
    """An instrument to choose; unit: what it reads in (UCUM)."""

    key: str
    label: str
    unit: str
    code: str


@dataclass(frozen=True)
class Offers:
    """What a step offers, and the reasons why it does not offer the others of the kind."""

    chosen: tuple[Offer, ...] = ()
    refused: tuple[str, ...] = ()


def instruments_for(steps: Iterable[Step]) -> list[Instrument]:
    """Every instrument of the kinds that the steps ask for, with its calibrations. Two queries."""
    kinds = {step.instrument_kind for step in steps} - {""}
    return list(Instrument.objects.filter(kind__in=kinds).prefetch_related(*JUDGED_BY)) if kinds else []


def offers(
    step: Step,
    instruments: Iterable[Instrument],
    *,
    on: dt.date,
    base: Base,
    tables: Mapping[int, LimitTable],
) -> Offers:
    """In calibration on the day; those that read as far as every limit first, then those of the base.

    One that may be too short or too coarse stays, with a note, after the others: on a warm day the limit may
    lie inside its range. No query.
    """
    highest = highest_value(step, tables)
    lowest = lowest_value(step, tables)
    chosen, refused = [], []
    for instrument in sorted(instruments, key=lambda i: (i.base_id != base.pk, i.code)):
        if instrument.kind != step.instrument_kind:
            continue
        choice = choice_for(step, instrument, on)
        if choice.why_not:
            refused.append(choice.why_not)
            continue
        due = choice.calibration.due_on if choice.calibration and instrument.needs_calibration else None
        note = f"due {due:%d %b %Y}" if due else "needs none"
        doubts = (falls_short(instrument, highest), too_coarse(instrument, lowest))
        label = ", ".join(part for part in (instrument.code, note, *doubts) if part)
        chosen.append((any(doubts), Offer(str(instrument.pk), label, instrument.unit, instrument.code)))
    return Offers(tuple(offer for _, offer in sorted(chosen, key=lambda c: c[0])), tuple(refused))


def highest_value(step: Step, tables: Mapping[int, LimitTable]) -> Decimal | None:
    """The highest limit that a value of the step may meet, canonical; None where it has none."""
    return max(_limits(step, tables), default=None)


def lowest_value(step: Step, tables: Mapping[int, LimitTable]) -> Decimal | None:
    """The lowest limit above nothing that a value of the step may meet, canonical; None where it has none."""
    return min((value for value in _limits(step, tables) if value > 0), default=None)


def _limits(step: Step, tables: Mapping[int, LimitTable]) -> list[Decimal]:
    table = tables.get(step.point_id) if step.point_id else None
    limits = [v for row in table.rows for v in (row.lower, row.upper) if v is not None] if table else []
    if step.kind == Step.Kind.TIMED_COLLECTION:  # its table limits the flow, its vessel holds a volume
        return [value * (step.duration_seconds or 60) / 60 for value in limits]
    return limits if step.ceiling is None else [*limits, to_canonical(step.ceiling, step.unit)]


def falls_short(instrument: Instrument, highest: Decimal | None) -> str:
    """A note where an instrument can't show that the highest limit is passed, or an empty text."""
    if highest is None or to_canonical(instrument.range_high, instrument.unit) >= highest:
        return ""
    return f"reads to {plain(instrument.range_high)} {unit_of(instrument.unit).label} only"


def too_coarse(instrument: Instrument, lowest: Decimal | None) -> str:
    """A note where the steps of an instrument are more than a tenth of the lowest limit, or an empty text.

    A tenth: common practice in measuring, no source. Its uncertainty counts the resolution in any case.
    """
    step = difference_to_canonical(instrument.resolution, instrument.unit)
    if lowest is None or step * _STEPS <= lowest:
        return ""
    return f"coarse: in steps of {plain(instrument.resolution)} {unit_of(instrument.unit).label}"


def by_codes(steps: Iterable[Step], text: Mapping[str, str], on: dt.date) -> dict[str, str]:
    """What typed codes choose: instrument and unit of the step, the code itself taken away.

    A code of none that may serve stays; saving it says why. Three queries, none without a code.
    """
    typed = {step: text.get(f"{shared_place(step)}-code", "").strip() for step in steps}
    found = of_codes(typed.values())
    fields: dict[str, str] = {}
    for step, code in typed.items():
        instrument = found.get(code.lower())
        if instrument and choice_for(step, instrument, on).ok:
            place = shared_place(step)
            fields |= {f"{place}-instrument": str(instrument.pk), f"{place}-unit": instrument.unit}
            fields[f"{place}-code"] = ""
    return fields


@dataclass(frozen=True)
class Preset:
    """A scanned instrument in a form: the fields that it sets, at which steps, or why at none."""

    instrument: Instrument
    fields: Mapping[str, str]
    steps: tuple[int, ...]
    why_not: str = ""


def preset(
    code: str,
    steps: Iterable[Step],
    text: Mapping[str, str],
    *,
    on: dt.date,
    tables: Mapping[int, LimitTable],
) -> Preset | None:
    """Choose an instrument wherever it may serve and nothing is read yet; None: no such instrument.

    Where it reads as far as the limits of some steps only, it is chosen for those. At most three queries.
    """
    instrument = Instrument.objects.filter(code=code).prefetch_related(*JUDGED_BY).first() if code else None
    if instrument is None:
        return None
    asking = [step for step in steps if step.instrument_kind == instrument.kind]
    choices = [(step, choice_for(step, instrument, on)) for step in asking]
    usable = [step for step, choice in choices if choice.ok]
    if not usable:
        kind = instrument.get_kind_display()
        why_not = choices[0][1].why_not if choices else f"This check asks for no {kind}."
        return Preset(instrument, {}, (), why_not)
    long_enough = [step for step in usable if not falls_short(instrument, highest_value(step, tables))]
    chosen = [step for step in long_enough or usable if not _read(step, text)]
    if not chosen:
        return Preset(instrument, {}, (), "Every step that it could serve has its reading already.")
    fields = {}
    for step in chosen:
        place = shared_place(step)
        fields |= {f"{place}-instrument": str(instrument.pk), f"{place}-unit": instrument.unit}
    return Preset(instrument, fields, tuple(step.number for step in chosen))


def _read(step: Step, text: Mapping[str, str]) -> bool:
    """Whether a value of the step is typed already."""
    names = (name for name in text if name.startswith(f"reading-{step.pk}-") and name.endswith("-typed"))
    return any(text[name] for name in names)
