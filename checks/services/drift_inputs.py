"""From the standing records to what the drift engine takes: readings, lives and references as arrays.

A series is one measuring point of one aircraft. Nothing is used that the records did not hold at the moment
asked for: neither later events nor later corrections, imports or decisions.
"""

import datetime as dt
import hashlib
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, fields, replace
from uuid import UUID

import numpy as np
from django.utils import timezone

from checks.engine.drift import HORIZON_DAYS, Lives, Readings, Reference
from checks.engine.drift_data import REPLACEMENT
from checks.models import CheckEvent
from checks.services.drift_doubt import doubted
from checks.services.drift_records import (
    Key,
    Read,
    days_of,
    followed,
    next_checks,
    readings_of,
    resets_of,
)

MIDDAY = 0.5


@dataclass(frozen=True)
class Life:
    """One part of a series. number: as the engine knows it; began: engine's day, None where no reset began
    it; first, last: of its readings."""

    number: int
    kind: str  # '' for the first
    began: float | None
    readings: int = 0
    first: float | None = None
    last: float | None = None


@dataclass(frozen=True, eq=False)
class DriftInputs:
    """What is known of the asked aircraft at one moment; days are date ordinals.

    keys: (aircraft, point) of each series number; events: of each check number; at: (series, day) of each
    reading -> check number; past: lives of each series, oldest first, the one that runs now last, readings
    or none in it; over (n,): outside its limit; questioned (n,): held against its forecast at entry;
    next_check: of each series, None where none is planned;
    in_doubt: events of each series whose reading is left out, for an instrument was found out of calibration.
    """

    now: float
    readings: Readings
    lives: Lives
    over: np.ndarray
    questioned: np.ndarray
    references: dict[int, Reference]
    keys: tuple[Key, ...]
    events: tuple[UUID, ...]
    past: tuple[tuple[Life, ...], ...]
    next_check: tuple[dt.date | None, ...]
    in_doubt: tuple[tuple[UUID, ...], ...]

    @property
    def horizons(self) -> dict[int, float]:
        """Days from now to the next check by series: none where it is due already, a default where none is
        planned."""
        today = int(self.now)
        return {
            series: HORIZON_DAYS if day is None else float(max(day.toordinal() - today, 0))
            for series, day in enumerate(self.next_check)
        }

    @property
    def check_at(self) -> dict[tuple[int, float], int]:
        """The check of each reading by series and day."""
        told = zip(self.readings.series.tolist(), self.readings.day.tolist(), strict=True)
        return dict(zip(told, self.readings.check.tolist(), strict=True))

    def digest(self) -> str:
        """SHA-256 over readings, lives and references of the whole."""
        made = hashlib.sha256()
        for aircraft, digest in sorted(self.digests().items()):
            made.update(f"{aircraft} {digest}\n".encode())
        return made.hexdigest()

    def digests(self) -> dict[int, str]:
        """SHA-256 by aircraft over what its scores rest on, whoever else was gathered with it."""
        rows = self.rows_by_series()
        lines: dict[int, list[str]] = defaultdict(list)
        for series, (aircraft, point) in enumerate(self.keys):
            lines[aircraft].append(
                repr(
                    (
                        point,
                        self.references[point],
                        rows[series],
                        [(life.kind, life.began) for life in self.past[series]],
                        [event.hex for event in self.in_doubt[series]],
                    )
                )
            )
        return {
            aircraft: hashlib.sha256("\n".join(sorted(told)).encode()).hexdigest()
            for aircraft, told in lines.items()
        }

    def rows_by_series(self) -> list[list[tuple]]:
        """Of each series its readings as plain values: event, day, temperature, value, gauge, step, over.

        One that was questioned at entry says so; all others are as they were before values were.
        """
        found: list[list[tuple]] = [[] for _ in self.keys]
        read = self.readings
        columns = (read.series, read.check, read.day, read.temperature_c, read.value, read.gauge)
        columns = (*columns, read.resolution, self.over)
        for (series, check, *rest), held in zip(
            zip(*(column.tolist() for column in columns), strict=True), self.questioned.tolist(), strict=True
        ):
            found[series].append((self.events[check].hex, *rest, *(("questioned",) if held else ())))
        return found


