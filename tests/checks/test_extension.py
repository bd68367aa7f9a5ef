"""Extending a deferral: asked for and answered by two people, once, B and C only, on the chain."""

import datetime as dt
import json

import pytest
import time_machine
from django.db import IntegrityError, transaction

from checks.models import Defect, Deferral, Extension, ExtensionAnswer
from checks.selectors.defects import with_states
from checks.services.defects import raise_defect, rectify
from checks.services.errors import RecordError
from checks.services.extension import answer_extension, ask_extension
from tests.checks.check_pages import logged_in
from tests.checks.deferring import deferred
from tests.world import PASSWORD, World


@pytest.fixture
def defect(world: World) -> Defect:
    return raise_defect(aircraft=world.forward, by=world.person("technician1"), description="Pump slow.")


@pytest.fixture
def deferral(world: World, defect: Defect) -> Deferral:
    """Category B, recorded on 12 March: its last day is 15 March."""
    return deferred(world, defect, "B")


def asked(world: World, deferral: Deferral, days: int = 3, by: str = "controller1", **change: object):
    given = {
        "expires_on": (deferral.expires_on or world.today) + dt.timedelta(days=days),
        "justification": "The pump is at sea.",
    }
    return ask_extension(deferral=deferral, by=world.person(by), password=PASSWORD, **given | change)


def answered(world: World, extension: Extension, approved: bool = True, by: str = "director1", **change):
    given = {"approved": approved, "text": "Agreed once."} | change
    return answer_extension(extension=extension, by=world.person(by), password=PASSWORD, **given)


def test_an_approved_extension_moves_the_last_day_and_asking_alone_does_not(
    world: World, deferral: Deferral
) -> None:
    defect, last = deferral.defect, dt.date(2025, 3, 18)
    extension = asked(world, deferral)
    assert deferral.last_day == dt.date(2025, 3, 15)
    assert defect.state(dt.date(2025, 3, 16)) == "deferral expired"
    answered(world, extension)
    kept = Deferral.objects.get()
    assert (kept.expires_on, kept.last_day) == (dt.date(2025, 3, 15), last), "what was signed stays"
    for day, word in ((last, "deferred"), (last + dt.timedelta(days=1), "deferral expired")):
        assert with_states(Defect.objects.all(), day).get().now_is == word == defect.state(day)


def test_both_acts_are_links_of_the_aircraft_s_chain(world: World, deferral: Deferral) -> None:
    extension = asked(world, deferral)
    answer = answered(world, extension)
    told = json.loads(extension.record.canonical)
    assert (told["act"], told["extension"]["expires_on"]) == ("extension asked", "2025-03-18")
    told = json.loads(answer.record.canonical)
    assert told["asked_in"] == extension.record.hash and told["answer"]["approved"] is True
    assert {extension.record.chain.aircraft, answer.record.chain.aircraft} == {world.forward}


def test_who_asks_does_not_answer_and_each_needs_the_role(world: World, deferral: Deferral) -> None:
    with pytest.raises(RecordError, match="role lacks it"):
        asked(world, deferral, by="director1")
    extension = asked(world, deferral)
    with pytest.raises(RecordError, match="role lacks it"):
        answered(world, extension, by="controller1")
    controller = world.person("controller1")
    controller.groups.add(*world.person("director1").groups.all())
    world.master.people["controller1"] = type(controller).objects.get(pk=controller.pk)
    with pytest.raises(RecordError, match="who asked for an extension can't approve it"):
        answered(world, extension, by="controller1")
    with pytest.raises(RecordError, match="password is not right"):
        answer_extension(
            extension=extension, by=world.person("director1"), password="x", approved=True, text="x"
        )
    assert not ExtensionAnswer.objects.exists()


@pytest.mark.parametrize("number", ["A", "D", "30-20-02", "30-20-03"])
def test_only_b_and_c_are_extended(world: World, defect: Defect, number: str) -> None:
    """B and C alone: from memory (FAA D095), not verified."""
    from_hours = {"from_hours": 2000} if number == "30-20-02" else {}
    deferral = deferred(world, defect, number, **from_hours)
    with pytest.raises(RecordError, match="can't be extended"):
        asked(world, deferral, expires_on=world.today + dt.timedelta(days=20))


