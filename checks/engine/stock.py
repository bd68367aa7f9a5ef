"""Stock in plain figures: what is there after all entries, and how far it serves what is needed."""

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

ADD, TAKE, COUNT = "add", "take", "count"
ZERO = Decimal(0)


@dataclass(frozen=True, order=True)
class Entry:
    """One thing that happened to a stock: on which day, entered when, and what it did to the amount."""

    on: date
    at: datetime
    kind: str
    amount: Decimal


def on_hand(entries: Iterable[Entry]) -> Decimal:
    """The amount after all entries in order of day and time of entry. A count says how much there is, so
    nothing before it matters. Below zero where more was taken than came: then the records are wrong."""
    amount = ZERO
    for entry in sorted(entries):
        if entry.kind == COUNT:
            amount = entry.amount
        else:
            amount += entry.amount if entry.kind == ADD else -entry.amount
    return amount


@dataclass(frozen=True)
class Lot:
    """What there is of one batch; it serves up to its last day, that day included."""

    key: Hashable
    expires: date
    amount: Decimal


@dataclass(frozen=True)
class Need:
    """What is wanted on a day."""

    on: date
    amount: Decimal


@dataclass(frozen=True)
class Cover:
    """How far lots serve needs: what is short in all, the first day on which it is, what stays of each lot,
    and how much passes its last day unused before the last need."""

    needed: Decimal
    short: Decimal
    short_on: date | None
    left: dict[Hashable, Decimal]
    lapsed: Decimal


def cover(lots: Sequence[Lot], needs: Iterable[Need]) -> Cover:
    """Serve the needs in order of day, each from the lot that expires first of those in date then."""
    order = sorted(lots, key=lambda lot: (lot.expires, str(lot.key)))
    left = {lot.key: max(lot.amount, ZERO) for lot in order}
    needed = short = ZERO
    short_on: date | None = None
    last = date.min
    for need in sorted(needs, key=lambda one: one.on):
        needed, last, wanted = needed + need.amount, need.on, need.amount
        for lot in order:
            if lot.expires >= need.on and wanted > 0:
                taken = min(left[lot.key], wanted)
                left[lot.key] -= taken
                wanted -= taken
        if wanted > 0:
            short += wanted
            short_on = short_on or need.on
    lapsed = sum((left[lot.key] for lot in order if lot.expires < last), ZERO)
    return Cover(needed, short, short_on, left, lapsed)
