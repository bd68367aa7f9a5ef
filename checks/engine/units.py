"""Units of the trade by UCUM code, and the reading of a typed number.

Canonical units: kPa (gauge), mL/min, mL, Cel, s, V, %. Everything is Decimal. Canonical values lie on a
grid of CANONICAL_PLACES decimal places, so that a reading and a limit typed alike in the same unit are
equal after conversion and after storage: a limit of 25 psi is met, not passed, by a reading of 25 psi.
"""

import re
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Context, Decimal

CANONICAL_PLACES = 6
CANONICAL_STEP = Decimal(1).scaleb(-CANONICAL_PLACES)
TYPED_PLACES = 5  # one less than the grid: there and back is exact for anything typed with so many places
TYPED_STEP = Decimal(1).scaleb(-TYPED_PLACES)
EXACT = Context(prec=40, rounding=ROUND_HALF_EVEN)
LONGEST_NUMBER = 24  # characters; no instrument shows more


@dataclass(frozen=True)
class Unit:
    """One unit: canonical value = (value - zero) * times / over."""

    code: str  # UCUM
    quantity: str
    label: str  # for screens and paper
    times: Decimal = Decimal(1)
    over: Decimal = Decimal(1)
    zero: Decimal = Decimal(0)


# Exact definitions (NIST SP 811 B.8): pound-force 4.4482216152605 N, inch 0.0254 m, gallon 231 cubic inches.
_GALLON_ML = Decimal("3785.411784")
_OUNCE_ML = Decimal("29.5735295625")
_60 = Decimal(60)

UNITS: dict[str, Unit] = {
    unit.code: unit
    for unit in (
        Unit("kPa", "pressure", "kPa"),
        Unit("bar", "pressure", "bar", Decimal(100)),
        Unit("[psi]", "pressure", "psi", Decimal("4.4482216152605"), Decimal("0.64516")),
        Unit("mL/min", "flow", "mL/min"),
        Unit("L/min", "flow", "L/min", Decimal(1000)),
        Unit("L/h", "flow", "L/h", Decimal(1000), _60),
        Unit("[foz_us]/min", "flow", "US fl oz/min", _OUNCE_ML),
        Unit("[gal_us]/min", "flow", "US gal/min", _GALLON_ML),
        Unit("[gal_us]/h", "flow", "US gal/h", _GALLON_ML, _60),
        Unit("mL", "volume", "mL"),
        Unit("L", "volume", "L", Decimal(1000)),
        Unit("[foz_us]", "volume", "US fl oz", _OUNCE_ML),
        Unit("[gal_us]", "volume", "US gal", _GALLON_ML),
        Unit("Cel", "temperature", "°C"),
        Unit("[degF]", "temperature", "°F", Decimal(5), Decimal(9), Decimal(32)),
        Unit("s", "time", "s"),
        Unit("min", "time", "min", _60),
        Unit("h", "time", "h", Decimal(3600)),
        Unit("V", "voltage", "V"),
        Unit("%", "ratio", "%"),
    )
}
QUANTITIES = ("pressure", "flow", "volume", "temperature", "time", "voltage", "ratio")
#: A gauge may read under the pressure of the air and a thermometer under zero; these can't.
NEVER_NEGATIVE = ("flow", "volume", "time")
_CANONICAL = {
    "pressure": "kPa",
    "flow": "mL/min",
    "volume": "mL",
    "temperature": "Cel",
    "time": "s",
    "voltage": "V",
    "ratio": "%",
}
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)")
_GROUPED = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")


def unit_of(code: str) -> Unit:
    """The unit with this UCUM code. ValueError, naming the known codes, where there is none."""
    try:
        return UNITS[code]
    except KeyError:
        raise ValueError(f"unit {code!r} is not known; known units: {', '.join(UNITS)}") from None


def units_for(quantity: str) -> tuple[Unit, ...]:
    """The units in which a quantity may be typed, the canonical one first."""
    return tuple(unit for unit in UNITS.values() if unit.quantity == quantity)


