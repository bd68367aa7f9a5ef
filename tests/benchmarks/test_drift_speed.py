"""What a pass over 100,000 series of 12 readings costs, beside reading the same rows from SQLite into pandas.

CPU seconds of one process in one run; reading is not counted in the passes. Without the bank: the fleet's
regression and what prepares readings for it; with the bank: every series weighed and scored. Loops of scipy
series by series (theilslopes and kendalltau) run on a sample and are scaled up.
Run: OMP_NUM_THREADS=1 .venv/bin/python -m pytest -m benchmark tests/benchmarks/test_drift_speed.py -s
"""

import resource
import sqlite3
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import numpy as np
import pandas as pd
import pytest
from scipy.stats import kendalltau, theilslopes

from checks.engine.drift import FleetFit, FleetPrior, Readings, Reference, score
from checks.engine.drift_reference import ln_viscosity_ratio
from checks.engine.drift_regression import regress
from checks.engine.drift_series import prepare
from checks.engine.simulate import fluid_temperature

pytestmark = pytest.mark.benchmark
T = TypeVar("T")
SERIES, READINGS, POINTS = 100_000, 12, 8
BASES, GAUGES, VARIANTS = 100, 4, 5  # gauges of each base
LIMIT, NOMINAL = 150.0, 100.0
LOOPED = 400
COLUMNS = ("series", "life", "check", "day", "temperature_c", "value", "gauge", "group", "resolution")


def fleet(series: int) -> tuple[Readings, dict[int, Reference]]:
    """Readings of so many series, one in ten of which rises by 2 % a check."""
    rng = np.random.default_rng(12)
    aircraft = series // POINTS
    own = np.arange(aircraft).repeat(POINTS)[:, None]
    days = np.floor(np.cumsum(rng.uniform(60, 200, (aircraft, READINGS)), axis=1))
    warmth = fluid_temperature(rng, days % 365.25)
    checks = np.arange(aircraft * READINGS).reshape(aircraft, READINGS)
    gauges = own % BASES * GAUGES + rng.integers(0, GAUGES, (aircraft * POINTS, READINGS))
    number = np.arange(series)[:, None]
    y = rng.normal(0, 0.15, (series, 1)) + rng.normal(0, 0.035, (series, READINGS))
    y += (number % 10 == 0) * np.arange(READINGS) * 0.02
    t = warmth[own[:, 0]]
    value = NOMINAL * np.exp(y + ln_viscosity_ratio(t))
    group = own % VARIANTS * POINTS + number % POINTS
    shaped = (number, number, checks[own[:, 0]], days[own[:, 0]], t, value, gauges, group, 1.0)
    columns = [np.broadcast_to(column, (series, READINGS)).ravel() for column in shaped]
    table = np.linspace(-10, 35, 10)
    limits = tuple(LIMIT * np.exp(ln_viscosity_ratio(table)))
    references = {g: Reference(tuple(table), limits, NOMINAL) for g in range(VARIANTS * POINTS)}
    return Readings(*columns), references


def cpu(work: Callable[[], T]) -> tuple[float, T]:
    start = time.process_time()
    done = work()
    return time.process_time() - start, done


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def read_back(readings: Readings, path: Path) -> float:
    """CPU seconds of reading the rows from SQLite into a pandas frame, the better of two."""
    with sqlite3.connect(path) as connection:
        names = ", ".join(f'"{column}"' for column in COLUMNS)
        connection.execute(f"create table r (id integer primary key, {names})")
        rows = zip(*(getattr(readings, column).tolist() for column in COLUMNS), strict=True)
        connection.executemany(f"insert into r ({names}) values (?,?,?,?,?,?,?,?,?)", rows)
        connection.commit()
        query = f"select {names} from r"
        took = []
        for _ in range(2):
            seconds, frame = cpu(lambda: pd.read_sql_query(query, connection))
            assert len(frame) == len(readings)
            took.append(seconds)
    return min(took)


def without_bank(readings: Readings, references: dict[int, Reference]) -> FleetFit:
    fit = regress(readings, references, FleetPrior())
    prepare(readings, references, fit, float(readings.day.max()))
    return fit


def loops(readings: Readings) -> float:
    """CPU seconds that scipy would take series by series, from a sample."""
    t, x = (
        column[: LOOPED * READINGS].reshape(LOOPED, READINGS) for column in (readings.day, readings.value)
    )

    def all_of_them() -> None:
        for days, values in zip(t, np.log(x), strict=True):
            theilslopes(values, days)
            kendalltau(days, values)

    return cpu(all_of_them)[0] * len(readings) / READINGS / LOOPED


def test_cost_beside_reading_and_loops(tmp_path: Path) -> None:
    readings, references = fleet(SERIES)
    now = float(readings.day.max())
    reading = read_back(readings, tmp_path / "rows.sqlite3")
    filled = peak_mb()
    plain, fit = cpu(lambda: without_bank(readings, references))
    after_plain = peak_mb()
    bank, scores = cpu(lambda: score(readings, references, fit, now, 150.0, charts=False))
    after_bank = peak_mb()
    looped = loops(readings)
    print(f"\n{SERIES} series × {READINGS} readings, CPU s")
    print(f"reading SQLite → pandas          {reading:7.1f}")
    print(f"pass without the bank            {plain:7.1f}  ratio {plain / reading:.2f} (may be 4)")
    print(f"bank on all series, scored       {bank:7.1f}  ratio {bank / reading:.2f} (may be 15)")
    print(
        f"scipy series by series           {looped:7.1f}  ratio {looped / reading:.1f} ({LOOPED} scaled up)"
    )
    print(f"most memory, MB: rows {filled:.0f}, then pass {after_plain:.0f}, then bank {after_bank:.0f}")
    assert len(scores) == SERIES
    assert plain <= 4 * reading
    assert bank <= 15 * reading
    assert plain + bank < looped
    assert after_bank <= 2 * filled


def test_ten_times_the_rows_take_at_most_eleven_times_as_long() -> None:
    took = {}
    for series in (SERIES // 10, SERIES):
        readings, references = fleet(series)
        now = float(readings.day.max())
        plain, fit = cpu(lambda r=readings, of=references: without_bank(r, of))
        bank, _ = cpu(lambda r=readings, of=references, f=fit, n=now: score(r, of, f, n, 150.0, charts=False))
        took[series] = (plain, bank)
        del readings
    small, large = took[SERIES // 10], took[SERIES]
    ratio = sum(large) / sum(small)
    for series, (plain, bank) in took.items():
        print(f"\n{series} series: {plain:.2f} without the bank, {bank:.2f} with it, CPU s", end="")
    print(f"\n10 times the rows take {ratio:.1f} times as long (may be 11)")
    assert ratio <= 11
