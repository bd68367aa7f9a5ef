"""What the tests of the pages of a check share: a world at noon, people logged in, and a form as posted."""

import datetime as dt
from collections.abc import Iterator

import time_machine
from django.test import Client

from checks.models import CheckEvent, Step
from checks.services.inputs import DraftInput
from tests.world import World, build_world

NOON = dt.datetime(2025, 3, 12, 12, tzinfo=dt.UTC)
OVER = ("300", "310", "310", "310")


def world_at_noon() -> Iterator[World]:
    """The small world, the clock standing at noon of its day; `world.clock` moves it."""
    with time_machine.travel(NOON) as clock:
        built = build_world()
        built.clock = clock
        yield built


def logged_in(world: World, username: str) -> Client:
    client = Client()
    client.force_login(world.person(username), backend="django.contrib.auth.backends.ModelBackend")
    return client


def posted(event: CheckEvent, given: DraftInput) -> dict[str, str]:
    """A whole form as a browser sends it: boxes that are not ticked are left out."""
    data = dict(given.fields)
    series = {s.pk for s in event.revision.steps.all() if s.kind == Step.Kind.TIMED_SERIES}
    for row in given.readings:
        shared = f"series-{row.step}" if row.step in series else f"reading-{row.step}-{row.sequence}"
        data |= {row.name("typed"): row.typed, row.name("elapsed"): row.elapsed}
        data |= {row.name("started"): row.started}
        data |= {f"{shared}-unit": row.unit, f"{shared}-instrument": row.instrument}
        if row.step in series:
            data[f"{shared}-rows"] = str(max(row.sequence + 1, int(data.get(f"{shared}-rows", 0))))
    for look in given.observations:
        data |= {look.name("satisfactory"): look.satisfactory, look.name("remark"): look.remark}
    for caution in given.cautions:
        if caution.acknowledged:
            data[caution.name("acknowledged")] = "yes"
        if caution.restored:
            data[caution.name("restored")] = "yes"
    return data


def series_step(event: CheckEvent) -> Step:
    return event.revision.steps.get(kind=Step.Kind.TIMED_SERIES)


def address(event: CheckEvent, page: str = "") -> str:
    """The address of an event's page: '' of itself, else 'sign', 'release' and so on."""
    return f"/checks/{event.pk}/" + (f"{page}/" if page else "")
