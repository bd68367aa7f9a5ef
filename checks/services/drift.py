"""Drift, stored: the only writer of runs and series states.

For the whole fleet every night (`manage.py refresh_drift`): fit once, then score aircraft by aircraft. After
each signing of one aircraft: score it again by the last stored fit. What is stored is advice from a model,
never a record; services/drift_again.py computes it a second time from what was known then.
"""

import datetime as dt
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict
from itertools import islice

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from checks.engine.drift import MODEL_VERSION, FleetFit, Thresholds, fit_fleet
from checks.models import DriftRun, SeriesState
from checks.services.drift_inputs import DriftInputs, gather
from checks.services.drift_states import states_of
from fleet.models import Aircraft

#: aircraft scored and stored together: the write lock is held for one such lot at a time
LOT = 25
#: a pass that was broken off goes on where it stopped while its fit is no older than this
GOES_ON = dt.timedelta(hours=20)
#: runs that nothing rests on any more stay so long
KEPT = dt.timedelta(days=400)
Progress = Callable[[int, int], None]
_KEYS = ("aircraft", "point")
_STORED = [
    field.name
    for field in SeriesState._meta.concrete_fields
    if not field.primary_key and field.name not in _KEYS
]


def refresh_drift(*, now: dt.datetime | None = None, told: Progress | None = None) -> DriftRun:
    """Fit the whole fleet to what the records held at `now` (None: this moment) and score every series.

    Reading and reckoning hold no lock; each lot of aircraft is stored in a short transaction of its own, so
    that people sign meanwhile. A pass that was broken off is gone on with. told(done, all): aircraft so far.
    """
    run = None if now else _broken_off()
    if run is None or not _pass(run, now, told):
        run = _fitted(now or timezone.now())
        _pass(run, now, told)
    with transaction.atomic():
        SeriesState.objects.filter(aircraft__state=Aircraft.State.LEFT).delete()
        run.finished_at = timezone.now()
        run.save(update_fields=["finished_at"])
    prune_runs(now=timezone.now())
    return run


def refresh_aircraft_drift(*, aircraft: Aircraft) -> None:
    """Score one aircraft's series by the last stored fit. A first run, another model version or a point that
    the fit has never seen asks for a run over the whole fleet instead."""
    refresh_some_drift(aircraft_ids=[aircraft.pk])


def refresh_some_drift(*, aircraft_ids: Iterable[int]) -> None:
    """The same for several aircraft, as where an instrument was found out of calibration."""
    run = DriftRun.objects.order_by("-run_at", "-pk").first()
    for lot in _lots(sorted(set(aircraft_ids))):
        if run is None or not _score(lot, run):
            refresh_drift()
            return


def prune_runs(*, now: dt.datetime) -> int:
    """Remove fits older than KEPT that nothing refers to; gives how many.

    Kept as long as it is referred to: by a series scored by it, by a question in a check's record, and by a
    report that was printed (`printed_at`).
    """
    old = DriftRun.objects.filter(run_at__lt=now - KEPT, printed_at=None)
    return old.filter(series=None, questions=None).delete()[0]


def keep_printed(number: int) -> None:
    """A report on paper names this fit: it is kept from now on. One query."""
    DriftRun.objects.filter(pk=number, printed_at=None).update(printed_at=timezone.now())


def _broken_off() -> DriftRun | None:
    """The newest pass, if it was not finished and its fit is fresh and of this model."""
    newest = DriftRun.objects.order_by("-run_at", "-pk").first()
    if newest is None or newest.finished_at or newest.run_at < timezone.now() - GOES_ON:
        return None
    return newest if newest.model_version == MODEL_VERSION else None


def _fitted(now: dt.datetime) -> DriftRun:
    """A new run: the fit, kept before anything is scored by it."""
    inputs = gather(now=now)
    fit = fit_fleet(inputs.readings, inputs.references, now=inputs.now, lives=inputs.lives)
    return DriftRun.objects.create(
        model_version=MODEL_VERSION,
        parameters={"fit": fit.as_dict(), "thresholds": asdict(Thresholds())},
        inputs_hash=inputs.digest(),
        readings=len(inputs.readings),
        run_at=now,
    )


def _pass(run: DriftRun, now: dt.datetime | None, told: Progress | None) -> bool:
    """Score every aircraft that the run has not scored yet; False where its fit does not serve one."""
    left = list(_not_scored_by(run).values_list("pk", flat=True))
    total = Aircraft.objects.exclude(state=Aircraft.State.LEFT).count()
    done = total - len(left)
    for lot in _lots(left):
        if not _score_lot(lot, run, now):
            return False
        done += len(lot)
        if told:
            told(done, total)
    return True


def _lots(keys: Iterable[int]) -> Iterator[list[int]]:
    rest = iter(keys)
    while lot := list(islice(rest, LOT)):
        yield lot


def _not_scored_by(run: DriftRun) -> QuerySet[Aircraft]:
    """Aircraft that fly and have no series of this run, or another one's beside it."""
    flying = Aircraft.objects.exclude(state=Aircraft.State.LEFT)
    older = SeriesState.objects.exclude(run=run).values("aircraft")
    scored = SeriesState.objects.filter(run=run).values("aircraft")
    return flying.exclude(pk__in=scored.exclude(aircraft__in=older)).order_by("pk")


def _score_lot(lot: list[int], run: DriftRun, now: dt.datetime | None) -> bool:
    """Score a lot without a lock, then store it; False where the fit does not serve it.

    What was scored meanwhile, by a signing, rests on newer records: it is scored once more by this run
    instead of being covered by the older picture.
    """
    at = now or timezone.now()
    inputs = gather(now=at, aircraft_ids=lot)
    fit = fit_of(run, inputs)
    if fit is None:
        return False
    states = states_of(inputs, fit, Thresholds())
    with transaction.atomic():
        _hold(lot)
        stored = SeriesState.objects.filter(aircraft__in=lot)
        newer = set(stored.filter(scored_at__gt=at).values_list("aircraft", flat=True))
        older = [state for state in states if state.aircraft_id not in newer]
        _store(older, run, at, stored.exclude(aircraft__in=newer))
    return not newer or _score(sorted(newer), run)


@transaction.atomic
def _score(aircraft_ids: list[int], run: DriftRun) -> bool:
    """Whether the fit of the run could score the aircraft as they are now."""
    # Two of one aircraft wait for each other, so that the later one has seen what both signed.
    _hold(aircraft_ids)
    at = timezone.now()
    inputs = gather(now=at, aircraft_ids=aircraft_ids)
    fit = fit_of(run, inputs)
    if fit is None:
        return False
    states = states_of(inputs, fit, Thresholds())
    _store(states, run, at, SeriesState.objects.filter(aircraft__in=aircraft_ids))
    return True


def _hold(aircraft_ids: list[int]) -> None:
    """Lock the aircraft, always in the same order."""
    held = Aircraft.objects.filter(pk__in=aircraft_ids).order_by("pk")
    list(held.select_for_update(no_key=True).values_list("pk"))


def fit_of(run: DriftRun, inputs: DriftInputs) -> FleetFit | None:
    """The stored fit; None where it does not serve these inputs."""
    if run.model_version != MODEL_VERSION:
        return None
    try:
        fit = FleetFit.from_dict(run.parameters["fit"])
    except (KeyError, TypeError):  # stored by another release of this model version
        return None
    return fit if set(inputs.readings.group.tolist()) <= set(fit.groups) else None


def _store(states: Iterable[SeriesState], run: DriftRun, at: dt.datetime, stored: QuerySet) -> None:
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