def test_no_longer_than_the_interval_once_more(world: World, deferral: Deferral) -> None:
    for days in (0, 4):
        with pytest.raises(RecordError, match="no later than 18 Mar 2025") as caught:
            asked(world, deferral, days)
        assert list(caught.value.message_dict) == ["expires_on"]
    with pytest.raises(RecordError, match="justification"):
        asked(world, deferral, justification=" ")


def test_at_most_one_extension_of_a_defect_ever(world: World, deferral: Deferral) -> None:
    """At most a single justified, agreed extension: TC CASA 2022-02."""
    first = asked(world, deferral, 1)
    with pytest.raises(RecordError, match="it waits"):
        asked(world, deferral)
    refused = answered(world, first, approved=False, text="Try the other shop.")
    assert deferral.last_day == dt.date(2025, 3, 15)
    answered(world, asked(world, deferral, 2))
    with pytest.raises(RecordError, match="extended once already"):
        asked(world, deferral)
    again = deferred(world, deferral.defect, "C")
    with pytest.raises(RecordError, match="extended once already"):
        asked(world, again)
    with pytest.raises(IntegrityError), transaction.atomic():
        ExtensionAnswer.objects.create(
            extension=first,
            defect=deferral.defect,
            record=refused.record,
            approved=True,
            text="x",
            answered_by=world.person("director1"),
            answered_at=first.asked_at,
        )


def test_what_has_run_out_or_is_closed_is_not_extended(
    world: World, deferral: Deferral, clock: time_machine.Traveller
) -> None:
    """That an expired deferral is not extended any more: common practice, no source."""
    waiting = asked(world, deferral)
    clock.shift(dt.timedelta(days=4))
    with pytest.raises(RecordError, match="It expired after 15 Mar 2025"):
        answered(world, waiting)
    clock.shift(dt.timedelta(days=-4))
    releaser = world.person("releaser1")
    rectify(defect=deferral.defect, by=releaser, password=PASSWORD, text="Pump changed.")
    with pytest.raises(RecordError, match="closed: there is nothing to extend"):
        answered(world, waiting)


def test_the_newest_deferral_governs_and_is_the_one_that_is_extended(
    world: World, deferral: Deferral
) -> None:
    shorter_again = deferred(world, deferral.defect, "A")
    assert deferral.defect.state(dt.date(2025, 3, 17)) == "deferred"
    with pytest.raises(RecordError, match="A later deferral took the place"):
        asked(world, deferral)
    assert shorter_again.expires_on == dt.date(2025, 3, 17)


def test_it_is_asked_for_and_answered_on_pages(world: World, deferral: Deferral) -> None:
    controller, director = logged_in(world, "controller1"), logged_in(world, "director1")
    defect = f"/defects/{deferral.defect_id}/"
    ask = f"/defects/deferrals/{deferral.pk}/extend/"
    assert f'href="{ask}"' in controller.get(defect).content.decode()
    page = controller.get(ask).content.decode()
    assert "It can be extended to 18 Mar 2025 at the latest." in page
    given = {"expires_on": "2025-03-25", "justification": "Kept words.", "password": PASSWORD}
    wrong = controller.post(ask, given)
    assert wrong.status_code == 422 and "Kept words." in wrong.content.decode()
    assert controller.post(ask, given | {"expires_on": "2025-03-17"}).url == defect
    home = director.get("/").content.decode()
    extension = Extension.objects.get()
    answer = f"/defects/extensions/{extension.pk}/answer/"
    assert f'href="{answer}"' in home and "extension to" in home
    assert "Kept words." in director.get(answer).content.decode()
    assert director.post(answer, {"password": PASSWORD}).status_code == 422
    told = director.post(answer, {"approved": "yes", "text": "Once.", "password": PASSWORD}, follow=True)
    page = told.content.decode()
    assert "extended from" in page and "Approved" in page and "Once." in page
    assert answer not in director.get("/").content.decode()
    assert director.get(answer).url == defect and ask not in controller.get(defect).content.decode()
