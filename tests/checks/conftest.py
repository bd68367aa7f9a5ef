"""A world with a clock of its own, for tests that record and sign."""

import datetime as dt
from collections.abc import Iterator

import pytest
import time_machine

from tests.world import World, build_world

NOON = dt.datetime(2025, 3, 12, 12, tzinfo=dt.UTC)


@pytest.fixture
def clock() -> Iterator[time_machine.Traveller]:
    """Time stands where the test puts it, first at noon of the world's today."""
    with time_machine.travel(NOON, tick=False) as traveller:
        yield traveller


@pytest.fixture
def world(db: None, clock: time_machine.Traveller) -> World:
    """Two aircraft, one of each variant, and no history."""
    return build_world()
