"""What the demo's fluid systems really do: panels that clog, are purged and clog again.

Invented, so the truth is known. A source is a panel (or, where single panels can't be told apart, all of
them together). Each source adds to the points that feel it. ln is natural; days are date ordinals; values
in kPa or mL/min.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from checks.engine.drift_data import FIRST, PURGE, REPLACEMENT
from checks.engine.drift_reference import AT, ln_viscosity_ratio
from checks.engine.simulate import (
    EXPONENTIAL,
    LINEAR,
    Drift,
    LifeTruth,
    Upkeep,
    begin_life,
    draw_drift,
)

FLOW_EXPONENT = -0.05  # a warm nozzle gives a little more
REPEAT_SD = 0.018
THERMOMETER_SD = 0.4
OUTLIER_SHARE, OUTLIER_SIZE = 0.004, 0.12
LEVEL_SD = 0.09
CLEAN_MOST = 0.3  # of the room up to the limit: parts of the demo are delivered clean
RESIDUE = 0.1
PANEL_HAZARD = 0.05  # onsets per year
SYSTEM_HAZARD = 0.22  # of the panels of an aircraft together


@dataclass(frozen=True)
class Sensed:
    """One measuring point: its clean value at 20 °C, its own level (ln), how it follows viscosity, what the
    reference table misses (ln per 10 K), and the share of each source's drift that it feels."""

    code: str
    nominal: float
    exponent: float
    bias_per_10k: float
    level: float
    shares: Mapping[str, float]


@dataclass
class Source:
    """One panel, or all: `position` empty where no single panel can be named. room: ln up to the limit."""

    key: str
    positions: tuple[str, ...]
    room: float
    life: LifeTruth
    hazard: float
    resumes: float = 0.0
    purges: int = 0
    past: list[LifeTruth] = field(default_factory=list)

    def renew(self, rng: np.random.Generator, day: float, kind: str) -> None:
        """A purge leaves a tenth of the drift; a new part begins clean. A gradual drift may go on, faster."""
        old = self.life
        upkeep = Upkeep(hazard=self.hazard, resumes=self.resumes, faster=1.5, residue=RESIDUE)
        drift = draw_drift(rng, day, self.room, upkeep)
        left = old.drift.at(day)
        if kind == PURGE and old.drift.shape in (LINEAR, EXPONENTIAL) and rng.random() < self.resumes:
            faster = upkeep.faster if old.drift.shape == LINEAR else 1 / upkeep.faster
            drift = replace(old.drift, onset=day, size=old.drift.size * faster)
        baseline = 0.0 if kind == REPLACEMENT else old.baseline + RESIDUE * left
        self.past.append(old)
        self.purges = 0 if kind == REPLACEMENT else self.purges + 1
        self.life = begin_life(day, kind, baseline, drift, self.room)

    def at(self, day: float) -> float:
        """ln that it adds to a point of its own."""
        return self.life.baseline + self.life.drift.at(day)

    @property
    def lives(self) -> tuple[LifeTruth, ...]:
        return (*self.past, self.life)


@dataclass
class System:
    """The fluid system of one aircraft."""

    points: dict[str, Sensed]
    sources: dict[str, Source]
    outliers: float = OUTLIER_SHARE

    def ln_at(self, code: str, day: float) -> float:
        """ln of a point above nominal at 20 °C: its own level and what the sources add."""
        point = self.points[code]
        return point.level + sum(share * self.sources[key].at(day) for key, share in point.shares.items())

    def read(
        self, rng: np.random.Generator, code: str, day: float, temperature: float, gauge_effect: float
    ) -> float:
        """A reading with its scatter, before the instrument rounds it. temperature: of the fluid, true."""
        scatter = gauge_effect + rng.normal(0, REPEAT_SD)
        if rng.random() < self.outliers:
            scatter += OUTLIER_SIZE * rng.choice([-1, 1])
        return self.read_exactly(code, day, temperature) * float(np.exp(scatter))

    def read_exactly(self, code: str, day: float, temperature: float) -> float:
        """The same without scatter."""
        point = self.points[code]
        ln = self.ln_at(code, day) + point.exponent * float(ln_viscosity_ratio(temperature))
        ln += point.bias_per_10k * (temperature - AT) / 10
        return point.nominal * float(np.exp(ln))

    def blocked_most(self, day: float) -> Source:
        """The source that has drifted most since its life began."""
        return max(self.sources.values(), key=lambda source: source.life.drift.at(day))


@dataclass(frozen=True)
class PointData:
    """What the master data say of a point: nominal and its limit at 20 °C."""

    code: str
    quantity: str
    nominal: float
    limit_20: float
    panel: str = ""  # the position of a panel port

    @property
    def room(self) -> float:
        return float(np.log(self.limit_20 / self.nominal))


def build_system(
    rng: np.random.Generator,
    points: list[PointData],
    panels: tuple[str, ...],
    start: float,
    scripted: Mapping[str, Drift] | None,
    *,
    bias_per_10k: float,
    resumes: float,
) -> System:
    """One aircraft's system on the day its history starts. With `scripted` nothing else happens by chance."""
    ports = {point.panel: point for point in points if point.panel}
    room = next(p.room for p in points if p.code == "port")
    quiet = scripted is not None
    sources = {}
    for key, own in ports.items() or {"": None}.items():
        hazard = 0.0 if quiet else (PANEL_HAZARD if key else SYSTEM_HAZARD)
        place = own.room if own else room
        drift = (scripted or {}).get(key) or draw_drift(rng, start - 60, place, Upkeep(hazard=hazard))
        life = begin_life(start, FIRST, 0.0, drift, place)
        sources[key] = Source(key, (key,) if key else panels, place, life, hazard, resumes)
    sensed = {}
    for point in points:
        level_sd = 0.0 if quiet else LEVEL_SD
        level = float(rng.normal(0, level_sd if point.quantity == "pressure" else level_sd / 3))
        level = min(level, CLEAN_MOST * point.room)
        exponent = 1.0 if point.quantity == "pressure" else FLOW_EXPONENT
        bias = bias_per_10k if point.quantity == "pressure" else 0.0
        shares = _shares(point, sources)
        sensed[point.code] = Sensed(point.code, point.nominal, exponent, bias, level, shares)
    return System(sensed, sources, 0.0 if quiet else OUTLIER_SHARE)


def _shares(point: PointData, sources: Mapping[str, Source]) -> dict[str, float]:
    """A panel port feels its panel alone, test port and nozzle the panels' sum, the nozzle a little less.

    What the panels refuse goes to the nozzle: the shares are about those of checks.engine.network.
    """
    if point.panel:
        return {point.panel: 1.0}
    if "" in sources:
        return {"": 1.0 if point.quantity == "pressure" else 0.9}
    return dict.fromkeys(sources, 0.13 if point.quantity == "pressure" else 0.11)
