"""The report card of the trend: past forecasts counted; night by night, which series ask for something."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import asdict

from django.db.models import Max
from django.db.models.functions import TruncMonth
from django.utils import timezone

from checks.engine.drift import MODEL_VERSION, Thresholds, fit_fleet
from checks.engine.drift_card import ALL, LAST_DAYS, LAST_YEAR, WARNED, Grade, Past, grade
from checks.engine.drift_data import OVER_LIMIT
from checks.models import ForecastCard, PastForecast, SeriesState
from checks.services.drift_inputs import gather
from checks.services.drift_past import keep_past_forecasts
from checks.services.drift_records import Key
from checks.services.drift_states import states_of

#: what has changed is told against the state of so many days ago
CHANGES_DAYS = 30
KEPT_DAYS = 92
#: of a stored forecast, in the order of engine.drift_card.Past after its days
TOLD = ("state", "p_cross", "low", "high", "value", "was_over", "over")
ON_DAYS = ("made_on", "came_on", "crossing_on", "crossed_on")


def refresh_report_card(*, now: dt.datetime | None = None) -> ForecastCard:
    """Foretell what is missing and count all past forecasts. Run it after refresh_drift."""
    now = now or timezone.now()
    keep_past_forecasts(now=now)
    _remember(now)
    alarms = _alarms(SeriesState.objects.all())
    return ForecastCard.objects.create(
        made_at=now, model_version=MODEL_VERSION, grades=_grades(now), alarms=alarms
    )


def _remember(now: dt.datetime) -> None:
    """A card of a month ago, where none is that old: what has changed since can be told from the first day.

    Of those older than a quarter the newest of each month stay.
    """
    before = now - dt.timedelta(days=CHANGES_DAYS)
    if not ForecastCard.objects.filter(made_at__lte=before).exists():
        then = gather(now=before)
        fit = fit_fleet(then.readings, then.references, now=then.now, lives=then.lives)
        alarms = _alarms(states_of(then, fit, Thresholds())) if len(then.readings) else []
        ForecastCard.objects.create(made_at=before, model_version=MODEL_VERSION, grades={}, alarms=alarms)
    old = ForecastCard.objects.filter(made_at__lt=now - dt.timedelta(days=KEPT_DAYS))
    newest = old.values(month=TruncMonth("made_at")).order_by().annotate(last=Max("made_at")).values("last")
    old.exclude(made_at__in=list(newest.values_list("last", flat=True))).delete()


def _alarms(states: Iterable[SeriesState]) -> list[list]:
    """[aircraft, point, state] of those that ask a person for something."""
    alarms = (OVER_LIMIT, *WARNED)
    return [[one.aircraft_id, one.point_id, str(one.state)] for one in states if one.state in alarms]


def _grades(now: dt.datetime) -> dict[str, dict]:
    """The grade of the last twelve months, of each calendar year and of all, ready for JSON."""
    pasts = _pasts()
    today = timezone.localdate(now)
    until = float(today.toordinal())
    found: dict[str, Grade] = {
        LAST_YEAR: grade(pasts, until - LAST_DAYS, until),
        ALL: grade(pasts, 0.0, until),
    }
    for year in sorted({dt.date.fromordinal(int(past.came)).year for past in pasts}, reverse=True):
        begins, ends = (dt.date(one, 12, 31).toordinal() for one in (year - 1, year))
        found[str(year)] = grade(pasts, float(begins), float(ends))
    return {name: asdict(one) for name, one in found.items()}


def _pasts() -> list[Past]:
    """Every kept forecast as the engine counts it. Two queries."""
    running = dict(_running())
    found = []
    for aircraft, point, life, *rest in PastForecast.objects.order_by().values_list(
        "aircraft", "point", "life", *ON_DAYS, *TOLD
    ):
        made, came, crossing, crossed = (day and float(day.toordinal()) for day in rest[: len(ON_DAYS)])
        ended = life < running.get((aircraft, point), life + 1)
        key = (aircraft, point, life)
        found.append(Past(key, ended, made, came, *rest[len(ON_DAYS) :], crossing, crossed))
    return found


def _running() -> Iterable[tuple[Key, int]]:
    """The number of the life that runs now, of every series."""
    for aircraft, point, number in SeriesState.objects.values_list("aircraft", "point", "chart__running"):
        yield (aircraft, point), number
