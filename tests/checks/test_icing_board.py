"""The board of a large fleet says of each aircraft what its status says."""

import dataclasses
import datetime as dt
from decimal import Decimal

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from checks.selectors import icing
from checks.selectors.icing import icing_statuses
from checks.selectors.icing_board import board, statuses_of
from checks.services.defects import raise_defect
from checks.services.due import refresh_due
from checks.services.record import save_draft
from fleet.models import Aircraft, Operator
from tests.checks.deferring import deferred
from tests.checks.test_doubt import found as found_out
from tests.checks.test_due_states import random_history
from tests.checks.work import performed, started, typed
from tests.world import TODAY, World, build_world

pytestmark = pytest.mark.django_db
NOON = dt.datetime.combine(TODAY, dt.time(12), dt.UTC)
LOW = ("8", "8", "8", "8")


@pytest.fixture
def clock():
    with time_machine.travel(NOON, tick=False) as traveller:
        yield traveller


@pytest.fixture
def world(clock: time_machine.Traveller) -> World:
    """Sixteen aircraft with every state of due points, one left, and between them every kind of reason."""
    world = build_world(aircraft=16)
    random_history(world, 2)
    forward = [one for one in world.fleet if one.variant.code == "forward"]
    for aircraft in world.fleet[:2]:
        raise_defect(aircraft=aircraft, by=world.person("technician1"), description="Invented.")
    performed(world, forward[2])
    found_out(world, None, found_on=TODAY)
    clock.shift(60)
    performed(world, forward[3], series=LOW, volume="2")
    draft = started(world, forward[4])
    given = typed(draft)
    left = tuple(dataclasses.replace(one, restored=False) for one in given.cautions)
    save_draft(event=draft, by=draft.started_by, given=dataclasses.replace(given, cautions=left))
    world.signed(forward[5], TODAY, code="deactivation")
    by = world.person("controller1")
    for number, how in (("30-10-03", {}), ("30-10-02", {}), ("30-20-02", {"from_hours": Decimal(2000)})):
        defect = raise_defect(aircraft=forward[6], by=by, description=f"Wet patch, {number}.")
        deferred(world, defect, number, **how)
    for aircraft, state in zip(world.fleet[2:4], (Aircraft.State.STORED, Aircraft.State.LEFT), strict=True):
        Aircraft.objects.filter(pk=aircraft.pk).update(state=state)
    Operator.objects.update(stale_use_days=7)  # the use of a deferral is told as long
    clock.shift(dt.timedelta(days=8))
    refresh_due()
    return world


@pytest.mark.parametrize("stale_after", [7, 3650])
def test_lines_stand_as_the_statuses_do(world: World, stale_after: int) -> None:
    Operator.objects.update(stale_use_days=stale_after)
    at = timezone.now()
    statuses, found = icing_statuses(at=at), board(at=at, fleet=Aircraft.objects.all())
    plain = board(at=at, fleet=Aircraft.objects.all(), ranked=False)
    assert [line.pk for line in found.lines] == [status.aircraft.pk for status in statuses]
    assert len(statuses) == 15
    for line, other, status in zip(found.lines, plain.lines, statuses, strict=True):
        assert (found.gravity(line), found.words(line)) == (status.gravity, status.words)
        assert plain.words(other) == status.words
    for one in (found, plain):
        words = [sorted(map(str, status.reasons)) for status in statuses_of(one, one.lines)]
        assert words == [sorted(map(str, status.reasons)) for status in statuses]
    kinds = {reason.kind for status in statuses for reason in status.reasons}
    assert kinds == set(icing.KINDS) - ({icing.STALE} if stale_after > 7 else set())


def test_without_ranks_nothing_is_said_of_gravity(world: World) -> None:
    plain = board(at=timezone.now(), fleet=Aircraft.objects.all(), ranked=False)
    with pytest.raises(ValueError, match="without ranks"):
        plain.gravity(plain.lines[0])


def test_a_part_of_the_fleet_stands_as_it_does_among_all(world: World) -> None:
    part = Aircraft.objects.filter(base=world.fleet[0].base)
    at = timezone.now()
    found, keys = board(at=at, fleet=part), set(part.values_list("pk", flat=True))
    expected = [status for status in icing_statuses(at=at) if status.aircraft.pk in keys]
    assert [found.gravity(line) for line in found.lines] == [status.gravity for status in expected]


def test_lines_come_in_the_order_asked_for(world: World) -> None:
    found = board(at=timezone.now(), fleet=Aircraft.objects.all())
    turned = statuses_of(found, found.lines[::-1][:4])
    assert [one.aircraft.pk for one in turned] == [line.pk for line in found.lines[::-1][:4]]


@pytest.mark.parametrize("ranked", [False, True])
def test_it_costs_six_queries_whatever_the_number(db: None, ranked: bool) -> None:
    counts = []
    world = build_world(aircraft=22)
    for number in (2, 22):
        fleet = Aircraft.objects.filter(pk__in=[one.pk for one in world.fleet[:number]])
        with CaptureQueriesContext(connection) as caught:
            found = board(at=timezone.now(), fleet=fleet, ranked=ranked)
            statuses_of(found, found.lines[:100])
        counts.append(len(caught))
        assert len(found.lines) == number
    assert counts == [6, 6]
