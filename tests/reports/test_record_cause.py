"""The likely cause on paper."""

import pytest
import time_machine

from checks.engine.diagnosis_words import CAVEATS
from checks.models import CheckEvent
from checks.services.cause_found import record_cause
from reports.record import check_record
from tests.checks.test_cause import BLOCKED, before, draft_with_port, signed
from tests.checks.work import performed
from tests.reports.record_cases import OVER, flat, paper
from tests.world import World


@pytest.fixture
def blocked(world: World, clock: time_machine.Traveller) -> CheckEvent:
    world.clock = clock
    before(world, world.underfloor, 90, 60, 30)
    return signed(world, draft_with_port(world, world.underfloor, BLOCKED, "40"))


def test_paper_says_what_the_page_says(world: World, blocked: CheckEvent) -> None:
    sheets = paper(blocked)
    for words in (
        "Likely: the panels and their lines. (> 90 %)",
        "one panel blocked: left wing middle",
        "> 90 %, likely",
        "Look at this panel with the pump running",
        "Beside 3 accepted checks of this aircraft since the last reset, 12 Dec 2024 to 10 Feb 2025",
        "port, left wing middle × 2.00",
        "It is no part of what was signed.",
        *CAVEATS,
    ):
        assert flat(words) in sheets, words


def test_the_confirmed_cause_stands_first(world: World, blocked: CheckEvent) -> None:
    position = world.position(world.underfloor, "wing-lm")
    by = world.person("technician1")
    record_cause(event=blocked, by=by, cause="panel_blocked", position=position, remark="Dirt <b> & more.")
    told = (
        "Confirmed: one panel blocked, left wing middle – Dirt <b> & more. Recorded by Technician 1, 12 Mar"
    )
    assert told in paper(blocked)


def test_without_a_baseline_only_what_was_found_is_on_paper(world: World) -> None:
    event = performed(world, world.forward, series=OVER)
    assert check_record(event.pk).cause is None
    record_cause(event=event, by=world.person("technician1"), cause="all_fouled")
    sheets = paper(event)
    assert "Confirmed: general fouling of the panels." in sheets
    assert "no accepted check since the last reset" in sheets and CAVEATS[0] not in sheets


def test_an_ordinary_check_has_no_such_section(world: World) -> None:
    (event,) = before(world, world.underfloor, 30)
    assert check_record(event.pk).cause is None
    assert "Likely cause" not in paper(event)