def gather(
    *,
    now: dt.datetime,
    aircraft_ids: Iterable[int] | None = None,
    planned: dict[Key, dt.date] | None = None,
    on: dt.date | None = None,
) -> DriftInputs:
    """Everything known at `now` of the aircraft (None: of the whole fleet). Twelve queries where no
    instrument was found out of calibration.

    planned, on: next checks and the day as they stood then, where that moment has passed: due points keep no
    history, and the day may have been that of another aircraft's work.
    """
    events = CheckEvent.objects.standing(at=now)
    asked = None if aircraft_ids is None else list(aircraft_ids)
    if asked is not None:
        events = events.filter(aircraft__in=asked)
    references = followed()
    days = days_of(events, now)
    read, left_out = readings_of(events, now, set(references), days, doubted(events, now))
    resets = resets_of(events, set(references), days)
    newest = max((int(day) for day in days.values()), default=0)
    # Where the work was done the day may have begun already.
    today = on.toordinal() if on else max(timezone.localdate(now).toordinal(), newest)
    keys = tuple(sorted(read))
    planned = next_checks(now, asked) if planned is None else planned
    made = _assemble(keys, read, resets, references, today + MIDDAY, planned)
    return replace(made, in_doubt=tuple(tuple(left_out.get(key, ())) for key in keys))


def _assemble(
    keys: tuple[Key, ...],
    read: dict[Key, list[Read]],
    resets: dict[Key, list[tuple[float, str]]],
    references: dict[int, Reference],
    now: float,
    planned: dict[Key, dt.date],
) -> DriftInputs:
    columns: dict[str, list] = {field.name: [] for field in fields(Readings)}
    checks: dict[UUID, int] = {}
    over: list[bool] = []
    questioned: list[bool] = []
    past: list[tuple[Life, ...]] = []
    number = 0
    for series, key in enumerate(keys):
        lives, of_reading = _lives(number, read[key], resets.get(key, []))
        number += len(lives)
        past.append(lives)
        for one, life in zip(read[key], of_reading, strict=True):
            check = checks.setdefault(one.event, len(checks))
            row = (
                series,
                life,
                check,
                one.day,
                one.temperature,
                one.value,
                one.gauge,
                key[1],
                one.resolution,
            )
            for column, value in zip(columns.values(), row, strict=True):
                column.append(value)
            over.append(one.over)
            questioned.append(one.questioned)
    told = [life for lives in past for life in lives if life.began is not None]
    return DriftInputs(
        now=now,
        readings=Readings(**columns),
        lives=Lives([life.number for life in told], [life.began for life in told], [li.kind for li in told]),
        over=np.array(over, dtype=bool),
        questioned=np.array(questioned, dtype=bool),
        references=references,
        keys=keys,
        events=tuple(checks),
        past=tuple(past),
        next_check=tuple(planned.get(key) for key in keys),
        in_doubt=((),) * len(keys),
    )


def _lives(
    number: int, read: list[Read], resets: list[tuple[float, str]]
) -> tuple[tuple[Life, ...], list[int]]:
    """The lives of one series, numbered from `number`, and the life of each reading.

    A reading of the event that purges belongs to what was before. Resets without a reading between them
    begin one life, with a new part if any of them fitted one.
    """
    lives = [Life(number, "", None)]
    of_reading: list[int] = []
    moments: list[tuple[float, str | None]] = [*resets, *((one.day, None) for one in read)]
    for day, why in sorted(moments, key=lambda moment: (moment[0], moment[1] is not None)):
        last = lives[-1]
        if why is None:
            lives[-1] = replace(
                last, readings=last.readings + 1, first=day if last.first is None else last.first, last=day
            )
            of_reading.append(last.number)
        elif last.readings:
            lives.append(Life(last.number + 1, why, day))
        else:
            lives[-1] = replace(last, kind=REPLACEMENT if last.kind == REPLACEMENT else why, began=day)
    return tuple(lives), of_reading
