"""How past forecasts did: readings foretold anew from what was on record before them, kept with what came.

A forecast is made on the first day of the month after a reading, by today's method and from what the records
held when that day began: no later reading, correction, decision or import, in the fit neither. Where the next
reading of the same life came sooner there is no forecast to grade. One kept stays until the records that it
rests on are corrected or the method changes.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from math import exp, log
from uuid import UUID

import numpy as np
from django.db import transaction
from django.db.models import Max, Q
from django.utils import timezone

from checks.engine.drift import MODEL_VERSION, FleetFit, Reference, SeriesScore, fit_fleet, score
from checks.engine.drift_series import prepare
from checks.models import CheckEvent, PastForecast, Signature
from checks.services.drift_inputs import DriftInputs, gather
from checks.services.drift_records import Key


@dataclass(frozen=True)
class Pair:
    """Two readings of one life that follow each other; row, came: their places among the readings."""

    key: Key
    after: UUID
    next: UUID
    life: int
    row: int
    came: int


def keep_past_forecasts(*, now: dt.datetime) -> None:
    """Keep the forecasts that are missing, drop those whose records were corrected since.

    Each month is a transaction of its own, so a run that was broken off goes on where it was.
    """
    inputs = gather(now=now)
    wanted = {(pair.key, pair.after, pair.next, pair.life): pair for pair in _pairs(inputs)}
    kept = _drop_others(set(wanted))
    missing = [pair for key, pair in wanted.items() if key not in kept]
    for month, pairs in sorted(_by_month(inputs, missing).items()):
        with transaction.atomic():
            PastForecast.objects.bulk_create(_foretold(inputs, month, pairs), ignore_conflicts=True)


def _pairs(inputs: DriftInputs) -> Iterable[Pair]:
    """Readings of one life that follow each other, as the records stand now."""
    read = inputs.readings
    first = {life.number: lives[0].number for lives in inputs.past for life in lives}
    order = np.lexsort((read.day, read.life))
    for row, came in zip(order[:-1].tolist(), order[1:].tolist(), strict=True):
        life = int(read.life[row])
        if life == int(read.life[came]):
            after, next_one = (inputs.events[int(read.check[place])] for place in (row, came))
            yield Pair(inputs.keys[int(read.series[row])], after, next_one, life - first[life], row, came)


def _drop_others(wanted: set[tuple[Key, UUID, UUID, int]]) -> set[tuple[Key, UUID, UUID, int]]:
    """The forecasts that stand; all others are deleted."""
    kept, gone = set(), []
    fields = ("pk", "aircraft", "point", "after", "came", "life", "model_version")
    for pk, aircraft, point, after, came, life, version in PastForecast.objects.order_by().values_list(
        *fields
    ):
        key = ((aircraft, point), after, came, life)
        if version == MODEL_VERSION and key in wanted:
            kept.add(key)
        else:
            gone.append(pk)
    for start in range(0, len(gone), 500):
        PastForecast.objects.filter(pk__in=gone[start : start + 500]).delete()
    return kept


def _by_month(inputs: DriftInputs, pairs: list[Pair]) -> dict[dt.date, list[Pair]]:
    """Pairs by the first of the month after their first reading was on record, if the next came later."""
    known = _known({pair.after for pair in pairs})
    found: dict[dt.date, list[Pair]] = defaultdict(list)
    for pair in pairs:
        month = (known[pair.after].replace(day=1) + dt.timedelta(days=32)).replace(day=1)
        if month < _date(float(inputs.readings.day[pair.came])):
            found[month].append(pair)
    return found


def _known(events: set[UUID]) -> dict[UUID, dt.date]:
    """The day on which a reading of each event was on record and counted."""
    inspected = Max("signatures__signed_at", filter=Q(signatures__act=Signature.Act.INSPECTED))
    found = CheckEvent.objects.filter(pk__in=events).order_by().annotate(inspected=inspected)
    moments = ("signed_at", "import_batch__imported_at", "decision__decided_at", "inspected")
    return {
        pk: max(timezone.localdate(one) for one in told if one)
        for pk, *told in found.values_list("pk", *moments)
    }


def _foretold(inputs: DriftInputs, month: dt.date, pairs: list[Pair]) -> list[PastForecast]:
    """The forecasts of one month for what came."""
    at = timezone.make_aware(dt.datetime.combine(month, dt.time()))
    then = gather(now=at)
    if not len(then.readings):
        return []
    fit = fit_fleet(then.readings, then.references, now=then.now, lives=then.lives)
    values = _at_20(inputs, [pair.came for pair in pairs], fit)
    scores = _scores(inputs, then, pairs, fit)
    last = _last_events(then)
    return [
        _row(inputs, month, pair, scores[pair.key], value)
        for pair, value in zip(pairs, values, strict=True)
        if pair.key in scores and value is not None and last.get(pair.key) == pair.after
    ]


def _at_20(inputs: DriftInputs, rows: list[int], fit: FleetFit) -> list[float | None]:
    """What came, brought to 20 °C by what the fit of that time says; None where it can't be."""
    known = [row for row in rows if int(inputs.readings.group[row]) in fit.groups]
    ready = prepare(inputs.readings.take(known), inputs.references, fit, np.inf)
    found = {known[int(row)]: float(y) for row, y in zip(ready.row, ready.y, strict=True)}
    nominal = {row: inputs.references[int(inputs.readings.group[row])].nominal for row in rows}
    return [nominal[row] * exp(found[row]) if row in found else None for row in rows]


