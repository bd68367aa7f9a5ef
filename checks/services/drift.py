"""Drift, stored: the only writer of runs and series states.

For the whole fleet every night (`manage.py refresh_drift`): fit and score. After each signing of one
aircraft: score it again by the last stored fit. What is stored is advice from a model, never a record.
"""

import datetime as dt
from collections.abc import Iterable
from dataclasses import asdict

from django.db import transaction
from django.utils import timezone

from checks.engine.drift import MODEL_VERSION, FleetFit, Thresholds, fit_fleet
from checks.models import DriftRun, SeriesState
from checks.services.drift_inputs import DriftInputs, gather
from checks.services.drift_states import states_of
from fleet.models import Aircraft

_KEYS = ("aircraft", "point")
_STORED = [
    field.name
    for field in SeriesState._meta.concrete_fields
    if not field.primary_key and field.name not in _KEYS
]


def refresh_drift(*, now: dt.datetime | None = None) -> DriftRun:
    """Fit the whole fleet to what the records held at `now`, score every series and store both.

    Reading and reckoning hold no lock; storing is one transaction. An aircraft that was signed for meanwhile
    is scored once more by the new fit, so that the older picture never covers the newer one.
    """
    started = timezone.now()
    now = now or started
    inputs = gather(now=now)
    fit = fit_fleet(inputs.readings, inputs.references, now=inputs.now, lives=inputs.lives)
    states = states_of(inputs, fit, Thresholds())
    with transaction.atomic():
        run = DriftRun.objects.create(
            model_version=MODEL_VERSION,
            parameters={"fit": fit.as_dict(), "thresholds": asdict(Thresholds())},
            inputs_hash=inputs.digest(),
            readings=len(inputs.readings),
            run_at=now,
        )
        newer = SeriesState.objects.filter(scored_at__gt=started)
        aircraft = list(Aircraft.objects.filter(pk__in=newer.values("aircraft")))
        _store(states, run, started, SeriesState.objects.all())
    for one in aircraft:
        _score(one, run)
    return run


def refresh_aircraft_drift(*, aircraft: Aircraft) -> None:
    """Score one aircraft's series by the last stored fit. A first run, another model version or a point that
    the fit has never seen asks for a run over the whole fleet instead."""
    run = DriftRun.objects.order_by("-run_at", "-pk").first()
    if run is None or not _score(aircraft, run):
        refresh_drift()


@transaction.atomic
def _score(aircraft: Aircraft, run: DriftRun) -> bool:
    """Whether the fit of the run could score the aircraft as it is now."""
    # Two of one aircraft wait for each other, so that the later one has seen what both signed.
    list(Aircraft.objects.filter(pk=aircraft.pk).select_for_update(no_key=True).values_list("pk"))
    started = timezone.now()
    inputs = gather(now=started, aircraft_ids=[aircraft.pk])
    fit = _fit_of(run, inputs)
    if fit is None:
        return False
    states = states_of(inputs, fit, Thresholds())
    _store(states, run, started, SeriesState.objects.filter(aircraft=aircraft))
    return True


def _fit_of(run: DriftRun, inputs: DriftInputs) -> FleetFit | None:
    if run.model_version != MODEL_VERSION:
        return None
    try:
        fit = FleetFit.from_dict(run.parameters["fit"])
    except (KeyError, TypeError):  # stored by another release of this model version
        return None
    return fit if set(inputs.readings.group.tolist()) <= set(fit.groups) else None


def _store(states: Iterable[SeriesState], run: DriftRun, at: dt.datetime, stored) -> None:
    """Put the states in the place of what `stored` holds; a series keeps its key, so links go on working."""
    left = set(Aircraft.objects.filter(state=Aircraft.State.LEFT).values_list("pk", flat=True))
    kept = [state for state in states if state.aircraft_id not in left]
    for state in kept:
        state.run, state.scored_at = run, at
    wanted = {(state.aircraft_id, state.point_id) for state in kept}
    gone = [pk for pk, *key in stored.values_list("pk", *_KEYS) if tuple(key) not in wanted]
    SeriesState.objects.filter(pk__in=gone).delete()
    SeriesState.objects.bulk_create(
        kept, update_conflicts=True, unique_fields=_KEYS, update_fields=_STORED, batch_size=500
    )
