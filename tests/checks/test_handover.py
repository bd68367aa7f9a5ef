"""Who carries a draft on: offered, accepted, taken over, assigned; who holds it alone signs it."""

import json

import pytest
from django.db import IntegrityError, transaction

from checks.models import CautionFollowed, CheckEvent, Handover
from checks.selectors.handover import held_by, holder_of, holders, offer_of, offered_to, technicians
from checks.services.correct import correct
from checks.services.errors import RecordError
from checks.services.freeze import first_record
from checks.services.handover import assign_check, hand_over, open_steps, seen_key, take_over
from checks.services.record import discard_draft, save_draft
from checks.services.sign import sign_performed
from checks.services.verify import verify_chain, verify_event
from fleet.models import User
from tests.checks.conftest import NOON
from tests.checks.work import filled, started, typed
from tests.world import PASSWORD, World


@pytest.fixture
def first(world: World) -> User:
    return world.person("technician1")


@pytest.fixture
def second(world: World) -> User:
    return world.person("technician2")


@pytest.fixture
def draft(world: World) -> CheckEvent:
    return filled(started(world, world.forward), world)


def seen(event: CheckEvent) -> str:
    return seen_key(open_steps(event))


def taken(event: CheckEvent, by: User) -> Handover:
    return take_over(event=event, by=by, seen=seen(event))


# --- who holds it ---------------------------------------------------------------------------------


def test_who_starts_a_check_holds_it_until_somebody_accepts_it(draft, first: User, second: User) -> None:
    assert holder_of(draft) == first and offer_of(draft) is None
    offer = hand_over(event=draft, by=first, to=second, note=" gauge is cold ")
    assert (holder_of(draft), offer_of(draft), offer.note) == (first, offer, "gauge is cold")
    assert list(offered_to(second)) == [offer] and not held_by(second).exists()
    accepted = taken(draft, second)
    assert accepted.pk == offer.pk and accepted.accepted_at == NOON
    assert holder_of(draft) == second and offer_of(draft) is None
    assert not offered_to(second).exists() and list(held_by(second)) == [draft]
    assert holders([draft]) == {draft.pk: second}


def test_a_later_offer_makes_an_earlier_one_void(world: World, draft, first: User, second: User) -> None:
    third = world.person("technician3")
    hand_over(event=draft, by=first, to=second)
    hand_over(event=draft, by=first, to=third)
    assert not offered_to(second).exists() and offered_to(third).count() == 1
    row = taken(draft, second)
    assert row.way == Handover.Way.TAKEN, "what was void is not accepted: it is taken over by name"
    assert holder_of(draft) == second and not offered_to(third).exists()


def test_who_offered_it_may_keep_it_after_all(draft, first: User, second: User) -> None:
    hand_over(event=draft, by=first, to=second)
    row = taken(draft, first)
    assert (row.giver, row.receiver, holder_of(draft)) == (first, first, first)
    assert not offered_to(second).exists()


def test_a_leaver_s_draft_is_taken_over(draft, first: User, second: User) -> None:
    first.is_active = False
    first.save()
    row = taken(draft, second)
    assert (row.way, row.giver_name, row.receiver_name) == ("taken over", "Technician 1", "Technician 2")
    assert holder_of(draft) == second


def test_nobody_else_hands_it_over_and_only_to_who_may_record(
    world: World, draft, first: User, second: User
) -> None:
    gone = world.person("technician3")
    gone.is_active = False
    gone.save()
    assert gone not in technicians() and second in technicians()
    assert world.person("auditor1") not in technicians()
    for by, to, words in (
        (second, first, "holds this check"),
        (first, first, "Choose somebody else"),
        (first, world.person("auditor1"), "may not carry out checks"),
        (first, gone, "may not carry out checks"),
        (world.person("auditor1"), second, "role lacks it"),
    ):
        with pytest.raises(RecordError, match=words):
            hand_over(event=draft, by=by, to=to)
    with pytest.raises(RecordError, match="hold this check already"):
        taken(draft, first)
    with pytest.raises(RecordError, match="role lacks it"):
        taken(draft, world.person("controller1"))
    assert not Handover.objects.exists()


# --- the open steps -------------------------------------------------------------------------------


def test_what_is_open_is_listed_and_accepted_as_it_was_read(
    world: World, draft, first: User, second: User
) -> None:
    assert open_steps(draft) == []
    CautionFollowed.objects.filter(event=draft, restored=True).update(restored=False)
    draft.readings.filter(role="temperature").delete()
    lines = open_steps(draft)
    restore = draft.cautions_followed.exclude(step__restore_text="").first().step
    assert lines[0] == f"Not put back: {restore.restore_text}"
    assert any("enter the fluid temperature" in line for line in lines)
    hand_over(event=draft, by=first, to=second)
    was = seen(draft)
    save_draft(event=draft, by=first, given=typed(draft))
    with pytest.raises(RecordError, match="open steps changed"):
        take_over(event=draft, by=second, seen=was)
    assert taken(draft, second).open_lines == []


