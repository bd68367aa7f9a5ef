"""Drift kept: what a run stores, what signing scores anew, and what it costs."""

import datetime as dt
from collections.abc import Iterator

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from checks.engine.drift import MODEL_VERSION
from checks.models import DriftRun, DuePoint, SeriesState, Signature
from checks.services.drift import refresh_aircraft_drift, refresh_drift
from checks.services.due import refresh_due
from fleet.models import Aircraft
from tests.checks.drift_history import ago, at_noon, ramp, read_check, series
from tests.checks.work import performed
from tests.world import TODAY, World, build_world

pytestmark = pytest.mark.django_db
STATE = SeriesState.State


@pytest.fixture(autouse=True)
def _today() -> Iterator[None]:
    with time_machine.travel(at_noon(), tick=False):
        yield


@pytest.fixture
def world() -> World:
    return build_world()


# --- what is stored --------------------------------------------------------------------------------


def test_a_run_says_what_it_rests_on(world: World) -> None:
    ramp(world, world.forward, 0.0, checks=4)
    run = refresh_drift()
    assert (run.model_version, run.readings) == (MODEL_VERSION, 4)
    assert len(run.inputs_hash) == 64 and run.parameters["fit"]["readings"] == 4


def test_links_to_a_series_go_on_working(world: World) -> None:
    ramp(world, world.forward, 0.0)
    refresh_drift()
    key = series(world.forward).pk
    refresh_drift()
    assert series(world.forward).pk == key


def test_series_without_standing_readings_and_of_aircraft_that_left_go(world: World) -> None:
    ramp(world, world.forward, 0.0, checks=3)
    ramp(world, world.underfloor, 0.0, checks=3)
    refresh_drift()
    assert SeriesState.objects.count() == 2
    world.underfloor.state = Aircraft.State.LEFT
    world.underfloor.save()
    refresh_drift()
    assert list(SeriesState.objects.values_list("aircraft", flat=True)) == [world.forward.pk]


def test_an_empty_fleet_has_a_run_and_no_series(world: World) -> None:
    run = refresh_drift()
    assert (run.readings, SeriesState.objects.count()) == (0, 0)


def test_the_next_check_is_the_first_that_reads_the_point(world: World) -> None:
    ramp(world, world.forward, 0.0)
    refresh_due()
    refresh_drift()
    planned = DuePoint.objects.get(aircraft=world.forward, check_due__procedure__code="pressure-flow")
    assert planned.due_on and series(world.forward).next_check_on == planned.due_on


def test_a_point_without_a_reference_table_is_not_followed(world: World) -> None:
    world.point(world.forward, "port").reference_rows.all().delete()
    read_check(world, world.forward, ago(5), {"nozzle": 0.0}, gauge="vessel-500")
    refresh_drift()
    assert list(SeriesState.objects.values_list("point__code", flat=True)) == ["nozzle"]


# --- after signing ---------------------------------------------------------------------------------


def test_signing_scores_that_aircraft_alone_by_the_stored_fit(
    world: World, django_capture_on_commit_callbacks
) -> None:
    ramp(world, world.forward, 0.0)
    ramp(world, world.underfloor, 0.0, seed=2)
    run = refresh_drift()
    other = series(world.underfloor).scored_at
    later = time_machine.travel(at_noon() + dt.timedelta(minutes=5), tick=False)
    with later, django_capture_on_commit_callbacks(execute=True):
        performed(world, world.forward, series=("139", "150", "150", "150"), kept="twice")
    found = series(world.forward)
    assert found.state == STATE.OVER and found.run == run and DriftRun.objects.count() == 1
    assert found.scored_at > other and series(world.underfloor).scored_at == other


def test_a_failing_score_never_undoes_a_signature(
    world: World, django_capture_on_commit_callbacks, monkeypatch, caplog
) -> None:
    def fail(**_: object) -> None:
        raise RuntimeError("no numbers today")

    monkeypatch.setattr("checks.services.after_sign.refresh_aircraft_drift", fail)
    with django_capture_on_commit_callbacks(execute=True):
        event = performed(world, world.forward)
    assert event.signatures.get().act == Signature.Act.PERFORMED
    assert "no numbers today" in caplog.text


def test_the_first_signed_check_brings_the_first_run(world: World) -> None:
    read_check(world, world.forward, ago(1), {"port": 0.0})
    refresh_aircraft_drift(aircraft=world.forward)
    assert DriftRun.objects.count() == 1 and series(world.forward).readings_in_life == 1


@pytest.mark.parametrize("spoil", ["version", "shape", "point"])
def test_a_fit_that_does_not_serve_is_made_anew(world: World, spoil: str) -> None:
    read_check(world, world.forward, ago(1), {"port": 0.0})
    run = refresh_drift()
    if spoil == "version":
        run.model_version = "another"
    elif spoil == "shape":
        run.parameters = {"fit": {"groups": {}}}
    else:
        run.parameters["fit"]["groups"] = {}
    run.run_at -= dt.timedelta(hours=1)
    run.save()
    refresh_aircraft_drift(aircraft=world.forward)
    assert DriftRun.objects.count() == 2


def test_an_aircraft_signed_for_meanwhile_is_scored_once_more(world: World) -> None:
    """The fleet's run read before the signing: its older picture must not cover the newer one."""
    ramp(world, world.forward, 0.0)
    refresh_drift()
    read_check(world, world.forward, TODAY, {"port": 0.6})
    with time_machine.travel(at_noon() + dt.timedelta(minutes=2), tick=False):
        refresh_aircraft_drift(aircraft=world.forward)
    stale = at_noon() - dt.timedelta(days=1)
    run = refresh_drift(now=stale)
    found = series(world.forward)
    assert (found.state, found.run) == (STATE.OVER, run)


# --- cost -----------------------------------------------------------------------------------------


def test_queries_do_not_grow_with_the_fleet(world: World) -> None:
    def cost() -> tuple[int, int]:
        with CaptureQueriesContext(connection) as fleet:
            refresh_drift()
        with CaptureQueriesContext(connection) as one:
            refresh_aircraft_drift(aircraft=world.forward)
        return len(fleet), len(one)

    ramp(world, world.forward, 0.0, checks=2)
    refresh_drift()
    few = cost()
    for aircraft in world.fleet:
        ramp(world, aircraft, 0.0, checks=10, every=37, last_ago=30)
    refresh_drift()
    assert cost() == few


def test_an_event_signed_on_a_day_that_has_begun_elsewhere_counts_at_once(world: World) -> None:
    tomorrow = TODAY + dt.timedelta(days=1)
    read_check(world, world.forward, tomorrow, {"port": 0.5}, signed_at=at_noon())
    refresh_drift()
    assert series(world.forward).state == STATE.OVER
