"""What the tests of the role homes share: the small world at noon, drift results, deferrals."""

import datetime as dt
from collections.abc import Iterator

import time_machine
from django.utils import timezone

from checks.models import Defect, DriftRun, SeriesState
from fleet.models import Aircraft
from tests.checks import deferring
from tests.world import World

NOON = dt.datetime(2025, 3, 12, 12, tzinfo=dt.UTC)


def noon() -> Iterator[time_machine.Traveller]:
    """Time stands where the test puts it, first at noon of the world's today."""
    with time_machine.travel(NOON, tick=False) as traveller:
        yield traveller


def series(aircraft: Aircraft, code: str, state: str, **more: object) -> SeriesState:
    """A stored drift result, as the trend service leaves it."""
    run = DriftRun.objects.first() or DriftRun.objects.create(
        model_version="t", parameters={}, inputs_hash="0", readings=9, run_at=timezone.now()
    )
    chart = {"running": 0, "lives": [], "events": [], "days": [], "at_20": [], "limit": None}
    given = {"action": "purge before", "readings_in_life": 6, "chart": chart} | more
    return SeriesState.objects.create(
        aircraft=aircraft,
        point=aircraft.variant.points.get(code=code),
        run=run,
        state=state,
        urgency=SeriesState.URGENCY.index(state),
        **given,
    )


def defer_until(world: World, defect: Defect, category: str) -> None:
    deferring.deferred(world, defect, category)
