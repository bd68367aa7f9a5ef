"""A stored drift result computed a second time, from the records as they were known when it was made.

The records keep what they said at any moment: events, corrections, decisions and findings carry their times.
What a result rests on beside them stands in its run (fit and thresholds) and in the result itself (the day,
the next checks). So a figure that was shown or printed can be made again, and one that was tampered with, or
records that were, are found out.
"""

import datetime as dt
import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from checks.engine.drift import MODEL_VERSION, Thresholds, fit_fleet
from checks.models import DriftRun, SeriesState
from checks.services.drift import fit_of
from checks.services.drift_inputs import gather
from checks.services.drift_states import states_of

#: the last digits of a sum depend on what was padded beside it
CLOSE = 1e-6
_OWN = {"id", "run", "scored_at", "inputs_hash", "aircraft", "point"}
_COMPARED = [field.name for field in SeriesState._meta.concrete_fields if field.name not in _OWN]


@dataclass(frozen=True)
class Again:
    """differences: what is not as it was stored, in words; none where it came out the same."""

    differences: tuple[str, ...]

    @property
    def equal(self) -> bool:
        return not self.differences


def series_again(state: SeriesState) -> Again:
    """Score the series again by its own run, with what was known at `scored_at`. About fifteen queries."""
    run = state.run
    if run.model_version != MODEL_VERSION:
        return Again((f"made by model {run.model_version}; this installation has {MODEL_VERSION}",))
    together = SeriesState.objects.filter(aircraft=state.aircraft_id, scored_at=state.scored_at)
    planned = together.exclude(next_check_on=None).values_list("aircraft", "point", "next_check_on")
    on = state.facts.get("scored_on")
    inputs = gather(
        now=state.scored_at,
        aircraft_ids=[state.aircraft_id],
        planned={(aircraft, point): day for aircraft, point, day in planned},
        on=dt.date.fromisoformat(on) if on else None,
    )
    fit = fit_of(run, inputs)
    if fit is None:
        return Again(("its run holds no fit that serves it",))
    made = states_of(inputs, fit, Thresholds(**run.parameters["thresholds"]))
    new = next((one for one in made if one.point_id == state.point_id), None)
    if new is None:
        return Again(("the records held no reading of this point then",))
    found = [f"{name}: {words}" for name in _COMPARED for words in _differ(state, new, name)]
    if state.inputs_hash != new.inputs_hash:
        found.insert(0, "the records, as they were known then, are not those that were scored")
    return Again(tuple(found))


def run_again(run: DriftRun) -> Again:
    """Fit the fleet again to what was known when the run was made."""
    if run.model_version != MODEL_VERSION:
        return Again((f"made by model {run.model_version}; this installation has {MODEL_VERSION}",))
    inputs = gather(now=run.run_at)
    fit = fit_fleet(inputs.readings, inputs.references, now=inputs.now, lives=inputs.lives)
    found = []
    if inputs.digest() != run.inputs_hash:
        found.append("the records, as they were known then, are not those that were fitted")
    if not _same(run.parameters.get("fit"), fit.as_dict()):
        found.append("the fit is another one")
    return Again(tuple(found))


def _differ(stored: SeriesState, new: SeriesState, name: str) -> Iterator[str]:
    was, is_ = getattr(stored, name), getattr(new, name)
    if _same(was, is_):
        return
    short = isinstance(was, dict) or isinstance(is_, dict)
    yield "not as stored" if short else f"stored {was}, now {is_}"


def _same(one: Any, other: Any) -> bool:
    """Alike within CLOSE, numbers anywhere inside; text, days and keys exactly."""
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(_same(one[key], other[key]) for key in one)
    if isinstance(one, list | tuple) and isinstance(other, list | tuple):
        return len(one) == len(other) and all(map(_same, one, other))
    if isinstance(one, float) or isinstance(other, float):
        numbers = all(isinstance(n, int | float) for n in (one, other))
        return numbers and math.isclose(one, other, rel_tol=CLOSE * 10, abs_tol=CLOSE)
    return one == other
