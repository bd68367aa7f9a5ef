"""Which readings of a series came in time, which came late, and which never came.

A reading falls due one cadence after the one before it (the first: after the pump's start), as settle has it.
Where the gap is longer, further readings fell due in it, a cadence apart: the last one whose time had come
(tolerance included) is the one that was read, those before it were missed. A mark is for the eye; what it
means for 'settled' is settle's to say.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal
from itertools import chain, pairwise

from checks.engine.settle import NOT_JUDGED, TIME_ZERO, Sample, order_fault

ON_TIME = "on time"
EARLY = "early"
LATE = "late"
WAITING = "waiting"
DUE = "due now"
OVERDUE = "overdue"


@dataclass(frozen=True)
class Timing:
    """One reading: when it was due and how far off it came (s, negative: early), with its mark."""

    elapsed_s: Decimal
    due_s: Decimal | None
    off_s: Decimal | None
    mark: str


@dataclass(frozen=True)
class Course:
    """A series against its cadence at a moment: missed holds the times at which no reading was taken.

    next_s and state: the reading asked for now, which is waiting, due now or overdue; None and 'not judged'
    where the times are out of order.
    """

    readings: tuple[Timing, ...]
    missed: tuple[Decimal, ...]
    next_s: Decimal | None
    state: str


def course(
    samples: Sequence[Sample],
    *,
    now_s: Decimal | int,
    cadence_s: Decimal | int = 60,
    tolerance_s: Decimal | int = 10,
) -> Course:
    """Look at a series now_s seconds after the pump started, or at its end.

    ValueError for a cadence or tolerance that makes no sense.
    """
    if cadence_s <= 0 or tolerance_s < 0:
        raise ValueError("cadence must be more than 0, tolerance not negative")
    cadence, tolerance = Decimal(cadence_s), Decimal(tolerance_s)
    if order_fault(samples):
        unknown = tuple(Timing(s.elapsed_s, None, None, NOT_JUDGED) for s in samples)
        return Course(unknown, (), None, NOT_JUDGED)
    times = [s.elapsed_s for s in samples]
    readings: list[Timing] = []
    missed: list[Decimal] = []
    for before, at in pairwise(chain([Decimal(0)], times)):
        if at == 0:
            readings.append(Timing(at, at, Decimal(0), TIME_ZERO))
            continue
        turn = max(_turn(at - before, cadence, tolerance), 1)
        missed += [before + k * cadence for k in range(1, turn)]
        readings.append(_timing(at, before + turn * cadence, tolerance))
    last, now = (times[-1] if times else Decimal(0)), Decimal(now_s)
    turn = max(_turn(now - last, cadence, tolerance), 1)
    missed += [last + k * cadence for k in range(1, turn)]
    due = last + turn * cadence
    state = {EARLY: WAITING, ON_TIME: DUE, LATE: OVERDUE}[_timing(now, due, tolerance).mark]
    return Course(tuple(readings), tuple(missed), due, state)


def _turn(gap: Decimal, cadence: Decimal, tolerance: Decimal) -> int:
    """How many readings had fallen due in a gap, the one that may just be taken included."""
    if abs(gap - cadence) <= tolerance:  # a wide tolerance must not make the next one out of this one
        return 1
    return int(((gap + tolerance) / cadence).to_integral_value(ROUND_FLOOR))


def _timing(at: Decimal, due: Decimal, tolerance: Decimal) -> Timing:
    off = at - due
    mark = ON_TIME if abs(off) <= tolerance else EARLY if off < 0 else LATE
    return Timing(at, due, off, mark)
