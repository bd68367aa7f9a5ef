"""Collecting a pack costs the same number of queries for 2 checks and defects as for 22."""

import datetime as dt
from uuid import UUID

from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from checks.models import CheckEvent
from checks.services.defects import raise_defect
from reports.pack_tables import Span, files_of, pack_tables
from tests.checks.deferring import deferred
from tests.world import World


def queries(world: World) -> int:
    events: list[UUID] = list(CheckEvent.objects.signed().values_list("pk", flat=True))
    craft = type(world.forward).objects.select_related("variant", "base").get(pk=world.forward.pk)
    with CaptureQueriesContext(connection) as asked:
        told = pack_tables(craft, Span(), events, timezone.now())
        files_of(craft, Span(), events)
    assert len(told["defects"]) * 2 == len(events)
    return len(asked)


def grow(world: World, first: int, last: int) -> None:
    for number in range(first, last):
        world.signed(world.forward, world.today - dt.timedelta(days=100 - number))
        if number % 2:
            found = raise_defect(
                aircraft=world.forward, by=world.person("technician1"), description=f"Invented {number}."
            )
            deferred(world, found)


def test_two_and_twenty_two_cost_the_same(world: World):
    grow(world, 0, 2)
    few = queries(world)
    grow(world, 2, 22)
    assert queries(world) == few
