"""Sending a draft from a phone: once however often, kept beside the draft where it went on elsewhere."""

import datetime as dt
import json
import uuid

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from checks.forms.check import CheckForm
from checks.models import CheckEvent, DraftCopy
from checks.services.copies import revision_of
from checks.services.record import discard_draft
from checks.services.sign import sign_performed
from tests.checks.check_pages import NOON, OVER, address, logged_in, posted, series_step, world_at_noon
from tests.checks.work import filled, started, typed
from tests.world import PASSWORD, World

pytestmark = pytest.mark.django_db
world = pytest.fixture(world_at_noon)
PHONE, OTHER_PHONE = "phone-one-0001", "phone-two-0002"


@pytest.fixture
def client(world: World) -> Client:
    return logged_in(world, "technician1")


@pytest.fixture
def draft(world: World) -> CheckEvent:
    return started(world, world.forward)


def sending(world: World, event: CheckEvent, by: str = "technician1", **more: object) -> dict:
    """A body as the phone makes it: the whole form, on the draft as it is now."""
    body = {
        "person": world.person(by).pk,
        "device": PHONE,
        "number": 1,
        "base": revision_of(event),
        "clock": NOON.isoformat(),
        "text": posted(event, typed(event)),
        "clocks": {},
    }
    return body | more


def send(client: Client, event: CheckEvent | uuid.UUID, body: object) -> tuple[int, dict]:
    key = event.pk if isinstance(event, CheckEvent) else event
    response = client.post(f"/checks/{key}/run/", json.dumps(body), content_type="application/json")
    return response.status_code, response.json()


def changed(body: dict, event: CheckEvent, value: str, **more: object) -> dict:
    """The same form with another third reading of the series."""
    name = f"reading-{series_step(event).pk}-2-typed"
    return body | {"text": body["text"] | {name: value}} | more


def third(event: CheckEvent) -> str:
    return event.readings.get(step=series_step(event), sequence=2).typed


# --- kept ----------------------------------------------------------------------------------------


def test_what_a_phone_sends_is_the_draft_and_is_judged_at_once(world: World, client, draft) -> None:
    body = sending(world, draft)
    status, said = send(client, draft, body)
    assert (status, said["state"]) == (200, "kept")
    form = CheckForm(CheckEvent.objects.get(pk=draft.pk))
    sent = {name: text for name, text in body["text"].items() if text and not name.endswith("-rows")}
    assert {name: form.text[name] for name in sent} == sent and len(sent) > 40
    assert said["revision"] == revision_of(draft) != body["base"]
    assert set(said["points"].values()) == {"within limit"} and said["missing"] == 0
    assert 'id="outcome"' in said["panel"] and "inside by" in said["panel"]


def test_the_same_sent_twice_is_one_and_has_the_same_answer(world: World, client, draft) -> None:
    body = sending(world, draft)
    _, first = send(client, draft, body)
    readings = set(draft.readings.values_list("pk", flat=True))
    status, second = send(client, draft, body)
    assert status == 200 and {**second, "at": 0} == {**first, "at": 0}
    assert set(draft.readings.values_list("pk", flat=True)) == readings  # nothing was written again
    assert DraftCopy.objects.count() == 1


def test_going_on_from_what_was_kept_is_no_conflict(world: World, client, draft) -> None:
    body = sending(world, draft)
    for number, value in enumerate(("95", "96", "95"), start=1):
        status, said = send(client, draft, changed(body, draft, value, number=number))
        assert status == 200 and third(draft) == value
        body["base"] = said["revision"]
    copy = DraftCopy.objects.get()
    assert (copy.number, copy.state) == (3, "kept")


def test_coming_back_to_an_earlier_content_after_another_s_change_is_written(world, client, draft) -> None:
    body = sending(world, draft)
    send(client, draft, body)
    filled(draft, world, "technician2", series=("90", "95", "95", "95"))
    status, _ = send(client, draft, body | {"base": revision_of(draft)})
    assert status == 200 and third(draft) == "96"


def test_text_that_can_not_be_read_is_named_and_kept(world: World, client, draft) -> None:
    status, said = send(client, draft, changed(sending(world, draft), draft, "9x6"))
    name = f"reading-{series_step(draft).pk}-2-typed"
    assert status == 200 and [one["field"] for one in said["problems"]] == [name]
    assert DraftCopy.objects.get().content["text"][name] == "9x6"
    assert 'value="9x6"' in client.get(address(draft)).content.decode()


