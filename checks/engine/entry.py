"""Whether a reading just taken is plausible beside what the point's own history foretells.

A first look while the person still stands at the aircraft: it asks for a repeat and decides nothing. Exact
decimals, so that the phone reckons the same (checks/static/checks/run/rules.js, held to shared vectors).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from fractions import Fraction
from itertools import pairwise

from checks.engine.units import CANONICAL_PLACES, from_canonical, plain, unit_of

#: so many readings in the life that runs now before anything is expected of the next one
NEEDED = 2
DIGITS = 3
MOST_PLACES = 5


@dataclass(frozen=True)
class Expected:
    """What a reading should be at one temperature (Cel): low to high, canonical; middle the likeliest."""

    temperature: Decimal
    low: Decimal
    middle: Decimal
    high: Decimal


@dataclass(frozen=True)
class Taken:
    """One value as read, canonical, with what was expected of it (None: nothing is known).

    follows: the point follows the fluid, so that a misread fluid temperature moves it.
    """

    value: Decimal
    expected: Expected | None
    follows: bool

    @property
    def implausible(self) -> bool:
        e = self.expected
        return e is not None and not e.low <= self.value <= e.high

    @property
    def strays(self) -> int:
        """1: high, -1: low by more than half of what is allowed; 0: neither."""
        e = self.expected
        if e is None:
            return 0
        if 2 * self.value > e.middle + e.high:
            return 1
        return -1 if 2 * self.value < e.middle + e.low else 0


@dataclass(frozen=True)
class Asked:
    """What to ask about one check: readings, by their place among those given, or once the temperature.

    together: places of the readings that stray the same way, direction: 1 high, -1 low, 0 none.
    """

    readings: tuple[int, ...]
    together: tuple[int, ...]
    direction: int


def expected_at(rows: Sequence[Expected], temperature: Decimal) -> Expected | None:
    """What is expected at a temperature: a straight line between two rows. None beyond them."""
    ordered = sorted(rows, key=lambda row: row.temperature)
    exact = next((row for row in ordered if row.temperature == temperature), None)
    if exact:
        return exact
    for a, b in pairwise(ordered):
        if a.temperature < temperature < b.temperature:
            sides = ((a.low, b.low), (a.middle, b.middle), (a.high, b.high))
            return Expected(temperature, *(_between(a, b, temperature, side) for side in sides))
    return None


def ask(taken: Sequence[Taken]) -> Asked:
    """Which readings to ask about.

    Where all points that follow the fluid, two or more, stray the same way, the fluid is likelier to be
    colder or warmer than was read than all points to have changed: that is asked once, for all of them.
    """
    fluid = [n for n, one in enumerate(taken) if one.follows and one.expected is not None]
    ways = {taken[n].strays for n in fluid}
    doubtful = tuple(n for n, one in enumerate(taken) if one.implausible)
    if len(fluid) < 2 or len(ways) != 1 or ways == {0} or not set(fluid) & set(doubtful):
        return Asked(doubtful, (), 0)
    return Asked(tuple(n for n in doubtful if n not in fluid), tuple(fluid), ways.pop())


def reading_words(taken: Taken, unit: str) -> str:
    """'expected 92 to 108 kPa at 12 °C on this aircraft; read 131'. unit: UCUM, of the reading."""
    e = taken.expected
    if e is None:
        raise ValueError("nothing is expected of this reading")
    low, high = from_canonical(e.low, unit), from_canonical(e.high, unit)
    places = _places(high)
    read = _at(from_canonical(taken.value, unit), min(places + 1, MOST_PLACES), ROUND_HALF_EVEN)
    # Rounded inwards: what is outside never looks as if it were inside.
    least, most = _at(low, places, ROUND_CEILING), _at(high, places, ROUND_FLOOR)
    label, t = unit_of(unit).label, plain(e.temperature)
    return f"expected {least} to {most} {label} at {t} °C on this aircraft; read {read}"


def temperature_words(number: int, direction: int, temperature: Decimal) -> str:
    """Of readings that stray together: 'all 8 readings are higher than expected at 12 °C ...'."""
    way, fluid = ("higher", "colder") if direction > 0 else ("lower", "warmer")
    return (
        f"all {number} readings that follow the fluid are {way} than expected at {plain(temperature)} °C "
        f"on this aircraft: is the fluid {fluid} than that?"
    )


def _between(a: Expected, b: Expected, t: Decimal, side: tuple[Decimal, Decimal]) -> Decimal:
    """Exact, then once rounded half to even."""
    share = Fraction(t - a.temperature) / Fraction(b.temperature - a.temperature)
    value = Fraction(side[0]) + (Fraction(side[1]) - Fraction(side[0])) * share
    return Decimal(round(value * 10**CANONICAL_PLACES)).scaleb(-CANONICAL_PLACES)


def _places(value: Decimal) -> int:
    """Decimal places that leave three digits of a value."""
    return min(max(DIGITS - 1 - value.adjusted(), 0), MOST_PLACES) if value else 0


def _at(value: Decimal, places: int, rounding: str) -> str:
    return plain(value.quantize(Decimal(1).scaleb(-places), rounding=rounding))
