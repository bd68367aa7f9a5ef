"""The record of a check on a page: what was read, who signed, and the story around it."""

import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from checks.models import CheckEvent
from checks.services.correct import correct
from checks.services.sign import sign_performed, sign_released
from tests.checks.check_pages import OVER, address, logged_in, world_at_noon
from tests.checks.work import performed, started
from tests.world import PASSWORD, World

pytestmark = pytest.mark.django_db
world = pytest.fixture(world_at_noon)


def page(client: Client, event: CheckEvent) -> str:
    response = client.get(address(event))
    assert response.status_code == 200
    return response.content.decode()


def flat(text: str) -> str:
    """The words of a page without its marks."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text)).replace("\u00a0", " ")


def test_a_signed_check_shows_all_that_was_signed(world: World) -> None:
    event = performed(world, world.forward, dry=["wing-lo"], fields={"remarks": "Cold hangar"})
    words = flat(page(logged_in(world, "auditor1"), event))
    signature = event.signatures.get()
    for part in (
        "96 kPa 96 kPa counted",  # as typed, canonical, what settling made of it
        "gauge-1 , calibration due",
        "4:00 96 kPa 96 kPa settled here",
        "not satisfactory dry area",
        "Technician 1, invented mechanic certificate DEMO-T-001",
        f"Record {signature.record.reference}",
        signature.record.hash,
        "Warnings, cautions and confirmations followed: 11",
        "Cold hangar",
        "2000.00",
        "at most 137.5 kPa",
        "over limit",
        "open Pressure and flow check of 12 Mar 2025",
        "Nothing here releases the aircraft",
    ):
        assert part in words, part
    assert "What you may do next" not in words  # an auditor reads


def test_a_reading_in_another_unit_is_shown_as_typed_and_canonical(world: World) -> None:
    event = performed(world, world.underfloor, ports="20")
    words = flat(page(logged_in(world, "auditor1"), event))
    assert words.count("20 kPa 20 kPa") == 8  # one for each panel port
    assert "can name no single panel" not in words


def test_the_loop_of_purge_and_retest_is_one_story_with_what_comes_next(world: World) -> None:
    client = logged_in(world, "technician1")
    first = performed(world, world.forward, series=OVER)
    text = page(client, first)
    assert "Panel purge, then test again" in text and "The story so far" not in text
    start = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]+)"', text.split("next-acts")[1]))
    purge_key = re.search(r'name="procedure" value="(\d+)" class="main"', text)[1]
    response = client.post("/checks/new/", start | {"procedure": purge_key})
    purge = CheckEvent.objects.get(state="draft")
    assert response.url == address(purge) and purge.follows == first
    assert "Panel purge, then test again" not in page(client, first)  # it goes on in the purge
    purge.delete()
    world.clock.shift(60)
    purge = performed(world, world.forward, "panel-purge", follows=first)
    assert "Test again: Pressure and flow check" in page(client, purge)
    world.clock.shift(60)
    retest = performed(world, world.forward, follows=purge)
    for event in (first, purge, retest):
        text = page(client, event)
        others = {first.pk, purge.pk, retest.pk} - {event.pk}
        assert all(f'href="/checks/{one}/"' in text for one in others)
        assert text.count('<span class="note">this one</span>') == 1


def test_what_may_come_next_follows_role_and_record(world: World) -> None:
    event = performed(world, world.forward)
    links = {"technician1": ["correct"], "releaser1": ["release"], "controller1": [], "inspector1": []}
    for username, wanted in links.items():
        text = page(logged_in(world, username), event)
        assert re.findall(rf'href="{address(event)}(\w+)/"', text) == wanted, username
    sign_released(event=event, by=world.person("releaser1"), password=PASSWORD)
    text = page(logged_in(world, "releaser1"), event)
    assert f"{address(event)}release/" not in text and "released" in flat(text)


def test_a_task_with_a_second_signature_waits_for_it(world: World) -> None:
    event = performed(world, world.forward, "panel-replacement")
    text = page(logged_in(world, "inspector1"), event)
    assert "awaiting second signature" in text and f"{address(event)}inspect/" in text


def test_a_correction_is_linked_both_ways(world: World) -> None:
    first = performed(world, world.forward)
    draft = correct(event=first, by=world.person("technician1"), reason="Volume misread")
    reader = logged_in(world, "auditor1")
    assert "A correction of this check is under way" in page(reader, first)
    sign_performed(event=draft, by=world.person("technician1"), password=PASSWORD)
    text = page(reader, first)
    assert "superseded" in text and f'href="/checks/{draft.pk}/"' in text and "Volume misread" in text
    text = page(reader, draft)
    assert f'href="/checks/{first.pk}/"' in text and "Volume misread" in text
    assert f"{address(first)}correct/" not in page(logged_in(world, "technician1"), first)


def test_a_reader_sees_a_draft_without_its_form(world: World) -> None:
    draft = started(world, world.forward)
    text = page(logged_in(world, "director1"), draft)
    assert "Not signed, and nothing to say yet" in text and "None yet." in text and "<textarea" not in text


def test_what_people_typed_never_acts_as_markup(world: World) -> None:
    event = performed(world, world.forward, fields={"remarks": "<script>alert(1)</script>"})
    text = page(logged_in(world, "auditor1"), event)
    assert "<script>alert" not in text and "&lt;script&gt;alert(1)" in text


def test_an_unknown_check_is_404_and_needs_a_log_in(world: World) -> None:
    nowhere = "/checks/00000000-0000-4000-8000-000000000000/"
    assert logged_in(world, "auditor1").get(nowhere).status_code == 404
    assert Client().get(nowhere).url.startswith("/login/")


def test_the_page_asks_as_much_for_22_readings_and_5_attempts_as_for_3_and_1(world: World) -> None:
    client = logged_in(world, "auditor1")
    first = performed(world, world.forward, series=("300",) * 3)
    with CaptureQueriesContext(connection) as few:
        page(client, first)
    last = first
    for _ in range(4):
        world.clock.shift(60)
        last = performed(world, world.forward, series=("300",) * 22, follows=last)
    with CaptureQueriesContext(connection) as many:
        page(client, last)
    assert len(many) == len(few)
