"""Who may sign what, when, and what a signature leaves behind."""

import datetime as dt
import json
from collections.abc import Callable
from dataclasses import replace

import pytest
import time_machine
from django.contrib.auth.models import Group

from checks.models import CheckEvent, DuePoint, SeriesState, Signature
from checks.services import after_sign
from checks.services.defects import raise_defect
from checks.services.errors import RecordError
from checks.services.persons import prove
from checks.services.record import save_draft
from checks.services.sign import sign_inspected, sign_performed, sign_released
from checks.services.verify import verify_chain, verify_event
from fleet.models import Authorisation, Operator, User
from tests.checks.work import filled, performed, started, typed
from tests.world import PASSWORD, World


@pytest.fixture
def draft(world: World) -> CheckEvent:
    """A complete draft of the pressure-and-flow check."""
    return filled(started(world, world.forward), world)


@pytest.fixture
def sign(world: World, draft: CheckEvent) -> Callable[..., CheckEvent]:
    def signing(by: str = "technician1", password: str = PASSWORD) -> CheckEvent:
        return sign_performed(event=draft, by=world.person(by), password=password)

    return signing


def test_what_is_signed_carries_everything_and_is_found_again_in_its_record(
    world: World, sign: Callable[..., CheckEvent]
) -> None:
    event = sign()
    signature = event.signatures.get()
    assert (signature.act, signature.name) == ("performed", "Technician 1")
    assert signature.certificate_number == "DEMO-T-001" and "DEMO-A-" in signature.authorisation
    assert event.signed_at == signature.signed_at == signature.record.written_at
    told = json.loads(signature.record.canonical)
    assert told["event"]["uuid"] == str(event.pk) and told["event"]["outcome"] == "within limit"
    assert [r["typed"] for r in told["readings"] if r["role"] == "series"] == ["90", "96", "96", "96"]
    assert {r["upper"] for r in told["results"]} == {
        format(result.upper, "f") for result in event.results.all()
    }
    assert told["signature"]["statement"] == signature.statement
    assert told["names"]["revision"] == event.revision.number
    assert {i["code"] for i in told["instruments"]} == {"gauge-1", "vessel-500", "thermo-1"}
    gauge = next(i for i in told["instruments"] if i["code"] == "gauge-1")
    used = event.readings.filter(instrument__code="gauge-1").first().calibration
    assert gauge["certificate_number"] == used.certificate_number
    assert gauge["calibration_due"] == used.due_on.isoformat()
    assert verify_event(event) == [] and verify_chain(world.forward.chain) == []


def test_results_marks_and_due_point_are_stored(world: World, sign: Callable[..., CheckEvent]) -> None:
    event = sign()
    port = event.results.get(point__code="port")
    assert (port.value, port.temperature, port.outcome) == (96, 20, "within limit")
    assert port.margin == port.upper - 96 and port.uncertainty > 0
    nozzle = event.results.get(point__code="nozzle")
    assert nozzle.value == 170, "170 mL in one minute"
    marks = [r.mark for r in event.readings.filter(role="series").order_by("sequence")]
    assert marks[-1] == "settled here"
    due = DuePoint.objects.get(aircraft=world.forward, check_due__procedure=event.revision.procedure)
    assert due.last_event == event and due.done_on == world.today


def test_the_password_is_asked_again(sign: Callable[..., CheckEvent], draft: CheckEvent) -> None:
    with pytest.raises(RecordError, match="Type your own password again") as caught:
        sign(password="not it")
    assert list(caught.value.message_dict) == ["password"]
    draft.refresh_from_db()
    assert draft.is_draft and not Signature.objects.exists()


def test_wrong_passwords_at_a_signature_lock_nobody_out(sign: Callable[..., CheckEvent], client) -> None:
    for _ in range(6):
        with pytest.raises(RecordError):
            sign(password="not it")
    answer = client.post("/login/", {"username": "technician1", "password": PASSWORD})
    assert answer.status_code == 302


def test_a_person_who_left_signs_nothing(world: World, sign: Callable[..., CheckEvent]) -> None:
    User.objects.filter(username="technician1").update(is_active=False)
    world.person("technician1").refresh_from_db()
    with pytest.raises(RecordError):
        sign()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"valid_until": dt.date(2025, 3, 11)}, "No authorisation in force on 12 Mar 2025"),
        ({"valid_from": dt.date(2025, 3, 13)}, "No authorisation in force on 12 Mar 2025"),
        ({"act": "inspect"}, "none for this act and variant"),
    ],
)
def test_without_an_authorisation_in_force_nothing_is_signed(
    world: World, sign: Callable[..., CheckEvent], change: dict, words: str
) -> None:
    Authorisation.objects.filter(user__username="technician1").update(**change)
    with pytest.raises(RecordError, match=words):
        sign()
    assert not Signature.objects.exists()


