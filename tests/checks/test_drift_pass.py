"""The nightly pass: broken off and gone on with, beside people who sign, and which fits it keeps."""

import datetime as dt
import threading
from collections.abc import Iterator

import pytest
import time_machine
from django.core.management import call_command
from django.db import connection

from checks.models import DriftRun, EntryQuestion, SeriesState
from checks.services import drift
from checks.services.drift import KEPT, prune_runs, refresh_drift
from checks.services.drift_again import series_again
from tests.checks.drift_history import at_noon, ramp, read_check, series
from tests.checks.work import performed, started
from tests.world import TODAY, World, build_world

pytestmark = pytest.mark.django_db
AIRCRAFT = 5


class Stopped(Exception):
    """The machine goes down."""


@pytest.fixture(autouse=True)
def _today() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(at_noon(), tick=False) as clock:
        yield clock


@pytest.fixture
def world(monkeypatch: pytest.MonkeyPatch) -> World:
    """Five aircraft with history; the pass stores them one at a time."""
    monkeypatch.setattr(drift, "LOT", 1)
    made = build_world(aircraft=AIRCRAFT)
    for seed, aircraft in enumerate(made.fleet):
        ramp(made, aircraft, 0.0, checks=4, seed=seed)
    return made


def stop_after(number: int):
    def told(done: int, total: int) -> None:
        if done == number:
            raise Stopped

    return told


def scored_by(run: DriftRun) -> int:
    return SeriesState.objects.filter(run=run).count()


def test_a_pass_killed_midway_goes_on_where_it_was(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(Stopped):
        refresh_drift(told=stop_after(2))
    broken = DriftRun.objects.get()
    assert broken.finished_at is None and scored_by(broken) == 2
    monkeypatch.setattr(drift, "fit_fleet", None)  # the fit is kept: it is not made again
    seen: list[tuple[int, int]] = []
    run = refresh_drift(told=lambda *done: seen.append(done))
    assert run == broken and run.finished_at and scored_by(run) == AIRCRAFT
    assert seen == [(3, 5), (4, 5), (5, 5)]


def test_a_finished_pass_is_followed_by_a_new_one(world: World) -> None:
    first = refresh_drift()
    assert refresh_drift() != first and scored_by(first) == 0


@pytest.mark.parametrize("why", ["old", "another model", "a point it never saw"])
def test_a_pass_that_can_not_go_on_is_made_anew(world: World, why: str) -> None:
    with pytest.raises(Stopped):
        refresh_drift(told=stop_after(2))
    broken = DriftRun.objects.get()
    if why == "old":
        broken.run_at -= dt.timedelta(hours=21)
    elif why == "another model":
        broken.model_version = "another"
    else:
        broken.parameters["fit"]["groups"] = {}
    broken.save()
    run = refresh_drift()
    assert run != broken and scored_by(run) == AIRCRAFT


def test_progress_is_told_by_the_command(world: World, capsys: pytest.CaptureFixture) -> None:
    call_command("refresh_drift", verbosity=2)
    out = capsys.readouterr().out
    assert "1 of 5 aircraft\n" in out and "5 of 5 aircraft\n5 series scored from 20 readings" in out


def test_a_signature_during_the_pass_is_not_lost(
    world: World, _today: time_machine.Traveller, django_capture_on_commit_callbacks
) -> None:
    """Signed while the pass is at work, before and after the pass comes to the aircraft."""
    early, late = world.fleet[0], world.fleet[4]

    def told(done: int, _: int) -> None:
        if done != 2:
            return
        _today.shift(dt.timedelta(minutes=1))
        for aircraft in (early, late):
            with django_capture_on_commit_callbacks(execute=True):
                performed(world, aircraft, series=("139", "150", "150", "150"), kept="twice")

    run = refresh_drift(told=told)
    for aircraft in (early, late):
        state = series(aircraft)
        assert (state.state, state.run, state.readings_in_life) == ("over limit", run, 5)
        assert series_again(state).equal


def test_a_picture_that_is_older_than_a_signature_does_not_cover_it(
    world: World, _today: time_machine.Traveller, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The pass has read an aircraft; before it stores, the aircraft is signed for and scored."""
    one, states_of = world.fleet[0], drift.states_of
    refresh_drift()

    first = [one.pk]

    def slow(inputs, *rest):
        made = states_of(inputs, *rest)
        if inputs.keys[0][0] in first:
            first.clear()
            _today.shift(dt.timedelta(minutes=1))
            read_check(world, one, TODAY, {"port": 0.6})
            drift.refresh_aircraft_drift(aircraft=one)
        return made

    monkeypatch.setattr(drift, "states_of", slow)
    run = refresh_drift()
    state = series(one)
    assert (state.state, state.run, state.readings_in_life) == ("over limit", run, 5)


@pytest.mark.django_db(transaction=True)
def test_the_pass_holds_the_database_for_no_longer_than_a_lot(world: World) -> None:
    """Somebody else writes between two lots, from a connection of their own."""
    wrote: list[int] = []

    def write(done: int) -> None:
        DriftRun.objects.filter(finished_at=None).update(readings=done)
        wrote.append(done)
        connection.close()

    def told(done: int, _: int) -> None:
        other = threading.Thread(target=write, args=(done,))
        other.start()
        other.join(timeout=10)

    refresh_drift(told=told)
    assert wrote == [1, 2, 3, 4, 5]


# --- which fits are kept --------------------------------------------------------------------------------


def old_run(**more: object) -> DriftRun:
    at = at_noon() - KEPT - dt.timedelta(days=1)
    return DriftRun.objects.create(
        model_version="m", parameters={}, inputs_hash="", readings=0, run_at=at, finished_at=at, **more
    )


def test_old_fits_go_but_those_that_something_refers_to(world: World) -> None:
    old_run()
    printed, asked = old_run(printed_at=at_noon()), old_run()
    draft = started(world, world.forward)
    EntryQuestion.objects.create(
        event=draft, step=draft.revision.steps.first(), answer="kept", reason="seen twice", run=asked
    )
    newest = refresh_drift()
    assert set(DriftRun.objects.all()) == {printed, asked, newest}
    resting = old_run()
    SeriesState.objects.filter(aircraft=world.forward).update(run=resting)
    prune_runs(now=at_noon())
    assert set(DriftRun.objects.all()) == {printed, asked, resting, newest}
    assert SeriesState.objects.count() == AIRCRAFT
