"""Comparison with a limit: the plain comparison decides, expanded uncertainty only marks what lies close.

Guard band w = U (k = 2) after ILAC-G8:09/2019 4.2.2, used for the mark 'borderline' only. Rectangular
distributions: half-width a gives u = a/sqrt(3), resolution d gives u = d/sqrt(12) (GUM 4.3.7, F.2.2.1).
"""

from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from checks.engine.limits import Limit
from checks.engine.units import CANONICAL_STEP, EXACT, plain, shown

WITHIN = "within limit"
BORDERLINE = "borderline"
OVER = "over limit"
UNDER = "under limit"
ACCURACY_KINDS = ("full_scale_percent", "reading_percent", "absolute")
_ZERO = Decimal(0)


@dataclass(frozen=True)
class InstrumentAccuracy:
    """What an instrument's papers say: +/- amount (percent, or canonical units when absolute), resolution."""

    kind: str
    amount: Decimal
    full_scale: Decimal | None = None
    resolution: Decimal = _ZERO

    def half_width(self, value: Decimal) -> Decimal:
        """Greatest error (+/-) at a value, canonical units."""
        if self.amount < 0 or self.resolution < 0:
            raise ValueError("accuracy and resolution cannot be negative")
        if self.kind == "absolute":
            return self.amount
        if self.kind == "reading_percent":
            return self.amount * abs(value) / 100
        if self.kind == "full_scale_percent":
            if self.full_scale is None:
                raise ValueError("an accuracy in percent of full scale needs the full scale")
            return self.amount * abs(self.full_scale) / 100
        raise ValueError(f"kind of accuracy {self.kind!r} is not known; use {', '.join(ACCURACY_KINDS)}")

    def standard_uncertainty(self, value: Decimal) -> Decimal:
        """u from accuracy and resolution at a value, canonical units."""
        a, d = self.half_width(value), self.resolution
        return EXACT.sqrt(EXACT.add(EXACT.divide(a * a, Decimal(3)), EXACT.divide(d * d, Decimal(12))))


@dataclass(frozen=True)
class Judgement:
    """A value beside its nearest limit; margin is positive inside, negative outside, canonical units."""

    outcome: str
    margin: Decimal
    limit: Decimal
    side: str  # 'upper' or 'lower': which limit is meant
    uncertainty: Decimal
    reason: str


def combined(*uncertainties: Decimal) -> Decimal:
    """Root sum of squares of independent standard uncertainties."""
    total = _ZERO
    for u in uncertainties:
        total = EXACT.add(total, EXACT.multiply(u, u))
    return EXACT.sqrt(total)


def collected_flow_uncertainty(
    volume_ml: Decimal, seconds: Decimal, vessel: InstrumentAccuracy, seconds_u: Decimal = Decimal(1)
) -> Decimal:
    """Standard uncertainty (mL/min) of a timed collection, from the vessel and the stopping of the clock."""
    if seconds <= 0:
        raise ValueError("the collection time must be more than 0 s")
    per_minute = EXACT.divide(Decimal(60), seconds)
    from_volume = vessel.standard_uncertainty(volume_ml) * per_minute
    from_time = EXACT.divide(volume_ml * per_minute * seconds_u, seconds)
    return combined(from_volume, from_time)


def expanded_from(
    standard_u: Decimal, *, temperature_u: Decimal = _ZERO, limit_slope: Decimal = _ZERO, k: Decimal | int = 2
) -> Decimal:
    """U = k sqrt(u^2 + (slope u_t)^2), rounded up to the canonical grid.

    temperature_u: standard uncertainty of the fluid temperature (Cel). limit_slope: change of the limit per
    °C (limits.slope_at): a wrong temperature reads the wrong limit, which counts like an error of the value.
    """
    return (k * combined(standard_u, limit_slope * temperature_u)).quantize(CANONICAL_STEP, ROUND_CEILING)


def expanded_uncertainty(
    value: Decimal,
    accuracy: InstrumentAccuracy,
    *,
    temperature_u: Decimal = _ZERO,
    limit_slope: Decimal = _ZERO,
    k: Decimal | int = 2,
) -> Decimal:
    """U of a value read on one instrument; see expanded_from."""
    u = accuracy.standard_uncertainty(value)
    return expanded_from(u, temperature_u=temperature_u, limit_slope=limit_slope, k=k)


def judge(value: Decimal, limit: Limit, U: Decimal, *, unit: str | None = None) -> Judgement:
    """Compare a canonical value with its limits. Over is over, under is under, whatever U.

    Borderline: limit - U < value <= limit, and mirrored for a lower limit. unit (UCUM): what the reason
    speaks in; all else is canonical. ValueError for a negative U or a limit without sides.
    """
    if U < 0:
        raise ValueError("an uncertainty cannot be negative")
    sides = []
    if limit.upper is not None:
        sides.append((limit.upper - value, limit.upper, "upper"))
    if limit.lower is not None:
        sides.append((value - limit.lower, limit.lower, "lower"))
    if not sides:
        raise ValueError("there is no limit to compare with")
    margin, nearest, side = min(sides, key=lambda s: s[0])
    at = f"{side} limit {shown(nearest, unit)} at {plain(limit.temperature)} °C"
    words = f"{shown(value, unit)} against {at}"
    by = shown(abs(margin), unit, difference=True)
    if margin < 0:
        outcome = OVER if side == "upper" else UNDER
        reason = f"{words}: outside by {by}"
    elif margin < U:
        outcome = BORDERLINE
        reason = f"{words}: inside by {by}, closer than the uncertainty {shown(U, unit, difference=True)}"
    else:
        outcome = WITHIN
        reason = f"{words}: inside by {by}"
    return Judgement(outcome, margin, nearest, side, U, reason)
