"""The list of records: filtered, sorted, in a fixed number of queries."""

import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from checks.models import CheckEvent
from checks.services.sign import sign_released
from tests.checks.check_pages import OVER, logged_in, world_at_noon
from tests.checks.due_history import done
from tests.checks.work import performed, started
from tests.world import PASSWORD, World

pytestmark = pytest.mark.django_db
world = pytest.fixture(world_at_noon)
RECORDS = "/records/"


@pytest.fixture
def reader(world: World) -> Client:
    return logged_in(world, "auditor1")


def listed(client: Client, **query: str) -> list[str]:
    """The keys of the events of a list, in its order."""
    response = client.get(RECORDS, query)
    assert response.status_code == 200
    return re.findall(r'href="/checks/([0-9a-f-]{36})/"', response.content.decode())


@pytest.fixture
def kinds(world: World) -> dict[str, CheckEvent]:
    """One of each state."""
    events = {
        "draft": started(world, world.forward),
        "signed": performed(world, world.underfloor, series=OVER),
        "released": performed(world, world.forward),
        "awaiting": performed(world, world.forward, "panel-replacement"),
    }
    sign_released(event=events["released"], by=world.person("releaser1"), password=PASSWORD)
    events["superseded"] = done(world, world.forward, world.master.days_ago(40))
    events["correction"] = done(
        world,
        world.forward,
        world.master.days_ago(40),
        supersedes=events["superseded"],
        correction_reason="misread",
        source=CheckEvent.Source.IMPORTED,
    )
    return events


@pytest.mark.parametrize(
    ("query", "names"),
    [
        ({}, {"draft", "signed", "released", "awaiting", "superseded", "correction"}),
        ({"state": "draft"}, {"draft"}),
        ({"state": "signed"}, {"signed", "correction"}),
        ({"state": "released"}, {"released"}),
        ({"state": "awaiting"}, {"awaiting"}),
        ({"state": "superseded"}, {"superseded"}),
        ({"outcome": "over limit"}, {"signed"}),
        ({"aircraft": "Q-0001"}, {"signed"}),
        (
            {"task": "Panel or line replacement: priming, bleed and leak check"},
            {"awaiting"},
        ),
        ({"begins": "2025-03-12"}, {"draft", "signed", "released", "awaiting"}),
        ({"ends": "2025-03-11"}, {"superseded", "correction"}),
        ({"source": "imported"}, {"correction"}),
        ({"source": "entered", "ends": "2025-03-11"}, {"superseded"}),
    ],
)
def test_each_filter_finds_what_it_says(
    reader: Client, kinds: dict[str, CheckEvent], query: dict[str, str], names: set[str]
) -> None:
    assert set(listed(reader, **query)) == {str(kinds[name].pk) for name in names}


def test_the_states_are_the_words_of_the_list(reader: Client, kinds: dict[str, CheckEvent]) -> None:
    text = reader.get(RECORDS).content.decode()
    for word in ("draft", "signed", "released", "awaiting second signature", "superseded"):
        assert f'<span class="word">{word}</span>' in text
    assert text.count('<tr class="act">') == 1


def test_newest_work_first_and_sorting_turns_round(world: World, reader: Client) -> None:
    days = [done(world, world.fleet[k % 2], world.master.days_ago(k)) for k in (3, 1, 2)]
    third, first, second = (str(event.pk) for event in days)
    assert listed(reader) == [first, second, third]
    assert listed(reader, sort="date") == [third, second, first]
    assert listed(reader, sort="aircraft")[0] == second
    assert listed(reader, sort="; drop") == [first, second, third]  # the usual order


def test_a_filter_that_makes_no_sense_shows_no_list(
    world: World, reader: Client, kinds: dict[str, CheckEvent]
) -> None:
    response = reader.get(RECORDS, {"begins": "soon", "state": "nice"})
    text = response.content.decode()
    assert "The filter was not understood" in text and "/checks/0" not in text
    assert not re.findall(r'href="/checks/[0-9a-f-]{36}/"', text)


def test_htmx_gets_the_list_alone(reader: Client, kinds: dict[str, CheckEvent]) -> None:
    text = reader.get(RECORDS, headers={"HX-Request": "true"}).content.decode()
    assert text.startswith("<div") or text.lstrip().startswith('<div id="list"')
    assert "<html" not in text


def test_nothing_fits_says_so(reader: Client) -> None:
    assert "No check fits this filter" in reader.get(RECORDS).content.decode()


def test_the_list_asks_as_much_for_22_records_as_for_2(world: World, reader: Client) -> None:
    for k in range(2):
        done(world, world.fleet[k], world.master.days_ago(k))
    with CaptureQueriesContext(connection) as few:
        assert len(listed(reader)) == 2
    for k in range(20):
        done(world, world.fleet[k % 2], world.master.days_ago(k), revision=world.revision(world.fleet[k % 2]))
    with CaptureQueriesContext(connection) as many:
        assert len(listed(reader)) == 22
    assert len(many) == len(few)
