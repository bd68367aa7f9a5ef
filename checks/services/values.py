"""What a reading comes to in canonical units, and what its instrument's papers say of it."""

from collections.abc import Mapping
from decimal import Decimal

from checks.engine.conformity import InstrumentAccuracy
from checks.engine.units import difference_to_canonical, parse_decimal, to_canonical, unit_of
from checks.models import Reading
from fleet.models import Instrument

# "What if": what is added to every value of an instrument, by its key, as a canonical difference.
Corrections = Mapping[int, Decimal]
AS_READ: Corrections = {}


def canonical(reading: Reading) -> Decimal:
    """The value on the engine's own grid, from what was typed: the stored one has fewer places."""
    return to_canonical(parse_decimal(reading.typed), reading.unit)


def corrected(reading: Reading, corrections: Corrections) -> Decimal:
    """The canonical value with its instrument's correction; a volume never falls under nothing."""
    amount = corrections.get(reading.instrument_id) if reading.instrument_id else None
    if not amount:
        return canonical(reading)
    value = canonical(reading) + amount
    return max(value, Decimal(0)) if unit_of(reading.unit).quantity == "volume" else value


def accuracy_of(instrument: Instrument | None) -> InstrumentAccuracy | None:
    """What the instrument's papers say, in canonical units."""
    if instrument is None:
        return None
    absolute = instrument.accuracy_kind == Instrument.AccuracyKind.ABSOLUTE
    amount = instrument.accuracy
    return InstrumentAccuracy(
        kind="absolute" if absolute else instrument.accuracy_kind,
        amount=difference_to_canonical(amount, instrument.unit) if absolute else amount,
        full_scale=to_canonical(instrument.range_high, instrument.unit),
        resolution=difference_to_canonical(instrument.resolution, instrument.unit),
    )
