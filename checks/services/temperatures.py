"""The fluid temperatures of one event, and which of them a value is judged by.

A check may ask for the temperature more than once, since the fluid warms as it runs. A value is judged by the
one read last before it; where none was, by the first one after it. A timed collection lies between two: both
hold, and the stricter result counts.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from checks.engine.point import FROM_MEMORY, MEASURED
from checks.models import CheckEvent, Reading, Step
from checks.services.values import AS_READ, Corrections, accuracy_of, corrected


@dataclass(frozen=True)
class Temperature:
    """One fluid temperature (°C) with its thermometer's uncertainty; reading None where there is none."""

    reading: Reading | None
    value: Decimal | None = None
    standard_u: Decimal = Decimal(0)
    source: str = MEASURED


@dataclass(frozen=True)
class Temperatures:
    """All of an event, in the order of its steps."""

    read: Sequence[Temperature]

    def before(self, step: Step) -> Temperature:
        """The one read last before a step, the first one after it where there is none."""
        earlier = [one for one in self.read if one.reading.step.number < step.number]
        return (earlier[-1:] or self.read[:1] or [Temperature(None)])[0]

    def of(self, step: Step) -> tuple[Temperature, ...]:
        """Those that hold for the value of a step: two around a timed collection, else one."""
        before = self.before(step)
        if step.kind != Step.Kind.TIMED_COLLECTION:
            return (before,)
        later = [one for one in self.read if one.reading.step.number > step.number]
        return (before, *(one for one in later[:1] if one is not before))


def temperatures_of(
    event: CheckEvent, readings: Iterable[Reading], corrections: Corrections = AS_READ
) -> Temperatures:
    """The fluid temperatures among an event's readings, which come with their step and instrument."""
    found = [r for r in readings if r.role == Reading.Role.TEMPERATURE]
    found.sort(key=lambda r: (r.step.number, r.sequence))
    source = FROM_MEMORY if event.temperature_from_memory else MEASURED
    return Temperatures([_temperature(one, source, corrections) for one in found])


def _temperature(reading: Reading, source: str, corrections: Corrections) -> Temperature:
    value = corrected(reading, corrections)
    accuracy = accuracy_of(reading.instrument)
    return Temperature(
        reading, value, accuracy.standard_uncertainty(value) if accuracy else Decimal(0), source
    )
