"""Readings of a simulated fleet questioned as they are entered, by the same rule as in the record form."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np

from checks.engine.drift_data import FleetFit, Floats, Lives, SeriesScore
from checks.engine.drift_entry import expected_rows, follows_fluid
from checks.engine.drift_fit import fit_fleet
from checks.engine.drift_score import score
from checks.engine.entry import NEEDED, Expected, Taken, ask, expected_at
from checks.engine.simulate_fleet import QUARTER, SimulatedFleet

SDS = 3.5


class EntryQuestions:
    """A `Questioner`: which readings the entry check asks to take again, from what was known before.

    sds: how many standard deviations from the forecast a reading may lie. Where all points stray together the
    temperature is asked for, and no reading is taken again.
    """

    def __init__(self, sds: float = SDS) -> None:
        self._sds = sds
        self._fits: dict[int, FleetFit] = {}

    def __call__(self, before: SimulatedFleet, entering: SimulatedFleet) -> np.ndarray:
        again = np.zeros(len(entering.readings), dtype=bool)
        if not len(before.readings):
            return again
        points = len(before.points)
        aircraft, rows = entering.readings.series // points, entering.readings
        said = self._said(before, entering)
        for one in np.unique(aircraft):
            mine = np.flatnonzero(aircraft == one)
            taken = [self._taken(before, rows.series[i], rows.life[i], entering, i, said) for i in mine]
            again[mine[list(ask(taken).readings)]] = True
        return again

    def _taken(
        self,
        before: SimulatedFleet,
        series: int,
        life: int,
        entering: SimulatedFleet,
        row: int,
        said: dict[int, tuple[int, SeriesScore]],
    ) -> Taken:
        point = int(series) % len(before.points)
        reference, rows = before.references[point], entering.readings
        expected: Expected | None = None
        known_life, one = said.get(int(series), (-1, None))
        if one is not None and known_life == life and one.n_in_life >= NEEDED:
            band = (one.next_low, one.next_mid, one.next_high)
            fit = self._fit(before, float(rows.day[row]))
            told = expected_rows(band, reference, fit.groups[point], self._sds)
            expected = expected_at(told, Decimal(repr(float(rows.temperature_c[row]))))
        return Taken(Decimal(repr(float(rows.value[row]))), expected, follows_fluid(reference))

    def _fit(self, before: SimulatedFleet, day: float) -> FleetFit:
        quarter = int(day // QUARTER)
        if quarter not in self._fits:
            now = quarter * QUARTER
            self._fits[quarter] = fit_fleet(before.readings, before.references, now=now, lives=before.starts)
        return self._fits[quarter]

    def _said(self, before: SimulatedFleet, entering: SimulatedFleet) -> dict[int, tuple[int, SeriesScore]]:
        """By series: the life of its last reading, and its score after the last check, looking as far as to
        this one."""
        points, readings = len(before.points), before.readings
        new = dict(
            zip((entering.readings.series // points).tolist(), entering.readings.day.tolist(), strict=True)
        )
        aircraft = readings.series // points
        rows = np.flatnonzero(np.isin(aircraft, list(new)))
        last = np.full(int(aircraft.max()) + 1, -np.inf)
        np.maximum.at(last, aircraft, readings.day)
        shift: Floats = last[aircraft[rows]]
        known = replace(readings.take(rows), day=readings.day[rows] - shift)
        life, first = np.unique(known.life, return_index=True)
        kinds = tuple(before.starts.kind[i] for i in life)
        starts = Lives(life, before.starts.start_day[life] - shift[first], kinds)
        ahead = {int(s): new[int(s) // points] - last[int(s) // points] for s in np.unique(known.series)}
        day = min(new.values())
        fit = self._fit(before, day)
        told = score(
            known,
            before.references,
            fit,
            0.0,
            ahead,
            over=before.over[rows],
            lives=starts,
            charts=False,
            questioned=np.ones(len(rows), dtype=bool),
        )
        running = {}
        for s, number in zip(known.series.tolist(), known.life.tolist(), strict=True):
            running[s] = max(number, running.get(s, -1))
        return {one.series: (running[one.series], one) for one in told}
