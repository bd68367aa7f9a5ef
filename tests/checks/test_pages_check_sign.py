"""The pages of signatures, decisions and corrections: what is signed, a password, and clear refusals."""

import pytest
from django.test import Client

from checks.models import CheckEvent, Decision, Signature
from checks.services.defects import rectify
from checks.services.record import save_draft
from tests.checks.check_pages import OVER, address, logged_in, posted, world_at_noon
from tests.checks.work import filled, performed, started, typed
from tests.world import PASSWORD, World

pytestmark = pytest.mark.django_db
world = pytest.fixture(world_at_noon)
LOW = {"series": ("8", "8", "8", "8"), "volume": "2"}


@pytest.fixture
def technician(world: World) -> Client:
    return logged_in(world, "technician1")


@pytest.fixture
def releaser(world: World) -> Client:
    return logged_in(world, "releaser1")


def test_signing_shows_what_is_signed_and_asks_for_the_password(world: World, technician: Client) -> None:
    draft = filled(started(world, world.forward), world, series=OVER)
    text = technician.get(address(draft, "sign")).content.decode()
    assert "I carried out the work recorded here" in text and "DEMO-T-001" in text
    assert "over limit" in text and "outside by 172.5 kPa" in text
    wrong = technician.post(address(draft, "sign"), {"password": "guessed"})
    assert wrong.status_code == 422 and "The password is not right" in wrong.content.decode()
    assert "Type your own password" in technician.post(address(draft, "sign"), {}).content.decode()
    draft.refresh_from_db()
    assert draft.is_draft
    assert technician.post(address(draft, "sign"), {"password": PASSWORD}).url == address(draft)
    draft.refresh_from_db()
    assert (draft.state, draft.outcome, draft.signatures.get().act) == ("signed", "over limit", "performed")


def test_what_is_missing_bars_signing_and_leads_to_its_field(world: World, technician: Client) -> None:
    draft = started(world, world.forward)
    step = draft.revision.steps.filter(kind="warning").first()
    for response in (
        technician.get(address(draft, "sign")),
        technician.post(address(draft, "sign"), {"password": PASSWORD}),
    ):
        text = response.content.decode()
        assert f'href="{address(draft)}#caution-{step.pk}-acknowledged"' in text
        assert 'type="password"' not in text
    draft.refresh_from_db()
    assert draft.is_draft


def test_the_button_of_the_form_keeps_and_leads_on(world: World, technician: Client) -> None:
    draft = started(world, world.forward)
    response = technician.post(address(draft), posted(draft, typed(draft)) | {"do": "sign"})
    assert response.url == address(draft, "sign")


def test_a_signed_check_is_neither_kept_signed_nor_thrown_away_again(
    world: World, technician: Client
) -> None:
    event = performed(world, world.forward)
    assert technician.post(address(event), {"do": "save"}).status_code == 409
    technician.post(address(event), {"do": "discard"})
    technician.post(address(event, "sign"), {"password": PASSWORD})
    part = technician.post(address(event, "outcome"), headers={"HX-Request": "true"}).content.decode()
    assert "This check is signed and can" in part
    event.refresh_from_db()
    assert event.signatures.count() == 1 and event.readings.exists()


def test_total_hours_are_asked_for_where_the_record_carries_them(world: World, technician: Client) -> None:
    draft = filled(started(world, world.forward), world)
    save_draft(event=draft, by=world.person("technician1"), given=typed(draft, fields={"hours": ""}))
    text = technician.post(address(draft, "sign"), {"password": PASSWORD}).content.decode()
    assert "Enter the total flight hours" in text and f'href="{address(draft)}#hours"' in text


def test_an_authorisation_that_ended_is_named(world: World) -> None:
    person = world.person("technician6")
    draft = filled(started(world, world.forward, by="technician6"), world, by="technician6")
    person.authorisations.update(valid_until=world.master.days_ago(1))
    response = logged_in(world, "technician6").post(address(draft, "sign"), {"password": PASSWORD})
    assert "No authorisation in force on 12 Mar 2025" in response.content.decode()
    assert not Signature.objects.exists()


def test_the_second_signature_is_another_person_s(world: World) -> None:
    event = performed(world, world.forward, "panel-replacement")
    inspector = logged_in(world, "inspector1")
    assert "which another person carried out" in inspector.get(address(event, "inspect")).content.decode()
    assert inspector.post(address(event, "inspect"), {"password": PASSWORD}).url == address(event)
    again = inspector.post(address(event, "inspect"), {"password": PASSWORD})
    assert "Already signed as inspected by Inspector 1" in again.content.decode()
    assert set(event.signatures.values_list("act", flat=True)) == {"performed", "inspected"}


