"""What the next readings of an aircraft should be, by the stored forecasts of its series."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from checks.engine.drift import MODEL_VERSION, GroupFit
from checks.engine.drift_entry import expected_rows, follows_fluid
from checks.engine.entry import NEEDED, Expected
from checks.models import CheckEvent, SeriesState
from checks.services.drift_records import followed


@dataclass(frozen=True)
class Expectation:
    """What is expected of one point: rows by fluid temperature, canonical; run: key of the fit behind it.

    follows: its readings move with the fluid, so that a misread temperature moves them all.
    """

    rows: tuple[Expected, ...]
    follows: bool
    run: int


def expectations(event: CheckEvent, points: Iterable[int], sds: Decimal) -> dict[int, Expectation]:
    """By point, of a draft's aircraft on its day of work. One query, three more where a series is on file.

    Nothing is expected where nothing is stored yet, in a life of fewer than two readings, before the last
    reading that is known (work entered late), and of a correction: its own first entry would be expected.
    """
    if not event.is_draft or event.supersedes_id or event.source != CheckEvent.Source.ENTERED:
        return {}
    states = SeriesState.objects.filter(
        aircraft=event.aircraft_id,
        point__in=list(points),
        readings_in_life__gte=NEEDED,
        run__model_version=MODEL_VERSION,
    ).select_related("run")
    usable = [state for state in states if _usable(state, event.work_date)]
    if not usable:
        return {}
    references = followed([state.point_id for state in usable])
    found = {}
    for state in usable:
        group = state.run.parameters["fit"]["groups"].get(str(state.point_id))
        reference = references.get(state.point_id)
        if group is None or reference is None:
            continue
        band = _band_on(state, event.work_date)
        rows = expected_rows(band, reference, GroupFit(**group), float(sds))
        found[state.point_id] = Expectation(rows, follows_fluid(reference), state.run_id)
    return found


def _usable(state: SeriesState, on: dt.date) -> bool:
    days = state.chart["days"]
    return bool(state.chart["band"]) and bool(days) and dt.date.fromisoformat(days[-1]) <= on


def _band_on(state: SeriesState, on: dt.date) -> tuple[float, float, float]:
    """5, 50 and 95 % of a reading at 20 °C on the day, the last known ones beyond the band's end."""
    rows = state.chart["band"]
    days = [dt.date.fromisoformat(day).toordinal() for day, *_ in rows]
    low, middle, high = (
        float(np.interp(on.toordinal(), days, [row[side] for row in rows])) for side in (1, 2, 3)
    )
    return low, middle, high
