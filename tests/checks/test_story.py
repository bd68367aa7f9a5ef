"""Over limit, purge, retest, escalation, part change, release: one story on every page and on paper."""

import datetime as dt
import html
import re

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from checks.models import CheckEvent
from checks.selectors.check_story import attempts
from checks.selectors.icing import icing_statuses
from checks.selectors.story import WHO_DECIDES, escalated, told
from checks.services.correct import correct
from checks.services.defects import rectify
from checks.services.sign import sign_inspected, sign_performed, sign_released
from tests.checks.check_pages import OVER, address, logged_in
from tests.checks.deferring import deferred
from tests.checks.work import filled, performed
from tests.reports.record_cases import flat, paper
from tests.world import PASSWORD, World


@pytest.fixture
def browse(world: World) -> Client:
    return logged_in(world, "technician1")


def words(client: Client, path: str) -> str:
    """The words of a page, every space and line break a single space."""
    return flat(html.unescape(re.sub(r"<[^>]+>", " ", client.get(path).content.decode())))


def escalating(world: World, clock: time_machine.Traveller) -> list[CheckEvent]:
    """Over limit, and over again after each of two purges, which is the operator's number."""
    events = [performed(world, world.underfloor, series=OVER, dry=["wing-lo"])]
    for _ in range(2):
        clock.shift(1800)
        events.append(performed(world, world.underfloor, "panel-purge", follows=events[-1]))
        clock.shift(1800)
        events.append(performed(world, world.underfloor, series=OVER, follows=events[-1]))
    return events


def changed(world: World, clock: time_machine.Traveller, events: list[CheckEvent]) -> list[CheckEvent]:
    """A panel replaced and inspected, tested again within limits, rectified and released."""
    releaser = world.person("releaser1")
    clock.shift(1800)
    change = performed(world, world.underfloor, "panel-replacement", follows=events[-1])
    clock.shift(600)
    sign_inspected(event=change, by=world.person("inspector1"), password=PASSWORD)
    clock.shift(1800)
    retest = performed(world, world.underfloor, follows=change)
    clock.shift(600)
    text = "Left wing outboard replaced."
    rectify(defect=events[0].defect, by=releaser, password=PASSWORD, text=text, retest=retest)
    clock.shift(600)
    sign_released(event=retest, by=releaser, password=PASSWORD)
    return [*events, change, retest]


def test_each_attempt_says_what_it_found_and_each_purge_its_number(
    world: World, clock: time_machine.Traveller
) -> None:
    events = escalating(world, clock)
    lines = told(attempts(events[2]))
    assert [line.event.pk for line in lines] == [event.pk for event in events]
    first, purge, _, _, last = (" ".join(line.words) for line in lines)
    assert "system test port: 310 kPa, at most" in first and "left wing outboard: dry area" in first
    assert "Next:" not in first, "another attempt followed"
    assert "Next: purge and test again." in told(attempts(events[0])[:1])[0].words
    assert "Purge 1 of 2 before escalation." in purge
    assert last.endswith("Escalated: still outside after 2 purges.")


def test_an_attempt_that_is_not_valid_says_why_and_calls_it_no_next_step(
    world: World, clock: time_machine.Traveller
) -> None:
    event = performed(world, world.forward, volume="")
    (line,) = told(attempts(event))
    assert line.words[-1] == "Not valid: propeller nozzle: no value."


def test_escalation_is_said_on_the_check_the_defect_and_the_icing_status(
    world: World, clock: time_machine.Traveller, browse: Client
) -> None:
    events = escalating(world, clock)
    defect = events[0].defect
    now = dt.datetime.now(tz=dt.UTC)
    for event in events:
        text = words(browse, address(event))
        assert WHO_DECIDES in text and "Escalated" in text
    assert WHO_DECIDES in words(browse, f"/defects/{defect.pk}/")
    (status,) = icing_statuses(at=now, aircraft_ids=[world.underfloor.pk])
    assert any("escalated after repeated purges" in reason.text for reason in status.reasons)


