"""Pages of a handover: who holds it, one tap to take it over, the first page, assigned work, the sheet."""

import io

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from pypdf import PdfReader

from checks.models import CheckEvent, Handover
from checks.selectors.handover import holder_of
from checks.services.handover import hand_over, open_steps, seen_key, take_over
from checks.services.sign import sign_performed
from tests.checks.check_pages import address, logged_in, world_at_noon
from tests.checks.work import filled, started
from tests.world import PASSWORD, World


@pytest.fixture
def world(db: None):
    yield from world_at_noon()


@pytest.fixture
def draft(world: World) -> CheckEvent:
    return filled(started(world, world.forward), world)


def text_of(response) -> str:
    return response.content.decode()


def take(client: Client, draft: CheckEvent, **fields: str):
    page = text_of(client.get(address(draft)))
    key = page.partition('name="seen" value="')[2].partition('"')[0]
    return client.post(address(draft, "handover"), {"do": "take", "seen": key, **fields})


def test_handed_over_accepted_and_signed(world: World, draft: CheckEvent) -> None:
    one, two = logged_in(world, "technician1"), logged_in(world, "technician2")
    assert "You hold this check." in text_of(one.get(address(draft)))
    page = text_of(one.get(address(draft, "handover")))
    assert "Nothing is open: it is ready to sign." in page and "Technician 2" in page
    given = {"do": "give", "to": world.person("technician2").pk, "note": "Gauge stays at the test port."}
    assert one.post(address(draft, "handover"), given).url == address(draft)
    assert "Offered to Technician 2" in text_of(one.get(address(draft)))
    home = text_of(two.get("/"))
    assert "Handed to you" in home and "Gauge stays at the test port." in home
    page = text_of(two.get(address(draft)))
    assert "Technician 1 hands this check over to you" in page and "Gauge stays at the test port." in page
    assert take(two, draft).url == address(draft)
    assert "now with you" in text_of(two.get("/")) and "Handed to you" not in text_of(two.get("/"))
    assert "now with Technician 2" in text_of(one.get("/"))
    assert two.post(address(draft, "sign"), {"password": PASSWORD}).status_code == 302
    draft.refresh_from_db()
    assert draft.state == "signed"
    page = text_of(two.get(address(draft)))
    assert "Handed over: Technician 1 to Technician 2" in page and "holds this check" not in page


def test_signing_somebody_else_s_is_one_tap_away(world: World, draft: CheckEvent) -> None:
    two = logged_in(world, "technician2")
    page = text_of(two.get(address(draft, "sign")))
    assert "Technician 1 holds this check. Who signs it takes it over first" in page
    assert 'name="then" value="sign"' in page and 'type="password"' not in page
    refused = two.post(address(draft, "sign"), {"password": PASSWORD})
    assert refused.status_code == 422
    assert take(two, draft, then="sign").url == address(draft, "sign")
    assert 'type="password"' in text_of(two.get(address(draft, "sign")))
    assert two.post(address(draft, "sign"), {"password": PASSWORD}).url == address(draft)


def test_the_open_steps_must_be_read_as_they_are(world: World) -> None:
    draft, two = started(world, world.forward), logged_in(world, "technician2")
    answer = two.post(address(draft, "handover"), {"do": "take", "seen": "of yesterday"}, follow=True)
    assert "The open steps changed since this page was loaded" in text_of(answer)
    assert f"Open: {len(open_steps(draft))}" in text_of(answer) and not Handover.objects.exists()
    assert take(two, draft).status_code == 302 and holder_of(draft) == world.person("technician2")


def test_a_leaver_is_named_as_such(world: World, draft: CheckEvent) -> None:
    person = world.person("technician1")
    person.is_active = False
    person.save()
    page = text_of(logged_in(world, "technician2").get(address(draft)))
    assert "Technician 1 has left and can’t go on with it." in page
    assert take(logged_in(world, "technician2"), draft).status_code == 302