def test_fields_of_a_form_do_as_well_as_json(world: World, client, draft) -> None:
    body = sending(world, draft)
    data = body.pop("text") | {k: v for k, v in body.items() if k != "clocks"}
    assert client.post(f"/checks/{draft.pk}/run/", data).status_code == 200
    assert draft.readings.exists() and "person" not in DraftCopy.objects.get().content["text"]


@pytest.mark.parametrize(
    "wrong",
    [
        b"",
        b"[]",
        b"{",
        b'{"device": "phone-one-0001"}',
        b'{"device": "x", "text": {"a": "b"}}',
        b'{"device": "phone-one-0001", "text": {"a": 5}}',
        b'{"device": "phone-one-0001", "text": {"a": "b"}, "clocks": {"pump-1": "soon"}}',
    ],
)
def test_what_is_no_check_is_refused_with_a_way_out(client, draft, wrong: bytes) -> None:
    response = client.post(f"/checks/{draft.pk}/run/", wrong, content_type="application/json")
    assert response.status_code == 400 and "Load the page again" in response.json()["words"]
    assert not DraftCopy.objects.exists()


# --- conflicts: both are kept -----------------------------------------------------------------------


def test_two_phones_are_told_of_each_other_and_keep_both(world: World, client, draft) -> None:
    body = sending(world, draft)
    second = logged_in(world, "technician2")
    theirs = sending(world, draft, "technician2", device=OTHER_PHONE)
    send(client, draft, body)
    status, said = send(second, draft, changed(theirs, draft, "99"))
    assert (status, said["state"]) == (409, "conflict")
    assert "Both are kept" in said["words"]
    (line,) = said["differs"]
    assert line["label"] == f"Step {series_step(draft).number}, reading 3, value"
    assert (line["stands"], line["sent"]) == ("96", "99")
    assert third(draft) == "96"
    assert DraftCopy.objects.filter(state="conflict").get().person == world.person("technician2")
    assert any(str(world.person("technician1")) in words for words in said["others"])
    # Sent again, the conflict is the same one.
    assert send(second, draft, changed(theirs, draft, "99"))[0] == 409
    assert DraftCopy.objects.filter(state="conflict").count() == 1


def test_going_on_with_the_phone_s_own_keeps_what_stood(world: World, client, draft) -> None:
    base = revision_of(draft)
    filled(draft, world, "technician2")
    body = changed(sending(world, draft), draft, "99", base=base)
    _, said = send(client, draft, body)
    status, _ = send(client, draft, body | {"base": said["revision"], "replaces": True})
    assert status == 200 and third(draft) == "99"
    replaced = DraftCopy.objects.get(state="replaced")
    assert replaced.content["text"][f"reading-{series_step(draft).pk}-2-typed"] == "96"
    page = client.get(f"/checks/{draft.pk}/copies/").content.decode()
    assert "96" in page and "99" in page and "Stood in the draft before" in page


def test_a_change_in_the_plain_form_is_a_change_too(world: World, client, draft) -> None:
    body = sending(world, draft)
    assert client.post(address(draft), posted(draft, typed(draft, series=OVER))).status_code == 302
    assert send(client, draft, body)[0] == 409


def test_sent_after_signing_is_kept_beside_the_record(world: World, client, draft) -> None:
    filled(draft, world)
    body = changed(sending(world, draft), draft, "99")
    sign_performed(event=draft, by=world.person("technician1"), password=PASSWORD)
    status, said = send(client, draft, body)
    assert (status, said["state"]) == (409, "signed") and "signed meanwhile" in said["words"]
    assert third(draft) == "96"
    page = client.get(said["copies"]).content.decode()
    assert "99" in page and "signed meanwhile" in page


def test_sent_after_the_draft_was_thrown_away_is_kept(world: World, client, draft) -> None:
    key, body = draft.pk, changed(sending(world, draft), draft, "99")
    discard_draft(event=draft, by=world.person("technician2"))
    status, said = send(client, key, body)
    assert (status, said["state"]) == (410, "gone")
    page = client.get(f"/checks/{key}/copies/").content.decode()
    assert "not there any more" in page and "99" in page
    # A draft with copies can be thrown away, and the copies stay.
    other = started(world, world.forward)
    send(client, other, sending(world, other))
    discard_draft(event=other, by=world.person("technician1"))
    assert DraftCopy.objects.filter(event=other.pk).count() == 1