def test_the_authorisation_must_hold_on_the_day_of_work_and_today(world: World) -> None:
    worked_on = world.today - dt.timedelta(days=20)
    event = filled(started(world, world.forward, work_date=worked_on), world)
    held = Authorisation.objects.get(user__username="technician1")
    Authorisation.objects.filter(pk=held.pk).update(valid_from=world.today - dt.timedelta(days=5))
    person = world.person("technician1")
    with pytest.raises(RecordError, match=f"No authorisation in force on {worked_on:%d %b %Y}"):
        sign_performed(event=event, by=person, password=PASSWORD)
    older = {"valid_from": worked_on, "valid_until": worked_on, "reference": "OLD-1"}
    Authorisation.objects.create(user=person, act="perform", **older)
    signed = sign_performed(event=event, by=person, password=PASSWORD)
    relied_on = signed.signatures.get().authorisation
    assert "OLD-1" in relied_on and held.reference in relied_on


def test_an_authorisation_for_the_other_variant_does_not_serve(
    world: World, sign: Callable[..., CheckEvent]
) -> None:
    held = Authorisation.objects.get(user__username="technician1")
    held.variants.add(world.underfloor.variant)
    with pytest.raises(RecordError, match="No authorisation in force"):
        sign()
    held.variants.add(world.forward.variant)
    assert sign().outcome == "within limit"


def test_a_signature_needs_certificate_number_and_kind(world: World, sign: Callable[..., CheckEvent]) -> None:
    person = world.person("technician1")
    person.certificate_number = ""
    person.save()
    with pytest.raises(RecordError, match="no certificate number and kind"):
        sign()


def test_everything_that_is_missing_is_named_at_once(world: World) -> None:
    event = started(world, world.forward)
    whole = typed(event)
    temperatures = {step.pk for step in event.revision.steps.filter(quantity="temperature")}
    panels = tuple(o for o in whole.observations if o.position is None)
    cautions = tuple(replace(c, restored=False) for c in whole.cautions[1:])
    readings = tuple(r for r in whole.readings if r.step not in temperatures)
    readings = tuple(replace(r, instrument="") if r.typed == "170" else r for r in readings)
    given = replace(whole, readings=readings, observations=panels, cautions=cautions)
    save_draft(event=event, by=world.person("technician1"), given=given)
    with pytest.raises(RecordError) as caught:
        sign_performed(event=event, by=world.person("technician1"), password=PASSWORD)
    fields = {problem.field for problem in caught.value.problems}
    text = str(caught.value)
    assert f"caution-{whole.cautions[0].step}-acknowledged" in fields
    assert "confirm that it is put back" in text and "enter the fluid temperature first" in text
    assert "left wing inboard: say whether it is satisfactory" in text and "name the vessel" in text
    assert CheckEvent.objects.get().is_draft


def test_a_check_that_had_to_be_broken_off_is_signed_as_not_valid(world: World) -> None:
    event = performed(world, world.forward, series=("90",), volume="")
    assert event.outcome == "not valid" and event.next_action.startswith("not valid:")
    assert event.results.get(point__code="nozzle").reason
    with pytest.raises(RecordError, match="not valid and must be repeated"):
        sign_released(event=event, by=world.person("releaser1"), password=PASSWORD)


def test_an_inspection_carries_the_total_time_where_the_operator_asks(
    draft: CheckEvent, sign: Callable[..., CheckEvent]
) -> None:
    CheckEvent.objects.filter(pk=draft.pk).update(hours=None)
    with pytest.raises(RecordError, match="total flight hours") as caught:
        sign()
    assert list(caught.value.message_dict) == ["hours"]
    Operator.objects.update(inspection_records=False)
    assert sign().hours is None


def test_nothing_is_signed_twice(world: World, sign: Callable[..., CheckEvent]) -> None:
    event = sign()
    with pytest.raises(RecordError, match="signed and can't change"):
        sign()
    releaser = world.person("releaser1")
    sign_released(event=event, by=releaser, password=PASSWORD)
    with pytest.raises(RecordError, match="Already signed as released by Releaser 1 on 12 Mar 2025"):
        sign_released(event=event, by=releaser, password=PASSWORD)
    assert event.signatures.count() == 2


def test_a_draft_is_neither_inspected_nor_released(world: World, draft: CheckEvent) -> None:
    for signing, by in ((sign_inspected, "inspector1"), (sign_released, "releaser1")):
        with pytest.raises(RecordError, match="not signed as performed yet"):
            signing(event=draft, by=world.person(by), password=PASSWORD)


