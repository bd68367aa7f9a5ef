"""The board of a large fleet says of each aircraft what its status says."""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from checks.selectors.icing import icing_statuses
from checks.selectors.icing_board import board, statuses_of
from checks.services.defects import raise_defect
from checks.services.due import refresh_due
from fleet.models import Aircraft
from tests.checks.test_due_states import random_history
from tests.world import TODAY, World, build_world

pytestmark = pytest.mark.django_db
AT = dt.datetime.combine(TODAY, dt.time(12), dt.UTC)


@pytest.fixture
def world() -> World:
    """Sixteen aircraft with every state of due points; two with defects, one stored, one left."""
    world = build_world(aircraft=16)
    random_history(world, 2)
    for aircraft in world.fleet[:2]:
        raise_defect(aircraft=aircraft, by=world.person("technician1"), description="Invented.")
    for aircraft, state in zip(world.fleet[2:4], (Aircraft.State.STORED, Aircraft.State.LEFT), strict=True):
        Aircraft.objects.filter(pk=aircraft.pk).update(state=state)
    refresh_due(today=TODAY)
    return world


def test_lines_stand_as_the_statuses_do(world: World) -> None:
    statuses, found = icing_statuses(at=AT), board(at=AT, fleet=Aircraft.objects.all())
    assert [line.pk for line in found.lines] == [status.aircraft.pk for status in statuses]
    assert len(statuses) == 15
    for line, status in zip(found.lines, statuses, strict=True):
        assert (line.gravity, line.words) == (status.gravity, status.words)
    words = statuses_of(found, found.lines)
    assert [sorted(map(str, one.reasons)) for one in words] == [
        sorted(map(str, one.reasons)) for one in statuses
    ]


def test_lines_come_in_the_order_asked_for(world: World) -> None:
    found = board(at=AT, fleet=Aircraft.objects.all())
    turned = statuses_of(found, found.lines[::-1][:4])
    assert [one.aircraft.pk for one in turned] == [line.pk for line in found.lines[::-1][:4]]


def test_it_costs_six_queries_whatever_the_number(world: World) -> None:
    counts = []
    for fleet in (
        Aircraft.objects.filter(pk__in=[one.pk for one in world.fleet[:2]]),
        Aircraft.objects.all(),
    ):
        with CaptureQueriesContext(connection) as caught:
            found = board(at=timezone.now(), fleet=fleet)
            statuses_of(found, found.lines[:2])
        counts.append(len(caught))
    assert counts == [6, 6]
