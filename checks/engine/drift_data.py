"""What the drift engine is given and what it hands back: plain arrays and frozen records.

Days are floats counted from any epoch, the same for all arguments of one call. ln is the natural logarithm.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

OVER_LIMIT = "over limit"
CLOSING = "closing"
DRIFTING = "drifting"
STEADY = "steady"
TOO_FEW = "too few readings"
STATES = (OVER_LIMIT, CLOSING, DRIFTING, STEADY, TOO_FEW)

FIRST = "first"
PURGE = "purge"
REPLACEMENT = "replacement"


@dataclass(frozen=True, eq=False)
class Readings:
    """Readings of many series, one row each, in any order; all arrays have the shape (n,).

    series: whole number naming one measuring point of one aircraft
    life: whole number naming the part of a series between two resets, unique across all series
    check: whole number naming the check event; readings of one check share the fluid and its thermometer
    day: float days since any epoch
    temperature_c: fluid temperature, °C
    value: the reading in canonical units (kPa or mL/min), above zero
    gauge: whole number naming the instrument
    group: whole number naming the variant-and-point group, the key of its `Reference`
    resolution: smallest step the instrument shows, canonical units (zero where it is not known)

    Raises ValueError when lengths differ, a number is not finite, a value is not above zero or one life
    belongs to two series.
    """

    series: Ints
    life: Ints
    check: Ints
    day: Floats
    temperature_c: Floats
    value: Floats
    gauge: Ints
    group: Ints
    resolution: Floats

    def __post_init__(self) -> None:
        decimal = ("day", "temperature_c", "value", "resolution")
        for field in fields(self):
            kind = np.float64 if field.name in decimal else np.int64
            array = np.asarray(getattr(self, field.name), dtype=kind)
            object.__setattr__(self, field.name, array)
            if array.shape != (len(self),):
                raise ValueError(f"{field.name} must have one number for each of the {len(self)} readings")
            if not np.isfinite(array).all():
                raise ValueError(f"{field.name} holds a number that is not finite")
        if (self.value <= 0).any() or (self.resolution < 0).any():
            raise ValueError("readings must be above zero and resolutions not below it")
        pairs = np.unique(np.stack([self.life, self.series]), axis=1)
        if len(np.unique(pairs[0])) != pairs.shape[1]:
            raise ValueError("one life belongs to two series")

    def __len__(self) -> int:
        return len(self.series)

    def take(self, rows: ArrayLike) -> Readings:
        """The readings picked by a mask or by row numbers, in that order."""
        picked = np.asarray(rows)
        return Readings(*(getattr(self, field.name)[picked] for field in fields(self)))


@dataclass(frozen=True, eq=False)
class Lives:
    """When and why lives began, shape (k,); lives left out begin at their first reading.

    life: the number used in `Readings`; start_day: day of the reset (or of installation)
    kind: 'first', 'purge' or 'replacement' for each. Unlisted lives: the series' first, else a purge.
    """

    life: Ints
    start_day: Floats
    kind: tuple[str, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "life", np.asarray(self.life, dtype=np.int64))
        object.__setattr__(self, "start_day", np.asarray(self.start_day, dtype=np.float64))
        object.__setattr__(self, "kind", tuple(self.kind))
        if not (len(self.life) == len(self.start_day) == len(self.kind)):
            raise ValueError("lives need as many start days and kinds as numbers")
        if unknown := set(self.kind) - {FIRST, PURGE, REPLACEMENT}:
            raise ValueError(
                f"a life begins with {FIRST}, {PURGE} or {REPLACEMENT}, not with {unknown.pop()!r}"
            )


@dataclass(frozen=True)
class GroupFit:
    """One variant-and-point group: temperature law on top of its table, and where its lives begin.

    b1: ln per 10 K, b2: ln per (10 K)², both about 20 °C, with their standard deviations
    baseline_mean, baseline_sd: ln above nominal
    warmth_2, warmth_4: mean square and fourth power of (°C - 20)/10 at its readings, so of those to come.
    """

    b1: float
    b2: float
    b1_sd: float
    b2_sd: float
    baseline_mean: float
    baseline_sd: float
    lives: int
    warmth_2: float = 0.0
    warmth_4: float = 0.0

    @property
    def law_variance(self) -> float:
        """What the temperature law leaves in doubt of a reading at a temperature not known yet."""
        return self.b1_sd**2 * self.warmth_2 + self.b2_sd**2 * self.warmth_4


@dataclass(frozen=True)
class FleetFit:
    """What the whole fleet teaches: all in ln units.

    gauges, gauge_sds: effect of each instrument and its sd; new_gauge_sd: of one not seen yet
    s: sd of one reading about its life; s_check: sd shared by one check; s_rep: sd of repeating one reading
    widening: factor on forecast widths, learnt from past forecasts.
    """

    groups: dict[int, GroupFit]
    gauges: dict[int, float]
    gauge_sds: dict[int, float]
    new_gauge_sd: float
    s: float
    s_check: float
    s_rep: float
    readings: int
    model_version: str
    widening: float = 1.0

    def as_dict(self) -> dict[str, Any]:
        """Plain dicts, floats and strings, ready for JSON; keys are text."""
        plain = asdict(self)
        for name in ("groups", "gauges", "gauge_sds"):
            plain[name] = {str(key): value for key, value in plain[name].items()}
        return plain

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> FleetFit:
        """The inverse of `as_dict`."""
        groups = {int(key): GroupFit(**value) for key, value in plain["groups"].items()}
        gauges, sds = (
            {int(key): float(value) for key, value in plain[name].items()} for name in ("gauges", "gauge_sds")
        )
        return cls(**{**plain, "groups": groups, "gauges": gauges, "gauge_sds": sds})


@dataclass(frozen=True, eq=False)
class Chart:
    """One series in its own units, as a person draws it; days on the callers' epoch.

    day, as_read, at_20: the readings, shape (n,); limit_20: the limit at 20 °C
    band_day, band_low, band_mid, band_high: where a reading at 20 °C is expected (5, 50, 95 %), shape (m,),
    for the life that runs now, up to the horizon; resets: days on which a new life began.
    """

    day: Floats
    as_read: Floats
    at_20: Floats
    limit_20: float
    band_day: Floats
    band_low: Floats
    band_mid: Floats
    band_high: Floats
    resets: Floats


@dataclass(frozen=True, eq=False)
class SeriesScore:
    """One series as known at `now`. Days on the callers' epoch, values in canonical units at 20 °C.

    p_drift: probability that a drift has begun; None with one reading
    p_cross: probability of being over the limit at `horizon_day`; None with one reading
    crossing_day, crossing_low, crossing_high: median, 10 % and 90 % of the day on which the fitted series
        meets its limit, given that it drifts; only of a drifting or closing series of three readings or more;
        None where it may never meet it
    level_ln: fitted level now, ln relative to the limit (0 = at the limit); level_20: the same as a reading
    last_20: the last reading compensated to 20 °C; margin_percent: how far that is under the limit
    slope_per_year: fitted slope now, ln per year (about the fraction a year); None below three readings
    next_low, next_mid, next_high: where a reading at 20 °C on `horizon_day` is expected (5, 50, 95 %)
    left_out: readings that no table and no viscosity law can compensate
    whole_drift, whole_cross: p_drift and p_cross with what the points of a check share left in
    whole_aircraft_notice: all points of the aircraft may move together, which the state alone would hide
    shortening: the lives between purges get shorter
    """

    series: int
    state: str
    p_drift: float | None
    p_cross: float | None
    crossing_day: float | None
    crossing_low: float | None
    crossing_high: float | None
    level_ln: float
    level_20: float
    limit_20: float
    last_20: float
    last_day: float
    margin_percent: float
    slope_per_year: float | None
    n_in_life: int
    life_start_day: float
    next_low: float
    next_mid: float
    next_high: float
    now: float
    horizon_day: float
    left_out: int
    whole_drift: float | None
    whole_cross: float | None
    whole_aircraft_notice: bool
    shortening: bool
    chart: Chart | None
