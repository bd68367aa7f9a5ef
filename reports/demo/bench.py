"""Which instruments and people a base works with, and how an instrument shows a value."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from checks.engine.units import from_canonical
from fleet.models import Authorisation, Calibration, Instrument
from reports.demo.cases import FAULTY_GAUGE
from reports.demo.master import Master

GAUGE_SD = 0.008  # ln
KIT = {  # base -> kind of use -> instruments, the one preferred first
    "north": {"gauge": ["gauge-1"], "port": ["port-gauge-1"], "thermometer": ["thermo-1"]},
    "middle": {"gauge": ["gauge-2", "gauge-5"], "port": ["port-gauge-1"], "thermometer": ["thermo-2"]},
    "outer": {"gauge": ["gauge-6", "gauge-3"], "port": ["port-gauge-1"], "thermometer": ["thermo-3"]},
    "farcape": {"gauge": ["gauge-4"], "port": ["port-gauge-2"], "thermometer": ["thermo-4"]},
}
REFRACTOMETERS = {"farcape": "refracto-2"}
VESSELS = {"farcape": "vessel-250"}
PEOPLE = {
    "north": ["technician1", "technician2"],
    "middle": ["technician3", "technician4"],
    "outer": ["technician5", "technician6"],
    "farcape": ["technician7"],
}
RELEASERS = {"outer": "releaser2", "farcape": "releaser3"}
INSPECTORS = {"middle": "inspector2", "farcape": "inspector2"}


@dataclass(frozen=True)
class Bench:
    """What lies on the bench of a base on a day."""

    instruments: Mapping[str, Instrument]  # by kind of use
    performed_by: str
    released_by: str
    inspected_by: str


class Benches:
    """All benches; reads the authorisations once."""

    def __init__(self, master: Master) -> None:
        self.master = master
        self.may: dict[str, list[tuple[dt.date, dt.date]]] = {}
        perform = Authorisation.objects.filter(act=Authorisation.Act.PERFORM).select_related("user")
        for one in perform:
            self.may.setdefault(one.user.username, []).append((one.valid_from, one.valid_until))

    def on(self, rng: np.random.Generator, base: str, day: dt.date, gauge: str = "") -> Bench:
        """Instruments with a calibration in force and a person whose authorisation holds on the day."""
        kit = KIT[base]
        gauges = [code for code in kit["gauge"] if self._serves(code, day)]
        codes = {
            "gauge": gauge or (gauges[0] if rng.random() < 0.8 else gauges[-1]),
            "port": kit["port"][0],
            "thermometer": kit["thermometer"][0],
            "vessel": VESSELS.get(base, "vessel-500"),
            "plain vessel": "vessel-500",
            "large vessel": "vessel-l20",
            "refractometer": REFRACTOMETERS.get(base, "refracto-1"),
        }
        people = [name for name in PEOPLE[base] if any(start <= day <= end for start, end in self.may[name])]
        return Bench(
            {use: self.master.instruments[code] for use, code in codes.items()},
            people[int(rng.integers(len(people)))],
            RELEASERS.get(base, "releaser1"),
            INSPECTORS.get(base, "inspector1"),
        )

    def _serves(self, code: str, day: dt.date) -> bool:
        history = self.master.calibrations[code]
        failed = any(c.result == Calibration.Result.FAILED and c.calibrated_on <= day for c in history)
        return not failed and any(c.calibrated_on <= day <= c.due_on for c in history)


class Gauges:
    """How each instrument departs from the truth: a factor of its own, and the one that went wrong."""

    def __init__(self, seed: int, master: Master) -> None:
        rng = np.random.default_rng([seed, 7])
        self.effect = {
            code: float(rng.normal(0, GAUGE_SD)) if one.kind == Instrument.Kind.GAUGE else 0.0
            for code, one in sorted(master.instruments.items())
        }
        self.faulty = master.calibrations[FAULTY_GAUGE][-2:]
        self.effect[FAULTY_GAUGE] = 0.0

    def offset(self, code: str, on: dt.date) -> float:
        """kPa that the instrument reads off besides its factor: grows since its last good calibration."""
        good, failed = self.faulty
        if code != FAULTY_GAUGE or on < good.calibrated_on:
            return 0.0
        share = (on - good.calibrated_on) / (failed.calibrated_on - good.calibrated_on)
        return float(failed.error_found) * min(share, 1.0)


def shown(instrument: Instrument, canonical: float) -> Decimal:
    """What the instrument shows for a canonical value, in its own unit and steps."""
    step = instrument.resolution.normalize()
    value = from_canonical(Decimal(repr(round(canonical, 5))), instrument.unit)
    return (value / step).quantize(Decimal(1)) * step