def test_the_row_keeps_what_was_open_when_it_was_accepted(world: World, first: User, second: User) -> None:
    draft = started(world, world.forward)
    hand_over(event=draft, by=first, to=second)
    lines = open_steps(draft)
    assert len(lines) > 3 and taken(draft, second).open_lines == lines


# --- signing --------------------------------------------------------------------------------------


def test_who_signs_holds_it(world: World, draft, first: User, second: User) -> None:
    with pytest.raises(RecordError, match="Technician 1 holds this check"):
        sign_performed(event=draft, by=second, password=PASSWORD)
    taken(draft, second)
    with pytest.raises(RecordError, match="Technician 2 holds this check"):
        sign_performed(event=draft, by=first, password=PASSWORD)
    assert sign_performed(event=draft, by=second, password=PASSWORD).signatures.get().person == second


def test_writing_in_a_draft_needs_no_handover(world: World, draft, second: User) -> None:
    """Two persons at one aircraft: one reads the gauge, the other types."""
    assert filled(draft, world, by="technician2", volume="171").readings.filter(typed="171").exists()


def test_changes_of_hands_are_part_of_the_signed_record(
    world: World, draft, first: User, second: User
) -> None:
    hand_over(event=draft, by=first, to=second)
    taken(draft, second)
    event = sign_performed(event=draft, by=second, password=PASSWORD)
    (row,) = json.loads(first_record(event).canonical)["handovers"]
    assert (row["way"], row["giver_name"], row["receiver_name"]) == (
        "handed over",
        "Technician 1",
        "Technician 2",
    )
    assert row["accepted_at"] == "2025-03-12T12:00:00.000000Z"
    User.objects.filter(pk=first.pk).update(last_name="renamed")
    assert verify_event(event) == [] and verify_chain(world.forward.chain) == []
    for act in (
        lambda: hand_over(event=event, by=second, to=first),
        lambda: take_over(event=event, by=first, seen=""),
    ):
        with pytest.raises(RecordError, match="signed and can't change"):
            act()


def test_a_correction_begins_with_who_corrects(world: World, draft, first: User, second: User) -> None:
    taken(draft, second)
    event = sign_performed(event=draft, by=second, password=PASSWORD)
    again = correct(event=event, by=first, reason="The remark was wrong.")
    assert holder_of(again) == first and not again.handovers.exists()


# --- the database ---------------------------------------------------------------------------------


def test_a_row_is_accepted_once_and_never_changed(draft, first: User, second: User) -> None:
    offer = hand_over(event=draft, by=first, to=second)
    rows = Handover.objects.filter(pk=offer.pk)
    for change in ({"receiver": first, "accepted_at": NOON}, {"note": "x"}, {"open_steps": "none"}):
        with pytest.raises(IntegrityError, match="accepted once"), transaction.atomic():
            rows.update(**change)
    taken(draft, second)
    for change in ({"accepted_at": None}, {"open_steps": "none"}, {"giver_name": "x"}):
        with pytest.raises(IntegrityError, match="accepted once"), transaction.atomic():
            rows.update(**change)


def test_a_draft_thrown_away_takes_its_rows_along(draft, first: User, second: User) -> None:
    hand_over(event=draft, by=first, to=second)
    discard_draft(event=draft, by=first)
    assert not Handover.objects.exists() and not offered_to(second).exists()


# --- assigned work --------------------------------------------------------------------------------


def assigned(world: World, by: str = "controller1", **how: object) -> CheckEvent:
    given = {
        "aircraft": world.forward,
        "procedure": world.revision(world.forward).procedure,
        "by": world.person(by),
        "to": world.person("technician2"),
        "work_date": world.today,
    } | how
    return assign_check(**given)


@pytest.mark.parametrize("by", ["controller1", "technician1"])
def test_work_is_begun_for_somebody_who_accepts_it(world: World, second: User, by: str) -> None:
    event = assigned(world, by, note="Before the noon flight.")
    offer = offer_of(event)
    assert (offer.way, offer.receiver, offer.note) == ("assigned", second, "Before the noon flight.")
    assert holder_of(event) == world.person(by), "until it is accepted"
    taken(event, second)
    filled(event, world, by="technician2")
    assert sign_performed(event=event, by=second, password=PASSWORD).signatures.get().person == second


def test_two_taps_assign_once(world: World) -> None:
    event = assigned(world)
    assert assigned(world, uuid=event.pk) == event and event.handovers.count() == 1


def test_who_may_not_assign_or_be_assigned(world: World) -> None:
    with pytest.raises(RecordError, match="may not assign work"):
        assigned(world, "auditor1")
    with pytest.raises(RecordError, match="may not carry out checks"):
        assigned(world, to=world.person("inspector1"))
    with pytest.raises(RecordError, match="does not serve"):
        assigned(world, procedure=world.revision(world.underfloor).procedure)
    assert not CheckEvent.objects.exists()
