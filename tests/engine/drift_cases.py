"""Small fleets whose truth is known, for the tests of drift."""

import numpy as np

from checks.engine.drift import Readings, Reference
from checks.engine.drift_reference import ln_viscosity_ratio

NOMINAL = 100.0
LIMIT = 150.0
TABLE = Reference((20.0,), (LIMIT,), NOMINAL)  # one row: away from 20 °C the limit follows viscosity


def series_readings(levels, *, days=None, life=0, series=0, check=0, temperature=20.0, gauge=0, group=0):
    """Readings without noise of one life: `levels` are ln above nominal at 20 °C, every 120 days."""
    levels = np.asarray(levels, dtype=float)
    n = len(levels)
    warmth = np.broadcast_to(np.asarray(temperature, dtype=float), n)
    return Readings(
        series=np.full(n, series),
        life=np.full(n, life),
        check=check + np.arange(n),
        day=np.arange(n) * 120.0 if days is None else days,
        temperature_c=warmth,
        value=NOMINAL * np.exp(levels + ln_viscosity_ratio(warmth)),
        gauge=np.full(n, gauge),
        group=np.full(n, group),
        resolution=np.zeros(n),
    )


def joined(*parts):
    """All readings of several parts."""
    names = ("series", "life", "check", "day", "temperature_c", "value", "gauge", "group", "resolution")
    return Readings(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))
