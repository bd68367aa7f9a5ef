"""A stored drift result made again from what was known then: equal, and not once anything was touched."""

import datetime as dt
from collections.abc import Iterator

import pytest
import time_machine
from django.core.management import CommandError, call_command
from django.db import connection

from checks.models import DriftRun, DuePoint, Result, SeriesState
from checks.services.drift import refresh_aircraft_drift, refresh_drift
from checks.services.drift_again import run_again, series_again
from checks.services.due import refresh_due
from tests.checks.drift_history import ago, at_noon, ramp, read_check, reset, series
from tests.guards import guards_lifted
from tests.world import TODAY, World, build_world

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _today() -> Iterator[None]:
    with time_machine.travel(at_noon(), tick=False):
        yield


@pytest.fixture
def world() -> World:
    """Two aircraft with some history each, fitted and scored."""
    made = build_world()
    ramp(made, made.forward, 0.15, checks=7)
    reset(made, made.forward, ago(60), ["port"])
    ramp(made, made.underfloor, 0.0, checks=6, seed=3)
    refresh_due()
    refresh_drift()
    return made


def test_a_result_comes_out_as_it_was_stored(world: World) -> None:
    assert [series_again(state).differences for state in SeriesState.objects.all()] == [(), ()]
    assert run_again(DriftRun.objects.get()).equal


def test_what_came_later_changes_nothing_of_it(world: World) -> None:
    """Readings, a plan and another fit that came after: the old result is still made as it was."""
    old = series(world.forward)
    with time_machine.travel(at_noon() + dt.timedelta(days=3), tick=False):
        read_check(world, world.forward, TODAY + dt.timedelta(days=2), {"port": 0.5}, minutes=5)
        DuePoint.objects.update(due_on=TODAY + dt.timedelta(days=900))
        assert series_again(old).equal
        refresh_aircraft_drift(aircraft=world.forward)
        new = series(world.forward)
        assert new.scored_at > old.scored_at and new.inputs_hash != old.inputs_hash
        assert series_again(new).equal


def test_a_result_of_one_aircraft_alone_is_that_of_the_whole_pass(world: World) -> None:
    """The hash rests on the aircraft's own records, whoever was scored beside it."""
    hashes = {state.pk: state.inputs_hash for state in SeriesState.objects.all()}
    refresh_aircraft_drift(aircraft=world.forward)
    assert {state.pk: state.inputs_hash for state in SeriesState.objects.all()} == hashes


@pytest.mark.parametrize("field", ["p_cross", "state", "margin", "chart", "facts"])
def test_a_figure_that_was_tampered_with_is_found_out(world: World, field: str) -> None:
    state = series(world.forward)
    spoilt = {"p_cross": 0.01, "state": "over limit", "margin": 0.5}
    if field in ("chart", "facts"):
        told = getattr(state, field)
        name = "as_read" if field == "chart" else "lives"
        spoilt[field] = told | {name: told[name][:-1]}
    SeriesState.objects.filter(pk=state.pk).update(**{field: spoilt[field]})
    (words,) = series_again(series(world.forward)).differences
    assert words.startswith(f"{field}: ")


def test_records_that_were_tampered_with_are_found_out(world: World) -> None:
    first = Result.objects.filter(event__aircraft=world.forward).order_by("event__work_date").first()
    with guards_lifted(connection):
        Result.objects.filter(pk=first.pk).update(value=first.value * 2)
    told = series_again(series(world.forward))
    assert told.differences[0] == "the records, as they were known then, are not those that were scored"
    assert series_again(series(world.underfloor)).equal
    assert not run_again(DriftRun.objects.get()).equal


def test_a_fit_that_was_tampered_with_is_found_out(world: World) -> None:
    run = DriftRun.objects.get()
    run.parameters["fit"]["s"] *= 2
    run.save()
    assert run_again(run).differences == ("the fit is another one",)


def test_a_result_of_another_model_says_so(world: World) -> None:
    DriftRun.objects.update(model_version="an older one")
    assert "an older one" in series_again(series(world.forward)).differences[0]
    assert "an older one" in run_again(DriftRun.objects.get()).differences[0]


def test_the_command_says_what_is_not_as_stored(world: World, capsys: pytest.CaptureFixture) -> None:
    call_command("reproduce_drift")
    assert "All 3 results came out as stored." in capsys.readouterr().out
    SeriesState.objects.filter(aircraft=world.forward).update(margin=0.9)
    call_command("reproduce_drift", world.underfloor.registration)
    with pytest.raises(CommandError, match="1 of 3 results are not as stored"):
        call_command("reproduce_drift")
    assert "margin: stored 0.9" in capsys.readouterr().out


def test_the_command_needs_something_stored(world: World) -> None:
    with pytest.raises(CommandError, match="Nothing is stored"):
        call_command("reproduce_drift", "Q-9999")
