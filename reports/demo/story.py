"""One aircraft's six years: checks at seasonal temperatures, panels that clog, purges, panel changes."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

import numpy as np

from checks.engine.drift_data import PURGE, REPLACEMENT
from checks.engine.limits import Limit, LimitTable, limit_at
from checks.engine.simulate import fluid_temperature
from checks.engine.units import to_canonical
from checks.models import Step
from fleet.models import Aircraft, Instrument
from reports.demo.bench import Bench, Benches, Gauges, shown
from reports.demo.calendar import Use, check_days, due_day, fly
from reports.demo.cases import CASES, DAMAGED, DEACTIVATED, DRAFTS, OVERDUE, Case
from reports.demo.master import Master
from reports.demo.physics import THERMOMETER_SD, PointData, System, build_system
from reports.demo.plan import Planned, PlannedReading, SeriesTruth

COLDEST, WARMEST = -5.5, 33.0  # colder than this nobody tests in the demo
BIAS = {"forward": 0.02, "underfloor": -0.025}  # ln per 10 K that the reference tables miss
DRY_SIGN = 0.33  # ln of drift at which a dry area may be seen
PURGES_BEFORE_NEW_PART = 3
CONFIRMED = 0.1  # ln of drift from which on somebody saw what it was
HANGAR = (9.0, 19.0)  # °C of the fluid where a task is done indoors
NEAR_SD = 0.012  # ln about nominal
LAST_GAP_DAYS = 130  # no other check so long before the one that a case fixes


@dataclass(frozen=True)
class Setting:
    """What all aircraft of the demo share. tables: (variant, point) -> (effective, limits, ceiling)s;
    steps: (variant, sparse task) -> what it measures."""

    master: Master
    benches: Benches
    gauges: Gauges
    points: Mapping[str, list[PointData]]
    tables: Mapping[tuple[str, str], list[tuple[dt.date, LimitTable, Decimal | None]]]
    steps: Mapping[tuple[str, str], list[Step]]

    def over(self, variant: str, point: str, day: dt.date, temperature: Decimal, value: Decimal) -> bool:
        """Whether a canonical value is over the limit or the ceiling in force on the day."""
        _, table, ceiling = [row for row in self.tables[variant, point] if row[0] <= day][-1]
        limit = limit_at(table, temperature)
        if not isinstance(limit, Limit):
            raise ValueError(f"the demo reads {point} at {temperature} °C, where there is no limit")
        return value > limit.upper or (ceiling is not None and value > ceiling)


class Story:
    """Plans the events of one aircraft, in the order of time."""

    def __init__(self, setting: Setting, aircraft: Aircraft, seed: int, number: int) -> None:
        self.setting, self.aircraft = setting, aircraft
        self.today = setting.master.today
        self.rng = np.random.default_rng([seed, number])
        self.aside = np.random.default_rng([seed, number, 1])  # one task more leaves the others as they were
        self.variant, self.base = aircraft.variant.code, aircraft.base
        self.case = CASES.get(aircraft.registration, Case(""))
        self.use: Use = fly(self.rng, self.today, stored=aircraft.state == Aircraft.State.STORED)
        self.panels = tuple(
            code
            for (of, code), position in setting.master.positions.items()
            if of == self.variant and position.kind == position.Kind.PANEL
        )
        self.system = self._system()
        self.events: list[Planned] = []

    def _system(self) -> System:
        scripted = self.case.drifts_on(self.today) if self.case.name else None
        return build_system(
            self.rng,
            self.setting.points[self.variant],
            self.panels,
            float(self.use.days[0]),
            scripted,
            bias_per_10k=BIAS[self.variant],
            resumes=self.case.resumes or 0.3,
        )

    def tell(self) -> list[Planned]:
        """All events."""
        for day, code, fixed in self._timeline():
            if code == "pressure-flow":
                self._pressure_flow(day, fixed)
            elif code == "damaged":
                self._replace(day, self._damaged()[day], follows=None)
            elif code == "deactivation":
                self._plan(day, code, self._bench(day, rng=self.aside))
            elif (self.variant, code) in self.setting.master.sparse:
                self._opening(day, code)
            else:
                self._plain(day, code, fixed)
        self._drafts()
        return self.events

    def truth(self) -> dict[tuple[str, str], SeriesTruth]:
        """What is true of each measuring point today."""
        day, key = float(self.today.toordinal()), self.aircraft.registration
        read = [event for event in self.events if event.code == "pressure-flow" and not event.draft]
        last = float(max(event.day for event in read).toordinal())
        told = {}
        for data in self.setting.points[self.variant]:
            sensed = self.system.points[data.code]
            felt = [(share, self.system.sources[k]) for k, share in sensed.shares.items()]
            level = sensed.level + sum(share * source.life.baseline for share, source in felt)
            now, then = (sum(w * s.life.drift.at(on) for w, s in felt) for on in (day, last))
            lives = next((source.lives for share, source in felt if share == 1), ())
            told[key, data.code] = SeriesTruth(key, data.code, now, then, data.room - level, lives)
        return told

    def _timeline(self) -> list[tuple[int, str, bool]]:
        """(ordinal, procedure code, whether the case fixes the day) of what was done, in order."""
        last = self.today.toordinal() - 1
        ago = {"pressure-flow": self.case.last_check, "wet-out": self.case.dry and self.case.dry[0]}
        fixed = {code: self.today.toordinal() - days for code, days in ago.items() if days}
        done: list[tuple[int, str, bool]] = []
        for (variant, code), check in self.setting.master.recurring.items():
            if variant != self.variant:
                continue
            if (variant, code) in self.setting.master.sparse:
                *_, newest = check_days(self.aside, check, self.use, self.base, last)
                done.append((newest, code, False))
                continue
            days = list(check_days(self.rng, check, self.use, self.base, last))
            if code in fixed:
                days = [day for day in days if day < fixed[code] - LAST_GAP_DAYS]
            if (self.aircraft.registration, code) in OVERDUE:
                while due_day(check, days[-1], self.use, self.base) > last - 12:
                    days.pop()
            done += [(day, code, False) for day in days]
        done += [(day, code, True) for code, day in fixed.items()]
        if self.aircraft.registration in DEACTIVATED:
            ago = DEACTIVATED[self.aircraft.registration]
            done = [one for one in done if one[0] < self.today.toordinal() - ago]  # nothing is tested since
            done.append((self.today.toordinal() - ago, "deactivation", False))
        return sorted(done + [(day, "damaged", False) for day in self._damaged()])

    def _damaged(self) -> dict[int, str]:
        return {
            self.today.toordinal() - ago: position
            for registration, position, ago in DAMAGED
            if registration == self.aircraft.registration
        }

    def _plan(self, day: int, code: str, bench: Bench, **more: object) -> Planned:
        hours, landings = self.use.at(day)
        planned = Planned(
            aircraft=self.aircraft.registration,
            code=code,
            day=dt.date.fromordinal(day),
            performed_by=bench.performed_by,
            hours=f"{hours:.1f}",
            landings=landings,
            key=len(self.events),
        )
        planned = replace(planned, **more)  # type: ignore[arg-type]
        self.events.append(planned)
        return planned

    def _bench(self, day: int, gauge: str = "", rng: np.random.Generator | None = None) -> Bench:
        return self.setting.benches.on(rng or self.rng, self.base.code, dt.date.fromordinal(day), gauge)

    def _temperature(self, day: int, bench: Bench, fixed: float | None) -> tuple[float, PlannedReading]:
        """True fluid temperature and how it was read."""
        true = fixed
        scatter = 0.0
        if true is None:
            drawn = fluid_temperature(self.rng, day % 365.25, southern=self.base.hemisphere == "S")
            true = float(np.clip(drawn, COLDEST, WARMEST))
            scatter = self.rng.normal(0, THERMOMETER_SD)
        thermometer = bench.instruments["thermometer"]
        read = shown(thermometer, true + scatter)
        return true, PlannedReading("temperature", str(read), "Cel", thermometer.code)

    def _pressure_flow(self, day: int, fixed: bool) -> None:
        first = follows = self._attempt(day, None, fixed)
        if not first.over:
            return
        if fixed and self.case.end:
            first.end = self.case.end
            return
        cause = self.system.blocked_most(day)
        if cause.life.drift.at(day) > CONFIRMED:
            first.found = cause.key
        while follows.over:
            source = self.system.blocked_most(day)
            if source.purges < PURGES_BEFORE_NEW_PART:
                follows = self._purge(day, follows.key)
            else:
                worn = source.positions[int(self.rng.integers(len(source.positions)))]
                follows = self._replace(day, worn, follows.key)
            follows = self._attempt(day, follows.key, False)
        first.end, first.ended_by = "rectified", follows.key

    def _attempt(self, day: int, follows: int | None, fixed: bool) -> Planned:
        """One pressure and flow check: its readings, and whether any is over."""
        bench = self._bench(day, self.case.gauge if fixed else "")
        true, temperature = self._temperature(day, bench, self.case.temperature if fixed else None)
        readings, over = [temperature], False
        for point in self.setting.points[self.variant]:
            use = {"port": "gauge", "nozzle": "vessel"}.get(point.code, "port")
            instrument = bench.instruments[use]
            value = self._value(point, day, true, instrument.code, exact=fixed)
            typed = shown(instrument, value)
            canonical = to_canonical(typed, instrument.unit)
            on = dt.date.fromordinal(day)
            over |= self.setting.over(self.variant, point.code, on, Decimal(temperature.typed), canonical)
            readings += _typed(self.rng, point, typed, instrument)
        dry = {}
        for source in self.system.sources.values():
            if over and source.key and source.life.drift.at(day) > DRY_SIGN:
                dry[source.key] = "at edge tip. Stays dry near the end"
        released = "" if over else bench.released_by
        return self._plan(
            day,
            "pressure-flow",
            bench,
            readings=tuple(readings),
            unsatisfactory=dry,
            over=over,
            follows=follows,
            released_by=released,
        )

    def _value(self, point: PointData, day: int, true: float, gauge: str, *, exact: bool) -> float:
        gauges = self.setting.gauges
        if exact:
            value = self.system.read_exactly(point.code, day, true)
        else:
            value = self.system.read(self.rng, point.code, day, true, gauges.effect.get(gauge, 0.0))
        return value + gauges.offset(gauge, dt.date.fromordinal(day))

    def _purge(self, day: int, follows: int) -> Planned:
        """All panels are purged together."""
        for source in self.system.sources.values():
            source.renew(self.rng, float(day), PURGE)
        renewed = dict.fromkeys(self.panels, PURGE)
        return self._plan(day, "panel-purge", self._bench(day), follows=follows, renewed=renewed)

    def _replace(self, day: int, position: str, follows: int | None) -> Planned:
        source = self.system.sources.get(position) or self.system.sources[""]
        source.renew(self.rng, float(day), REPLACEMENT)
        bench = self._bench(day)
        return self._plan(
            day,
            "panel-replacement",
            bench,
            follows=follows,
            renewed={position: REPLACEMENT},
            inspected_by=bench.inspected_by,
            released_by=bench.released_by,
        )

    def _plain(self, day: int, code: str, fixed: bool) -> Planned:
        """Concentration, which is never far from what it should be, strainer, wet-out run, windshield."""
        bench = self._bench(day)
        dry = {}
        if fixed and self.case.dry:
            dry = {self.case.dry[1]: "at upper outer, tip; edge tip. Stays dry, a hand wide"}
        readings: list[PlannedReading] = []
        if code == "fluid-concentration":
            refractometer = bench.instruments["refractometer"]
            ratio = shown(refractometer, self.rng.normal(85, 1))
            _, temperature = self._temperature(day, bench, None)
            readings = [temperature, PlannedReading("fluid", str(ratio), "%", refractometer.code)]
        return self._plan(
            day,
            code,
            bench,
            readings=tuple(readings),
            unsatisfactory=dry,
            over=bool(dry),
            end="deferred" if dry else "",
        )

    def _opening(self, day: int, code: str) -> Planned:
        """The newest record of a task whose history is not told: all near nominal, in the hangar's warmth."""
        bench = self._bench(day, rng=self.aside)
        steps = self.setting.steps[self.variant, code]
        readings = [self._near_nominal(step, bench) for step in steps]
        if steps:
            thermometer = bench.instruments["thermometer"]
            read = shown(thermometer, float(self.aside.uniform(*HANGAR)))
            readings.insert(0, PlannedReading("temperature", str(read), "Cel", thermometer.code))
        return self._plan(day, code, bench, readings=tuple(readings))

    def _near_nominal(self, step: Step, bench: Bench) -> PlannedReading:
        collected = step.kind == Step.Kind.TIMED_COLLECTION
        use = "large vessel" if step.unit == "L" else "plain vessel" if collected else "gauge"
        instrument = bench.instruments[use]
        value = float(step.point.nominal) * float(np.exp(self.aside.normal(0, NEAR_SD)))
        typed = shown(instrument, value)
        if collected:
            seconds = step.duration_seconds
            return PlannedReading(step.point.code, str(typed), "mL", instrument.code, 0, seconds)
        return PlannedReading(step.point.code, str(typed), instrument.unit, instrument.code)

    def _drafts(self) -> None:
        for registration, code, ago in DRAFTS:
            if registration == self.aircraft.registration:
                day = self.today.toordinal() - ago
                bench = self._bench(day)
                _, temperature = self._temperature(day, bench, None)
                readings = () if code == "wet-out" else (temperature,)
                self._plan(day, code, bench, readings=readings, draft=True)


def _typed(
    rng: np.random.Generator, point: PointData, typed: Decimal, instrument: Instrument
) -> list[PlannedReading]:
    """The readings that a point needs: a series that settles, a collection, or a single value."""
    unit, code, step = instrument.unit, instrument.code, instrument.resolution.normalize()
    if point.code == "nozzle":
        started = 330 + int(rng.integers(60))  # the longest series has settled by then
        return [PlannedReading("nozzle", str(typed), unit, code, 0, 60, started)]
    if point.code != "port":
        return [PlannedReading(point.code, str(typed), unit, code)]
    rise = [typed - 3 * step, typed - step] if rng.random() < 0.5 else [typed - 2 * step]
    times = np.cumsum(60 + rng.integers(-4, 5, len(rise) + 3))
    values = [*rise, typed, typed, typed]
    return [
        PlannedReading("port", str(value.quantize(typed)), unit, code, n, int(time))
        for n, (value, time) in enumerate(zip(values, times, strict=True))
    ]