def canonical_unit(quantity: str) -> str:
    """UCUM code of the canonical unit of a quantity."""
    try:
        return _CANONICAL[quantity]
    except KeyError:
        raise ValueError(f"quantity {quantity!r} is not known; known: {', '.join(QUANTITIES)}") from None


def to_grid(value: Decimal) -> Decimal:
    """A value rounded (half to even) to the canonical grid."""
    return value.quantize(CANONICAL_STEP, context=EXACT)


def to_canonical(value: Decimal, unit: str) -> Decimal:
    """A value in its unit -> canonical units, on the canonical grid."""
    u = unit_of(unit)
    shifted = EXACT.subtract(value, u.zero)
    return to_grid(EXACT.divide(EXACT.multiply(shifted, u.times), u.over))


def from_canonical(value: Decimal, unit: str) -> Decimal:
    """A canonical value -> the unit asked for, to TYPED_PLACES decimal places."""
    u = unit_of(unit)
    plain = EXACT.add(EXACT.divide(EXACT.multiply(value, u.over), u.times), u.zero)
    return plain.quantize(TYPED_STEP, context=EXACT)


def difference_to_canonical(value: Decimal, unit: str) -> Decimal:
    """A difference (resolution, accuracy, margin) -> canonical units: no zero shift, so 9 °F is 5 °C."""
    u = unit_of(unit)
    return to_grid(EXACT.divide(EXACT.multiply(value, u.times), u.over))


def difference_from_canonical(value: Decimal, unit: str) -> Decimal:
    """A canonical difference -> the unit asked for, to TYPED_PLACES decimal places."""
    u = unit_of(unit)
    return EXACT.divide(EXACT.multiply(value, u.over), u.times).quantize(TYPED_STEP, context=EXACT)


def plain(value: Decimal) -> str:
    """A number for a sentence: no exponent, no trailing zeros, no minus before nothing."""
    text = format(value if value else value.copy_abs(), "f")
    return (text.rstrip("0").rstrip(".") if "." in text else text) or "0"


def shown(value: Decimal, unit: str | None, *, difference: bool = False) -> str:
    """A canonical value for a sentence, in a unit with its label; without a unit the bare number."""
    if unit is None:
        return plain(value)
    convert = difference_from_canonical if difference else from_canonical
    return f"{plain(convert(value, unit))} {unit_of(unit).label}"


def collected_flow(volume_ml: Decimal, seconds: Decimal) -> Decimal:
    """Flow in mL/min of a timed collection. ValueError where time is not positive or volume is negative."""
    if seconds <= 0:
        raise ValueError("the collection time must be more than 0 s")
    if volume_ml < 0:
        raise ValueError("the collected volume cannot be negative")
    return to_grid(EXACT.divide(EXACT.multiply(volume_ml, _60), seconds))


def parse_decimal(text: str, *, decimal_mark: str | None = None) -> Decimal:
    """A typed number -> Decimal with its digits as typed ('12,50' -> 12.50).

    Point or comma is taken as decimal mark; decimal_mark ('.' or ',') says which one a column declares and
    settles what is else ambiguous ('1,234'). ValueError says what is wrong and the way out.
    """
    shown = text.strip()
    plain = shown.replace("−", "-")
    if not plain:
        raise ValueError("nothing is typed; write a number such as 12.5")
    if len(plain) > LONGEST_NUMBER:
        raise ValueError(f"the number is longer than {LONGEST_NUMBER} characters; write fewer digits")
    if "." in plain and "," in plain:
        raise ValueError(f"{shown!r} holds a point and a comma; write one decimal mark only, as 1234.5")
    if not _NUMBER.fullmatch(plain):
        raise ValueError(f"{shown!r} is not a plain number; write digits with one decimal mark, as 12.5")
    other = {".": ",", ",": "."}.get(decimal_mark or "")
    if other and other in plain:
        raise ValueError(
            f"{shown!r} does not use the declared decimal mark {decimal_mark!r}; write it with that"
        )
    if decimal_mark is None and _GROUPED.fullmatch(plain):
        point, whole = plain.replace(",", "."), plain.replace(",", "")
        raise ValueError(f"{shown!r} can be read as {point} or as {whole}; write the one you mean")
    return Decimal(plain.replace(",", "."))