def test_before_the_operator_s_number_of_purges_nothing_is_escalated(
    world: World, clock: time_machine.Traveller, browse: Client
) -> None:
    first = performed(world, world.underfloor, series=OVER)
    clock.shift(1800)
    purge = performed(world, world.underfloor, "panel-purge", follows=first)
    clock.shift(1800)
    again = performed(world, world.underfloor, series=OVER, follows=purge)
    assert escalated(attempts(again)) is None
    for path in (address(again), f"/defects/{first.defect.pk}/"):
        assert WHO_DECIDES not in words(browse, path)
    (status,) = icing_statuses(at=dt.datetime.now(tz=dt.UTC), aircraft_ids=[world.underfloor.pk])
    assert not any("escalated" in reason.text for reason in status.reasons)


def test_an_escalated_check_leads_to_a_change_of_part_first_and_then_to_its_retest(
    world: World, clock: time_machine.Traveller, browse: Client
) -> None:
    events = escalating(world, clock)
    page = browse.get(address(events[-1])).content.decode()
    buttons = re.findall(r"<button[^>]*name=\"procedure\"[^>]*>([^<]+)</button>", page)
    assert [text.partition(":")[0] for text in buttons] == [
        "Panel or line replacement",
        "Pump or proportioning unit replacement",
        "Panel purge, then test again",
        "Test again",
    ]
    clock.shift(1800)
    change = performed(world, world.underfloor, "panel-replacement", follows=events[-1])
    page = browse.get(address(change)).content.decode()
    assert "Test again: Pressure and flow check" in page
    assert change.resets.filter(why="replacement").exists()


def test_the_whole_story_reads_alike_from_any_attempt_on_the_aircraft_page_and_on_paper(
    world: World, clock: time_machine.Traveller, browse: Client
) -> None:
    events = changed(world, clock, escalating(world, clock))
    order = [
        "310 kPa, at most",
        "Purge 1 of 2 before escalation.",
        "Purge 2 of 2 before escalation.",
        "Escalated: still outside after 2 purges.",
        "replacement: priming, bleed and leak check",
        "96 kPa, at most",
        "Left wing outboard replaced.",
    ]
    for event in (events[0], events[3], events[-1]):
        text = words(browse, address(event)).split("The story so far")[1]
        places = [text.index(part) for part in order]
        assert places == sorted(places)
        assert "By Releaser 1." in text and text.index("Left wing outboard replaced.") < text.index(
            "Released"
        )
        assert WHO_DECIDES not in text, "a later test did better"
    page = words(browse, f"/aircraft/{world.underfloor}/").split("Recent checks")[1]
    places = [page.index(part) for part in order]
    assert places == sorted(places)
    sheets = (
        paper(events[2])
        .split("The story of this occasion".upper())[-1]
        .split("The story of this occasion")[-1]
    )
    for part in (order[0], order[1], order[2], order[3], "Defect rectified", order[5]):
        assert part in sheets, part


def test_a_deferral_by_an_authorised_person_is_part_of_the_story(
    world: World, clock: time_machine.Traveller, browse: Client
) -> None:
    over = performed(world, world.forward, series=OVER)
    assert "The story so far" not in words(browse, address(over))
    clock.shift(60)
    deferred(world, over.defect)
    text = words(browse, address(over)).split("The story so far")[1]
    assert (
        "Defect deferred" in text
        and "last day 22 Mar 2025: Invented example: no flight into known or forecast icing." in text
    )
    assert "Defect deferred" in words(browse, f"/aircraft/{world.forward}/").split("Recent checks")[1]


def test_a_corrected_attempt_no_longer_escalates(world: World, clock: time_machine.Traveller) -> None:
    events = escalating(world, clock)
    assert escalated(attempts(events[0])).pk == events[-1].pk
    clock.shift(600)
    person = world.person("technician1")
    draft = correct(event=events[-1], by=person, reason="Gauge misread")
    filled(draft, world)
    sign_performed(event=draft, by=person, password=PASSWORD)
    assert escalated(attempts(events[0])) is None


def test_a_long_story_costs_no_more_queries(world: World, clock: time_machine.Traveller) -> None:
    events = escalating(world, clock)
    with CaptureQueriesContext(connection) as few:
        told(attempts(events[0])[:1])
    with CaptureQueriesContext(connection) as many:
        told(attempts(events[0]))
    assert len(few) == len(many) <= 12
