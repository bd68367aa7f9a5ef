"""Repeat defects: the same place of one aircraft within a set number of days."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class Found:
    """One defect: its key, the day on which it was recorded and the places that it names."""

    key: int
    on: date
    places: frozenset[Hashable]


@dataclass(frozen=True)
class Repeat:
    """Another defect at one or more of the same places; days: positive where the other one came before."""

    of: int
    other: int
    days: int
    places: frozenset[Hashable]


def repeats(defects: Sequence[Found], *, within_days: int) -> list[Repeat]:
    """Every pair of defects of one aircraft that share a place within so many days, both ways round, the
    nearest in time first. A defect that names no place repeats nothing."""
    found = [
        Repeat(one.key, other.key, (one.on - other.on).days, one.places & other.places)
        for one in defects
        for other in defects
        if one.key != other.key and one.places & other.places and abs((one.on - other.on).days) <= within_days
    ]
    return sorted(found, key=lambda repeat: (repeat.of, abs(repeat.days), repeat.other))
