"""When a timed series has settled, and whether it passed a ceiling after a stated time.

Values and resolution share one unit, best the gauge's own. The clock starts with the pump.
Common practice, no source: one value a minute until three in a row agree.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

from checks.engine.units import CANONICAL_STEP, plain, shown

TIME_ZERO = "time zero"
COUNTED = "counted"
NEW_RUN = "starts a new run (off cadence)"
SETTLED = "settled here"
AFTER = "after settling"
DEPARTS = "after settling, departs"
NOT_JUDGED = "not judged"
# Values and resolution brought from psi to kPa carry the rounding of the canonical grid: not a disagreement.
_ROUNDING = 2 * CANONICAL_STEP


@dataclass(frozen=True)
class Sample:
    """One value of a series, elapsed_s seconds after the pump started."""

    elapsed_s: Decimal
    value: Decimal


@dataclass(frozen=True)
class Settled:
    """Whether a series settled; value, index and elapsed_s are those of the last of the agreeing readings."""

    settled: bool
    value: Decimal | None
    index: int | None
    elapsed_s: Decimal | None
    marks: tuple[str, ...]
    reason: str


@dataclass(frozen=True)
class Ceiling:
    """Whether readings at or past a time passed a limit. judged is False where there was none to look at."""

    judged: bool
    breached: bool
    first_breach: Sample | None
    looked_at: tuple[Sample, ...]
    reason: str


def settle(
    samples: Sequence[Sample],
    *,
    cadence_s: Decimal | int = 60,
    resolution: Decimal,
    tolerance_s: Decimal | int = 10,
    needed: int = 3,
) -> Settled:
    """Find the first reading at which `needed` values in a row agree: max - min <= resolution / 2.

    A value at time zero is kept and does not count. Cadence runs from the previous reading; more than
    tolerance_s off it breaks the run, and a new run starts at that reading. Later readings never unsettle,
    but one that departs is marked. ValueError for a resolution, cadence or count that makes no sense.
    """
    if resolution <= 0 or cadence_s <= 0 or tolerance_s < 0 or needed < 2:
        raise ValueError(
            "resolution and cadence must be more than 0, tolerance not negative, needed at least 2"
        )
    fault = order_fault(samples)
    if fault:
        return Settled(False, None, None, None, tuple(NOT_JUDGED for _ in samples), fault)
    half = resolution / 2 + _ROUNDING
    marks: list[str] = []
    run: list[Decimal] = []
    for index, sample in enumerate(samples):
        previous = samples[index - 1].elapsed_s if index else Decimal(0)
        marks.append(_mark(sample, previous, first=not run, cadence_s=cadence_s, tolerance_s=tolerance_s))
        if marks[-1] == TIME_ZERO:
            continue
        run = [sample.value] if marks[-1] == NEW_RUN else [*run, sample.value]
        if len(run) >= needed and max(run[-needed:]) - min(run[-needed:]) <= half:
            marks[-1] = SETTLED
            tail = [AFTER if abs(s.value - sample.value) <= half else DEPARTS for s in samples[index + 1 :]]
            reason = f"{needed} readings in a row agree at {plain(sample.elapsed_s)} s"
            if DEPARTS in tail:
                reason += "; a later reading departs from them"
            return Settled(True, sample.value, index, sample.elapsed_s, (*marks, *tail), reason)
    return Settled(False, None, None, None, tuple(marks), _why_not(run, needed, resolution))


def ceiling(
    samples: Sequence[Sample], *, after_s: Decimal | int, limit: Decimal, unit: str | None = None
) -> Ceiling:
    """Look at the first reading at or past after_s and every later one; a breach is a value above limit.

    unit (UCUM): where values are canonical, what the reason speaks in.
    """
    looked_at = tuple(s for s in sorted(samples, key=lambda s: s.elapsed_s) if s.elapsed_s >= after_s)
    if not looked_at:
        reason = f"no reading at or past {plain(Decimal(after_s))} s: not judged"
        return Ceiling(False, False, None, (), reason)
    first = next((s for s in looked_at if s.value > limit), None)
    if first is None:
        reason = f"no reading from {plain(looked_at[0].elapsed_s)} s on is above {shown(limit, unit)}"
        return Ceiling(True, False, None, looked_at, reason)
    reason = f"{shown(first.value, unit)} at {plain(first.elapsed_s)} s is above {shown(limit, unit)}"
    return Ceiling(True, True, first, looked_at, reason)


def order_fault(samples: Sequence[Sample]) -> str | None:
    """What is wrong with the order of a series, or None: times rise and start with the pump."""
    if samples and samples[0].elapsed_s < 0:
        return "a reading lies before the start of the pump; correct its time"
    for a, b in pairwise(samples):
        if b.elapsed_s <= a.elapsed_s:
            late, early = plain(a.elapsed_s), plain(b.elapsed_s)
            return f"the reading at {early} s follows one at {late} s; correct the times"
    return None


def _mark(
    sample: Sample, previous: Decimal, *, first: bool, cadence_s: Decimal | int, tolerance_s: Decimal | int
) -> str:
    if sample.elapsed_s == 0:
        return TIME_ZERO
    if first:  # whenever it comes, the first reading after time zero is the first of a run
        return COUNTED
    off = abs(sample.elapsed_s - previous - cadence_s)
    return NEW_RUN if off > tolerance_s else COUNTED


def _why_not(run: list[Decimal], needed: int, resolution: Decimal) -> str:
    if len(run) < needed:
        return f"not settled: {needed} readings in a row must agree, the present run has {len(run)}"
    spread = max(run[-needed:]) - min(run[-needed:])
    allowed = f"half the resolution, {plain(resolution / 2)}"
    return f"not settled: the last {needed} readings differ by {plain(spread)}, more than {allowed}"
