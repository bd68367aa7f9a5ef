"""The likely cause on the page of a check, the form of the confirmed cause, and the page of how often."""

import datetime as dt

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from checks.engine.diagnosis_words import CAVEATS
from checks.models import CauseFound, CheckEvent
from checks.services.cause_found import record_cause
from tests.checks.check_pages import OVER, address, logged_in, posted, world_at_noon
from tests.checks.test_cause import BLOCKED, before, draft_with_port, signed
from tests.checks.work import performed, started, typed
from tests.world import World


@pytest.fixture
def world(db: None):
    yield from world_at_noon()


@pytest.fixture
def blocked(world: World) -> CheckEvent:
    before(world, world.underfloor, 90, 60, 30)
    return signed(world, draft_with_port(world, world.underfloor, BLOCKED, "40"))


def text_of(response) -> str:
    return response.content.decode()


def test_record_page_says_it_all(world: World, blocked: CheckEvent) -> None:
    page = text_of(logged_in(world, "auditor1").get(address(blocked)))
    for words in (
        "Likely: the panels and their lines.",
        "One panel blocked: left wing middle",
        "&gt; 90 %",
        "To tell it apart: Look at this panel with the pump running",
        "Baseline: 3 accepted checks",
        "Port, left wing middle",
        *CAVEATS,
    ):
        assert words in page, words
    assert "Record what it turned out to be" not in page  # an auditor reads only
    assert "style=" not in page


def test_an_ordinary_check_shows_nothing(world: World) -> None:
    (event,) = before(world, world.underfloor, 30)
    assert "Likely cause" not in text_of(logged_in(world, "technician1").get(address(event)))


def test_without_a_baseline_it_says_why(world: World) -> None:
    event = performed(world, world.forward, series=OVER, dry=["wing-lo"])
    page = text_of(logged_in(world, "technician1").get(address(event)))
    assert "no accepted check since the last reset" in page
    assert "left wing outboard: dry area" in page
    assert "A look counts more than this ranking" in page


def test_while_the_check_is_carried_out(world: World) -> None:
    before(world, world.forward, 60, 30, series=("90", "96", "96", "96"), volume="142")
    draft, client = started(world, world.forward), logged_in(world, "technician1")
    high = typed(draft, series=("150", "160", "160", "160"), volume="225")
    part = client.post(address(draft, "outcome"), posted(draft, high), headers={"HX-Request": "true"})
    assert "General fouling of the panels" in text_of(part)
    page = text_of(client.get(address(draft)))
    assert "General fouling of the panels" in page and "This installation has no panel ports" in page
    assert "Record what it turned out to be" not in page
    usual = typed(draft, series=("90", "96", "96", "96"), volume="142")
    part = client.post(address(draft, "outcome"), posted(draft, usual), headers={"HX-Request": "true"})
    assert "Likely cause" not in text_of(part)


def test_another_answer_of_the_walk_round_ranks_again_and_keeps_nothing(world: World, blocked) -> None:
    client = logged_in(world, "auditor1")
    page = text_of(client.get(address(blocked), {"wet": "yes"}))
    assert '<option value="yes" selected>' in page
    assert text_of(client.get(address(blocked), {"wet": "nonsense"})).count("Likely cause") == 1
    assert not CauseFound.objects.exists()


def confirm(client: Client, event: CheckEvent, **data: object):
    return client.post(f"/checks/{event.pk}/cause/", {"cause": "panel_blocked", **data})


def test_a_confirmed_cause_is_put_on_record_and_shown(world: World, blocked: CheckEvent) -> None:
    client, at = logged_in(world, "technician1"), world.position(world.underfloor, "wing-lm")
    answer = confirm(client, blocked, position=at.pk, remark="Dirt in the pores.", wet="no")
    assert answer.status_code == 302
    found = CauseFound.objects.get()
    assert (found.position, found.ranking["wet"], found.found_by.username) == (at, "no", "technician1")
    page = text_of(client.get(address(blocked)))
    assert "one panel blocked, left wing middle" in page and "Dirt in the pores." in page
    listed = text_of(client.get("/causes/"))
    assert "1 of 1" in listed and "Dirt in the pores." in listed and "With so few" in listed


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"cause": ""}, "Choose the cause that was found"),
        ({"cause": "other"}, "Say in the remark what it was"),
    ],
)
def test_what_cannot_be_kept_is_said_beside_the_form(world: World, blocked, data: dict, words: str) -> None:
    answer = confirm(logged_in(world, "releaser1"), blocked, **data, position="")
    assert answer.status_code == 422 and words in text_of(answer)
    assert "Likely cause" in text_of(answer) and not CauseFound.objects.exists()


def test_an_ordinary_check_takes_no_cause_and_says_so(world: World) -> None:
    (event,) = before(world, world.underfloor, 30)
    answer = confirm(logged_in(world, "technician1"), event)
    assert answer.status_code == 302 and not CauseFound.objects.exists()
    page = text_of(
        logged_in(world, "technician1").post(f"/checks/{event.pk}/cause/", {"cause": "air"}, follow=True)
    )
    assert "nothing to explain" in page


def test_who_only_reads_records_no_cause(world: World, blocked: CheckEvent) -> None:
    answer = confirm(logged_in(world, "auditor1"), blocked)
    assert answer.status_code == 403 and not CauseFound.objects.exists()


def test_the_page_of_confirmed_causes_is_empty_at_first(world: World) -> None:
    page = text_of(logged_in(world, "director1").get("/causes/"))
    assert "No cause was confirmed yet" in page


def test_queries_of_the_page_do_not_grow(world: World, blocked: CheckEvent) -> None:
    client = logged_in(world, "director1")

    def cost() -> int:
        with CaptureQueriesContext(connection) as queries:
            client.get("/causes/")
        return len(queries)

    def confirmed(times: int) -> None:
        for _ in range(times):
            event = signed(world, draft_with_port(world, world.underfloor, BLOCKED, "40"))
            world.clock.shift(dt.timedelta(minutes=1))
            record_cause(event=event, by=world.person("technician1"), cause="panel_blocked")

    confirmed(2)
    few = cost()
    confirmed(20)
    assert cost() == few
