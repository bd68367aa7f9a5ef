"""When a check is due for the first time: an interval after entry into service, or at what was given."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal

from checks.engine.intervals import DAYS, HOURS, LANDINGS, MONTHS, Done, Due, Interval, Limb, next_due

NO_FIRST, FROM_ENTRY, GIVEN = "none", "entry", "given"


@dataclass(frozen=True)
class First:
    """How a task is first due. on, hours, landings: only with 'given', where at least one of them is."""

    kind: str = NO_FIRST
    on: date | None = None
    hours: Decimal | None = None
    landings: int | None = None

    def __post_init__(self) -> None:
        if self.kind not in (NO_FIRST, FROM_ENTRY, GIVEN):
            raise ValueError(f"first due {self.kind!r} is not known; use none, entry or given")
        if self.kind == GIVEN and self.on is None and self.hours is None and self.landings is None:
            raise ValueError("give the date, the hours or the landings of the first due point")


def first_due(first: First, interval: Interval, *, entry: date) -> Due:
    """The due point before anything was done; without limbs where none is set.

    From entry into service an aircraft counts as new, with 0 hours and 0 landings: one that came used is
    due rather early.
    """
    if first.kind == FROM_ENTRY:
        return next_due(replace(interval, once=False), Done(entry, Decimal(0), 0))
    return Due(tuple(_given(first, interval))) if first.kind == GIVEN else Due(())


def due_after(interval: Interval, first: First, history: Sequence[Done], *, entry: date) -> Due:
    """The due point after all that was done, oldest first: counting from the old point needs all of it."""
    due = first_due(first, interval, entry=entry)
    for done in history:
        due = next_due(interval, done, due if due.limbs else None)
    return due


def _given(first: First, interval: Interval) -> Iterator[Limb]:
    """Limbs at the given figures, each of a kind that the interval goes on from."""
    days = timedelta(days=interval.tolerance_days)
    if first.on is not None and (interval.days is not None or interval.months is None):
        yield Limb(DAYS, first.on, first.on + days)
    if first.hours is not None:
        yield Limb(HOURS, first.hours, first.hours + interval.tolerance_hours)
    if first.landings is not None:
        yield Limb(LANDINGS, first.landings, first.landings + interval.tolerance_landings)
    if first.on is not None and interval.months is not None:
        yield Limb(MONTHS, first.on, first.on + days, anchor=first.on, steps=0)
