"""A correction is a new signed entry; both stay, and 'superseded' follows from it."""

import pytest
from django.db import IntegrityError, transaction

from checks.models import CheckEvent, Defect
from checks.services.correct import correct
from checks.services.defects import rectify
from checks.services.errors import RecordError
from checks.services.record import discard_draft
from checks.services.sign import sign_performed, sign_released
from checks.services.verify import verify_chain, verify_event
from tests.checks.work import filled, performed, started
from tests.world import PASSWORD, World

OVER = ("300", "310", "310", "310")


def correction(world: World, event: CheckEvent, **how: object) -> CheckEvent:
    """A correction carried through to its signature."""
    draft = correct(event=event, by=world.person("technician1"), reason="Gauge misread.")
    filled(draft, world, **how)
    return sign_performed(event=draft, by=world.person("technician1"), password=PASSWORD)


def test_it_begins_with_all_that_was_signed_and_changes_nothing_of_it(world: World) -> None:
    event = performed(world, world.forward, fields={"pump": "1", "remarks": "Calm, dry."})
    draft = correct(event=event, by=world.person("technician2"), reason="Gauge misread.")
    assert draft.is_draft and draft.supersedes == event and draft.correction_reason == "Gauge misread."
    assert (draft.pump, draft.remarks, draft.revision) == ("1", "Calm, dry.", event.revision)
    for name in ("readings", "observations", "cautions_followed"):
        assert getattr(draft, name).count() == getattr(event, name).count() > 0
    assert not draft.results.exists() and not draft.signatures.exists() and draft.outcome == ""
    assert {r.mark for r in draft.readings.all()} == {""}
    assert verify_event(event) == []


def test_the_earlier_entry_stands_until_the_correction_is_signed(world: World) -> None:
    event = performed(world, world.forward)
    draft = correct(event=event, by=world.person("technician1"), reason="Gauge misread.")
    assert CheckEvent.objects.standing().get() == event
    signed = sign_performed(event=draft, by=world.person("technician1"), password=PASSWORD)
    assert CheckEvent.objects.standing().get() == signed
    with pytest.raises(RecordError, match="Release the correction instead"):
        sign_released(event=event, by=world.person("releaser1"), password=PASSWORD)
    assert sign_released(event=signed, by=world.person("releaser1"), password=PASSWORD)
    assert verify_chain(world.forward.chain) == []


def test_one_correction_at_a_time_and_a_discarded_one_frees_the_place(world: World) -> None:
    event, by = performed(world, world.forward), world.person("technician1")
    draft = correct(event=event, by=by, reason="Gauge misread.")
    with pytest.raises(RecordError, match="already under way"):
        correct(event=event, by=by, reason="Again.")
    with pytest.raises(IntegrityError), transaction.atomic():
        CheckEvent.objects.filter(pk=started(world, world.forward).pk).update(
            supersedes=event, correction_reason="Past the service."
        )
    discard_draft(event=draft, by=by)
    again = correct(event=event, by=by, reason="Again.")
    sign_performed(event=again, by=by, password=PASSWORD)
    with pytest.raises(RecordError, match="Correct the newest entry"):
        correct(event=event, by=by, reason="Third.")


def test_a_reason_is_asked_for_and_a_draft_is_simply_changed(world: World) -> None:
    by = world.person("technician1")
    with pytest.raises(RecordError, match="Say why") as caught:
        correct(event=performed(world, world.forward), by=by, reason=" ")
    assert list(caught.value.message_dict) == ["reason"]
    with pytest.raises(RecordError, match="It is a draft"):
        correct(event=started(world, world.forward), by=by, reason="x")


def test_a_correction_to_over_limit_raises_the_defect(world: World) -> None:
    event = performed(world, world.forward)
    signed = correction(world, event, series=OVER)
    assert signed.outcome == "over limit" and Defect.objects.get().event == signed


def test_a_correction_to_within_limit_closes_nothing(world: World) -> None:
    event = performed(world, world.forward, series=OVER)
    signed = correction(world, event)
    assert signed.outcome == "within limit" and Defect.objects.get().event == event
    with pytest.raises(RecordError, match="This work's own defect"):
        sign_released(event=signed, by=world.person("releaser1"), password=PASSWORD)
    rectify(
        defect=event.defect,
        by=world.person("releaser1"),
        password=PASSWORD,
        text="Nothing was wrong.",
        without_retest="The gauge was misread; see the correction.",
    )
    assert sign_released(event=signed, by=world.person("releaser1"), password=PASSWORD)


def test_a_correction_that_is_over_again_raises_no_second_defect(world: World) -> None:
    event = performed(world, world.forward, series=OVER)
    correction(world, event, series=("320",) * 4)
    assert Defect.objects.get().event == event