def _scores(
    inputs: DriftInputs, then: DriftInputs, pairs: list[Pair], fit: FleetFit
) -> dict[Key, SeriesScore]:
    """What was to be said then of the series, for the very day on which each was read next."""
    place = {key: series for series, key in enumerate(then.keys)}
    ahead = {
        place[pair.key]: max(float(inputs.readings.day[pair.came]) - then.now, 0.0)
        for pair in pairs
        if pair.key in place
    }
    aircraft = {pair.key[0] for pair in pairs}
    chosen = np.array([then.keys[int(series)][0] in aircraft for series in then.readings.series], dtype=bool)
    told = score(
        then.readings.take(chosen),
        then.references,
        fit,
        then.now,
        {**then.horizons, **ahead},
        over=then.over[chosen],
        lives=then.lives,
        charts=False,
        questioned=then.questioned[chosen],
    )
    return {then.keys[one.series]: one for one in told if one.series in ahead}


def _last_events(then: DriftInputs) -> dict[Key, UUID]:
    """The event of the newest reading of each series whose last life had been read."""
    order = np.argsort(then.readings.day, kind="stable")
    checks = dict(zip(then.readings.series[order].tolist(), then.readings.check[order].tolist(), strict=True))
    return {
        key: then.events[checks[series]]
        for series, key in enumerate(then.keys)
        if series in checks and then.past[series][-1].readings
    }


def _row(inputs: DriftInputs, month: dt.date, pair: Pair, told: SeriesScore, value: float) -> PastForecast:
    read_on, came_on = (_date(float(inputs.readings.day[row])) for row in (pair.row, pair.came))
    was_over, over = (bool(inputs.over[row]) for row in (pair.row, pair.came))
    reference = inputs.references[pair.key[1]]
    crosses = over and not was_over
    return PastForecast(
        aircraft_id=pair.key[0],
        point_id=pair.key[1],
        after=pair.after,
        came=pair.next,
        life=pair.life,
        made_on=month,
        read_on=read_on,
        came_on=came_on,
        readings_in_life=told.n_in_life,
        state=told.state,
        p_cross=told.p_cross,
        crossing_on=_date(told.crossing_day),
        low=told.next_low,
        high=told.next_high,
        value=value,
        was_over=was_over,
        over=over,
        crossed_on=_crossed(read_on, told.last_20, came_on, value, reference) if crosses else None,
        model_version=MODEL_VERSION,
    )


def _crossed(
    read_on: dt.date, before: float, came_on: dt.date, after: float, reference: Reference
) -> dt.date | None:
    """Where a straight line in ln between the two readings meets the limit at 20 °C."""
    limit = reference.limit_20
    if not before < limit <= after:
        return None
    share = log(limit / before) / log(after / before)
    return read_on + dt.timedelta(days=round(share * (came_on - read_on).days))


def _date(day: float | None) -> dt.date | None:
    return None if day is None else dt.date.fromordinal(int(day))