def test_the_second_signature_is_of_another_person_and_comes_before_the_release(world: World) -> None:
    world.person("inspector1").groups.add(Group.objects.get(name="technician"))
    event = performed(world, world.forward, "panel-replacement", by="inspector1")
    assert not CheckEvent.objects.standing().exists(), "it waits for its second signature"
    with pytest.raises(RecordError, match="second signature is missing"):
        sign_released(event=event, by=world.person("releaser1"), password=PASSWORD)
    with pytest.raises(RecordError, match="can't inspect it"):
        sign_inspected(event=event, by=world.person("inspector1"), password=PASSWORD)
    with pytest.raises(RecordError, match="role lacks it"):
        sign_inspected(event=event, by=world.person("technician1"), password=PASSWORD)
    second = sign_inspected(event=event, by=world.person("inspector2"), password=PASSWORD)
    told = json.loads(second.record.canonical)
    assert told["signed_as"] == event.signatures.get(act="performed").record.hash
    assert CheckEvent.objects.standing().get() == event
    sign_released(event=event, by=world.person("releaser1"), password=PASSWORD)
    assert [s.act for s in event.signatures.all()] == ["performed", "inspected", "released"]
    assert verify_chain(world.forward.chain) == []


def test_a_task_without_a_second_signature_takes_none(world: World, sign: Callable[..., CheckEvent]) -> None:
    event = sign()
    with pytest.raises(RecordError, match="asks for no second signature"):
        sign_inspected(event=event, by=world.person("inspector1"), password=PASSWORD)


def test_a_release_needs_its_own_role_and_authorisation(
    world: World, sign: Callable[..., CheckEvent]
) -> None:
    event = sign()
    with pytest.raises(RecordError, match="role lacks it"):
        sign_released(event=event, by=world.person("technician1"), password=PASSWORD)
    with pytest.raises(RecordError, match="none for this act and variant"):
        sign_released(event=event, by=world.person("releaser3"), password=PASSWORD)


def test_another_open_defect_of_the_aircraft_stands_in_the_way(
    world: World, sign: Callable[..., CheckEvent]
) -> None:
    event = sign()
    raise_defect(aircraft=world.forward, by=world.person("technician2"), description="Drip at the strainer.")
    raise_defect(aircraft=world.underfloor, by=world.person("technician2"), description="Elsewhere.")
    with pytest.raises(RecordError, match="Drip at the strainer") as caught:
        sign_released(event=event, by=world.person("releaser1"), password=PASSWORD)
    assert "Elsewhere" not in str(caught.value)


def test_the_day_of_signing_is_the_base_s_own(world: World, clock: time_machine.Traveller) -> None:
    """One minute after midnight at the base the authorisation of the day before is over there."""
    zone = world.forward.base.zone
    Authorisation.objects.filter(user__username="technician1").update(valid_until=world.today)
    event = filled(started(world, world.forward), world)
    clock.move_to(dt.datetime.combine(world.today + dt.timedelta(days=1), dt.time(0, 1), tzinfo=zone))
    with pytest.raises(RecordError, match="No authorisation in force on 13 Mar 2025"):
        sign_performed(event=event, by=world.person("technician1"), password=PASSWORD)
    clock.move_to(dt.datetime.combine(world.today, dt.time(23, 59), tzinfo=zone))
    assert sign_performed(event=event, by=world.person("technician1"), password=PASSWORD).signed_at


def test_drift_is_scored_once_the_signature_is_kept_and_never_stands_in_its_way(
    world: World, draft: CheckEvent, sign: Callable[..., CheckEvent], monkeypatch, caplog, request
) -> None:
    commit = request.getfixturevalue("django_capture_on_commit_callbacks")
    with commit(execute=True):
        event = sign()
    assert set(SeriesState.objects.values_list("aircraft", flat=True)) == {event.aircraft_id}

    def fails(**_given: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(after_sign, "refresh_aircraft_drift", fails)
    with commit(execute=True):
        again = performed(world, world.forward)
    assert again.signatures.exists() and "ZeroDivisionError" in caplog.text


def test_five_wrong_passwords_close_the_signature_for_five_minutes(
    world: World, sign: Callable[..., CheckEvent], clock: time_machine.Traveller
) -> None:
    for _ in range(5):
        with pytest.raises(RecordError, match="The password is not right") as refused:
            sign(password="guess")
        assert [problem.field for problem in refused.value.problems] == ["password"]
    with pytest.raises(RecordError, match="closed for 5 minutes"):
        sign()
    clock.shift(299)
    with pytest.raises(RecordError, match="What you typed is kept"):
        sign()
    assert Signature.objects.count() == 0
    clock.shift(2)
    assert sign().signed_at


def test_the_right_password_ends_the_count_and_another_person_has_an_own_one(
    world: World, draft: CheckEvent, sign: Callable[..., CheckEvent]
) -> None:
    for _ in range(4):
        with pytest.raises(RecordError, match="The password is not right"):
            sign(password="guess")
    event = sign()
    for _ in range(5):
        with pytest.raises(RecordError, match="The password is not right"):
            prove(world.person("technician1"), "guess")
    assert sign_released(event=event, by=world.person("releaser1"), password=PASSWORD)