# --- whose phone, which clock ---------------------------------------------------------------------------


def test_a_page_of_another_person_sends_nothing(world: World, draft) -> None:
    status, said = send(logged_in(world, "technician2"), draft, sending(world, draft))
    assert (status, said["state"]) == (403, "other person")
    assert not DraftCopy.objects.exists() and not draft.readings.exists()


def test_a_person_who_may_not_record_is_refused(world: World, draft) -> None:
    client = logged_in(world, "auditor1")
    body = json.dumps(sending(world, draft, "auditor1"))
    answer = client.post(f"/checks/{draft.pk}/run/", body, content_type="application/json")
    assert answer.status_code == 403 and not DraftCopy.objects.exists()


@pytest.mark.parametrize(("ahead", "told"), [(0, 0), (4, 0), (125, 125), (-3600, -3600)])
def test_a_phone_s_wrong_clock_is_said_and_recorded(world: World, client, draft, ahead: int, told) -> None:
    world.clock.move_to(NOON, tick=False)
    clock = (NOON + dt.timedelta(seconds=ahead)).isoformat()
    _, said = send(client, draft, sending(world, draft, clock=clock))
    assert said["skew"] == told and DraftCopy.objects.get().skew_seconds == ahead


def test_another_phone_goes_on_with_the_clock_that_was_started(world: World, client, draft) -> None:
    """The start is set right by how wrong the first phone's clock was."""
    world.clock.move_to(NOON, tick=False)
    ahead = dt.timedelta(minutes=7)
    start = (NOON - dt.timedelta(minutes=2) + ahead).isoformat()
    name = f"pump-{series_step(draft).pk}"
    body = sending(world, draft, clock=(NOON + ahead).isoformat(), clocks={name: start})
    assert send(client, draft, body)[0] == 200
    data = page_data(logged_in(world, "technician2"), draft)
    assert data["clocks"] == {name: round((NOON - dt.timedelta(minutes=2)).timestamp() * 1000)}


def page_data(client: Client, event: CheckEvent) -> dict:
    response = client.get(address(event))
    return json.loads(response.context["run"].data)


# --- the page, the worker ------------------------------------------------------------------------------


def test_the_page_says_whose_it_is_and_what_the_phone_needs(world: World, client, draft) -> None:
    response = client.get(address(draft))
    assert response["X-Run-Person"] == str(world.person("technician1").pk)
    data = json.loads(response.context["run"].data)
    step = data["steps"][str(series_step(draft).pk)]
    assert data["base"] == revision_of(draft)
    # As the demo's fixture prints them: a minute, 420 kPa from 150 s on, the row of 20 °C at 137.5 kPa.
    assert (step["cadence"], float(step["ceiling"]), step["after"]) == (60, 420, 150)
    row = next(row for row in step["table"]["rows"] if float(row["temperature"]) == 20)
    assert float(row["upper"]) == 137.5 and row["lower"] is None


def test_the_worker_comes_from_the_root_and_holds_nothing_private(client, world: World) -> None:
    for asked in (Client(), client):
        response = asked.get("/run-worker.js")
        assert response.status_code == 200
        assert response["Content-Type"].startswith("text/javascript")
        assert response["Service-Worker-Allowed"] == "/" and response["Cache-Control"] == "no-cache"
        assert "'self'" in response["Content-Security-Policy"]


def test_sending_asks_as_much_for_22_readings_as_for_2(world: World, client, draft) -> None:
    counts = []
    send(client, draft, sending(world, draft, text=posted(draft, typed(draft, series=("96",)))))
    for number, values in enumerate((("96", "96"), ("96",) * 22), start=2):
        text = posted(draft, typed(draft, series=values))
        body = sending(world, draft, text=text, number=number)
        with CaptureQueriesContext(connection) as asked:
            assert send(client, draft, body)[0] == 200
        counts.append(len(asked))
    assert counts[0] == counts[1]


def test_the_copies_ask_as_much_for_22_as_for_2(world: World, client, draft) -> None:
    counts = []
    for many in (2, 22):
        for number in range(DraftCopy.objects.count(), many):
            body = changed(sending(world, draft), draft, str(number), device=f"phone-{number:05}", base="x")
            assert send(client, draft, body)[0] == 409
        with CaptureQueriesContext(connection) as asked:
            client.get(f"/checks/{draft.pk}/copies/")
        counts.append(len(asked))
    assert counts[0] == counts[1]