def test_a_release_names_what_is_recorded_against_it(world: World, releaser: Client) -> None:
    event = performed(world, world.forward, series=OVER)
    for response in (
        releaser.get(address(event, "release")),
        releaser.post(address(event, "release"), {"password": PASSWORD}),
    ):
        text = response.content.decode()
        assert "Recorded against this release" in text and "neither rectified nor deferred" in text
        assert 'type="password"' not in text
    world.clock.shift(60)
    retest = performed(world, world.forward, follows=event)
    rectify(
        defect=event.defect,
        by=world.person("releaser1"),
        password=PASSWORD,
        text="Panels purged.",
        retest=retest,
    )
    assert "I approve the aircraft" in releaser.get(address(retest, "release")).content.decode()
    assert releaser.post(address(retest, "release"), {"password": PASSWORD}).url == address(retest)
    assert retest.signatures.get(act="released").certificate_number == "DEMO-R-001"


def test_far_under_the_baseline_nothing_is_released_without_a_written_decision(
    world: World, releaser: Client
) -> None:
    event = performed(world, world.forward, **LOW)
    assert "must decide in writing" in releaser.get(address(event, "release")).content.decode()
    empty = releaser.post(address(event, "decide"), {})
    text = empty.content.decode()
    assert empty.status_code == 422 and "Choose one of the two" in text and "Give the reason" in text
    given = {"accepted": "yes", "text": "Line <drained>, pump seen to run."}
    wrong = releaser.post(address(event, "decide"), given | {"password": "guessed"})
    assert "The password is not right" in wrong.content.decode()
    assert "Line &lt;drained&gt;" in wrong.content.decode() and not Decision.objects.exists()
    assert releaser.post(address(event, "decide"), given | {"password": PASSWORD}).url == address(event)
    assert Decision.objects.get().accepted
    assert "Accepted in writing" in releaser.get(address(event)).content.decode()
    again = releaser.post(address(event, "decide"), given | {"password": PASSWORD}, follow=True)
    assert "There is nothing to decide on this check." in again.content.decode()
    assert releaser.post(address(event, "release"), {"password": PASSWORD}).url == address(event)


def test_a_reading_that_was_not_accepted_stays_against_the_release(world: World, releaser: Client) -> None:
    event = performed(world, world.forward, **LOW)
    releaser.post(
        address(event, "decide"), {"accepted": "no", "text": "Pump fuse open.", "password": PASSWORD}
    )
    assert not Decision.objects.get().accepted
    text = releaser.post(address(event, "release"), {"password": PASSWORD}).content.decode()
    assert "was not accepted. Find the cause and test again" in text


def test_a_correction_asks_for_its_reason_and_goes_to_its_draft(world: World, technician: Client) -> None:
    event = performed(world, world.forward)
    empty = technician.post(address(event, "correct"), {"reason": " "})
    assert empty.status_code == 422 and "Say why it is corrected" in empty.content.decode()
    response = technician.post(address(event, "correct"), {"reason": "Volume misread"})
    draft = CheckEvent.objects.get(supersedes=event)
    assert response.url == address(draft)
    text = technician.get(address(draft)).content.decode()
    assert "This is a correction of" in text and 'value="96"' in text and "Volume misread" in text
    again = technician.post(address(event, "correct"), {"reason": "Once more"})
    assert "already under way" in again.content.decode()


@pytest.mark.parametrize("act", ["inspect", "release", "decide", "correct"])
def test_a_draft_is_signed_as_performed_first(world: World, act: str) -> None:
    draft = started(world, world.forward)
    who = {"inspect": "inspector1", "correct": "technician1"}.get(act, "releaser1")
    client = logged_in(world, who)
    for response in (client.get(address(draft, act)), client.post(address(draft, act), {})):
        assert response.status_code == 302 and response.url == address(draft)
    assert not Signature.objects.exists()


def test_each_signature_is_closed_to_other_roles(world: World) -> None:
    event = performed(world, world.forward)
    opened = {"sign": "technician1", "inspect": "inspector1", "release": "releaser1"}
    opened |= {"decide": "releaser1", "correct": "technician1"}
    for username in ("technician1", "inspector1", "releaser1", "controller1", "auditor1"):
        client = logged_in(world, username)
        for act, who in opened.items():
            refused = client.post(address(event, act), {"password": PASSWORD}).status_code == 403
            assert refused == (username != who), (username, act)
        event.refresh_from_db()
