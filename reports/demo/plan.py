"""What the demo's history consists of, before anything is written: events with what was read and seen."""

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from checks.engine.simulate import LifeTruth

LAST_ORDINAL = dt.date.max.toordinal()  # inf, which is never, lies beyond


@dataclass(frozen=True)
class PlannedReading:
    """One value as typed. step: 'temperature' or the code of the measuring point.

    elapsed: seconds since pump start, of a collection its length; started: of a collection, its start.
    """

    step: str
    typed: str
    unit: str
    instrument: str
    sequence: int = 0
    elapsed: int | None = None
    started: int | None = None


@dataclass
class Planned:
    """One event. key and follows are its and an earlier event's place in the plan of the aircraft."""

    aircraft: str
    code: str
    day: dt.date
    performed_by: str
    hours: str
    landings: int
    key: int = 0
    readings: tuple[PlannedReading, ...] = ()
    unsatisfactory: Mapping[str, str] = field(default_factory=dict)  # position code -> remark
    over: bool = False
    follows: int | None = None
    renewed: Mapping[str, str] = field(default_factory=dict)  # position code -> 'purge' or 'replacement'
    draft: bool = False
    inspected_by: str = ""
    released_by: str = ""
    end: str = ""  # how an over-limit check ended: 'rectified', 'deferred' or 'open'
    ended_by: int | None = None  # key of the retest on which the rectification rests
    found: str | None = None  # what was confirmed as its cause: the panel, '' for all of them


@dataclass(frozen=True)
class SeriesTruth:
    """The truth of one measuring point. All in ln, for this life alone.

    drifted: what drift has added by the day of loading; when_read: by the last reading, which is all that
    the records can know; room: from the clean level up to the reference limit at 20 °C.
    """

    aircraft: str
    point: str
    drifted: float
    when_read: float
    room: float
    lives: tuple[LifeTruth, ...]

    @property
    def share(self) -> float:
        """Drift when last read as a share of the room; 1 means at the limit."""
        return self.when_read / self.room


@dataclass
class Truth:
    """What is known because it was invented. cases: name -> 'registration' or 'registration point'."""

    seed: int
    today: dt.date
    series: dict[tuple[str, str], SeriesTruth] = field(default_factory=dict)
    cases: dict[str, str] = field(default_factory=dict)
    events: int = 0

    def as_json(self) -> dict[str, Any]:
        """For a file: dates as ISO 8601, 'never' as null."""
        return {
            "about": "The truth behind the invented history; drift in ln, none of it is in the records.",
            "seed": self.seed,
            "today": self.today.isoformat(),
            "events": self.events,
            "cases": self.cases,
            "series": [_series(one) for one in self.series.values()],
        }


def _series(truth: SeriesTruth) -> dict[str, Any]:
    return {
        "aircraft": truth.aircraft,
        "point": truth.point,
        "drifted": round(truth.drifted, 4),
        "when_read": round(truth.when_read, 4),
        "room": round(truth.room, 4),
        "lives": [
            {
                "began": _date(life.start),
                "by": life.kind,
                "shape": life.drift.shape if life.drift.onset < math.inf else "none",
                "onset": _date(life.drift.onset),
                "crossing": _date(life.crossing),
            }
            for life in truth.lives
        ],
    }


def _date(ordinal: float) -> str | None:
    return dt.date.fromordinal(int(ordinal)).isoformat() if ordinal < LAST_ORDINAL else None