def test_what_is_wrong_with_a_handover_is_said(world: World, draft: CheckEvent) -> None:
    one = logged_in(world, "technician1")
    answer = one.post(address(draft, "handover"), {"do": "give", "to": "", "note": "kept"})
    assert answer.status_code == 422 and "Choose who carries it on." in text_of(answer)
    assert 'value="kept"' in text_of(answer)
    answer = one.post(address(draft, "handover"), {"do": "give", "to": world.person("auditor1").pk})
    assert answer.status_code == 422 and not Handover.objects.exists()


def test_a_reader_sees_who_holds_it_and_no_button(world: World, draft: CheckEvent) -> None:
    reader = logged_in(world, "auditor1")
    for page in (address(draft), address(draft, "handover")):
        text = text_of(reader.get(page))
        assert "Technician 1 holds this check" in text and 'value="take"' not in text
    assert reader.post(address(draft, "handover"), {"do": "take"}).status_code == 403


def test_a_controller_assigns_work_and_the_person_finds_it(world: World) -> None:
    desk, two = logged_in(world, "controller1"), logged_in(world, "technician2")
    aircraft = world.forward
    way = f"{reverse('checks:handover_assign')}?aircraft={aircraft}"
    assert way in text_of(desk.get(reverse("checks:aircraft", args=[aircraft])))
    assert "Choose the aircraft first" in text_of(desk.get(reverse("checks:handover_assign")))
    page = text_of(desk.get(way))
    key = page.partition('name="uuid" value="')[2].partition('"')[0]
    procedure = world.revision(aircraft).procedure
    given = {
        "uuid": key,
        "procedure": procedure.pk,
        "work_date": world.today.isoformat(),
        "to": world.person("technician2").pk,
        "note": "Before noon.",
    }
    refused = desk.post(way, given | {"work_date": "2031-01-01"})
    assert refused.status_code == 422 and "still to come" in text_of(refused)
    for _ in range(2):
        answer = desk.post(way, given)
        assert answer.status_code == 302
    event = CheckEvent.objects.get()
    assert answer.url == address(event) and "Technician 2" in text_of(desk.get(answer.url))
    assert "Assigned by Controller 1" in text_of(two.get("/"))
    assert "Controller 1 assigned this check to you" in text_of(two.get(address(event)))
    assert take(two, event).status_code == 302
    other = world.revision(world.underfloor).procedure
    assert f'value="{procedure.pk}"' in page and f'value="{other.pk}">{other.title}' not in page


def test_the_sheet_tells_changes_of_hands(world: World, draft: CheckEvent) -> None:
    first, second = world.person("technician1"), world.person("technician2")
    hand_over(event=draft, by=first, to=second, note="Shift ends.")
    take_over(event=draft, by=second, seen=seen_key(open_steps(draft)))
    sign_performed(event=draft, by=second, password=PASSWORD)
    made = logged_in(world, "auditor1").get(reverse("reports:record_pdf", args=[draft.pk])).content
    text = " ".join(" ".join(p.extract_text().split()) for p in PdfReader(io.BytesIO(made)).pages)
    assert "Changes of hands while it was a draft" in text and "Shift ends." in text
    assert "Technician 1 to Technician 2" in text


def test_more_handovers_cost_no_more_queries(world: World, draft: CheckEvent) -> None:
    client, first, second = (
        logged_in(world, "technician2"),
        *map(world.person, ("technician1", "technician2")),
    )

    def cost(page: str) -> int:
        with CaptureQueriesContext(connection) as counted:
            assert client.get(page).status_code == 200
        return len(counted)

    def handed(times: int, event: CheckEvent) -> None:
        for _ in range(times):
            hand_over(event=event, by=first, to=second)

    handed(2, draft)
    cost("/")
    few = [cost("/"), cost(address(draft)), cost(address(draft, "handover"))]
    handed(20, draft)
    for _ in range(6):
        handed(1, started(world, world.forward))
    assert [cost("/"), cost(address(draft)), cost(address(draft, "handover"))] == few
