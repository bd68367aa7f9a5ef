"""New check: the aircraft, then the task, one tap each."""

import re
import uuid

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from checks.models import CheckEvent
from checks.services.due import refresh_due
from fleet.models import Aircraft
from tests.checks.check_pages import logged_in, world_at_noon
from tests.checks.due_history import done
from tests.checks.work import started
from tests.world import World

pytestmark = pytest.mark.django_db
world = pytest.fixture(world_at_noon)
NEW = "/checks/new/"


@pytest.fixture
def client(world: World) -> Client:
    return logged_in(world, "technician1")


def order(text: str, *words: str) -> list[int]:
    """Where each of the words stands on a page; all of them are there."""
    places = [text.find(word) for word in words]
    assert -1 not in places, words
    return places


def wanted(world: World, **other: object) -> dict[str, object]:
    """The form that a tap on the pressure and flow check sends."""
    aircraft = world.forward
    return {
        "uuid": uuid.uuid4(),
        "aircraft": aircraft.registration,
        "procedure": world.revision(aircraft).procedure_id,
        "work_date": "2025-03-12",
        "base": aircraft.base_id,
    } | other


def test_own_base_comes_first_with_what_presses_most(world: World, client: Client) -> None:
    first, second = world.fleet
    first.base = world.master.bases["outer"]
    first.save()
    refresh_due()
    text = client.get(NEW).content.decode()
    near, far = order(text, second.registration, first.registration)
    assert near < far and "Aircraft of North Skerry come first" in text
    assert text.count("no record") == 2


def test_search_and_base_narrow_the_list(world: World, client: Client) -> None:
    first, second = world.fleet
    assert second.registration not in client.get(NEW, {"q": first.registration[1:].lower()}).content.decode()
    page = client.get(NEW, {"base": world.master.bases["outer"].pk}).content.decode()
    assert "No aircraft fits this filter" in page
    part = client.get(NEW, {"q": "q-"}, headers={"HX-Request": "true"}).content.decode()
    assert first.registration in part and "<html" not in part


def test_an_unknown_registration_says_so(client: Client) -> None:
    text = client.get(NEW, {"aircraft": "Q-NONE"}).content.decode()
    assert "No aircraft with the registration “Q-NONE”" in text


def test_tasks_that_are_due_come_first_with_their_state(world: World, client: Client) -> None:
    aircraft = world.forward
    done(world, aircraft, world.master.days_ago(400), hours=1000)
    wet_out = world.revision(aircraft, "wet-out")
    done(world, aircraft, world.master.days_ago(1), revision=wet_out, hours=2000, landings=1500)
    refresh_due()
    text = client.get(NEW, {"aircraft": aircraft.registration}).content.decode()
    places = order(text, "overdue", "Strainer and filter", "Wet-out run", "Panel purge")
    assert places == sorted(places)
    assert "Date of work: 12 Mar 2025, North Skerry" in text
    assert "revision 2" in text  # of two revisions of the check the one in force


def test_a_tap_starts_the_check_and_a_second_one_the_same(world: World, client: Client) -> None:
    form = wanted(world)
    for _ in range(2):
        response = client.post(NEW, form)
        assert response.status_code == 302 and response.url == f"/checks/{form['uuid']}/"
    event = CheckEvent.objects.get()
    assert (event.hours, event.landings, event.base) == (2000, 1500, world.forward.base)
    assert event.started_by == world.person("technician1")


def test_a_key_that_stands_for_another_check_gets_a_new_one(world: World, client: Client) -> None:
    form = wanted(world)
    client.post(NEW, form)
    other = world.revision(world.forward, "wet-out").procedure_id
    response = client.post(NEW, form | {"procedure": other})
    text = response.content.decode()
    assert response.status_code == 422 and "already stands for" in text
    offered = re.search(r'name="uuid" value="([^"]+)"', text)[1]
    assert offered != str(form["uuid"])
    assert client.post(NEW, form | {"procedure": other, "uuid": offered}).status_code == 302
    assert CheckEvent.objects.count() == 2


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("work_date", "yesterday", "Write the day of the work as"),
        ("work_date", "2025-03-13", "still to come"),
        ("work_date", "1999-01-01", "no approved revision in force"),
        ("aircraft", "Q-NONE", "No aircraft with the registration"),
        ("procedure", "", "Task"),
    ],
)
def test_what_can_not_be_started_says_why(
    world: World, client: Client, field: str, value: str, words: str
) -> None:
    response = client.post(NEW, wanted(world, **{field: value}))
    assert words in response.content.decode()
    assert not CheckEvent.objects.exists()


def test_a_task_of_another_variant_is_refused(world: World, client: Client) -> None:
    other = world.revision(world.underfloor).procedure_id
    response = client.post(NEW, wanted(world, procedure=other))
    assert response.status_code == 422 and "does not serve" in response.content.decode()


def test_drafts_wait_to_be_gone_on_with(world: World, client: Client) -> None:
    draft = started(world, world.forward)
    for query in ({}, {"aircraft": world.forward.registration}):
        text = client.get(NEW, query).content.decode()
        assert "Go on with a draft" in text and f"/checks/{draft.pk}/" in text
    text = client.get(NEW, {"aircraft": world.underfloor.registration}).content.decode()
    assert "Go on with a draft" not in text


def test_only_who_records_checks_starts_them(world: World) -> None:
    for username in ("auditor1", "releaser1"):
        client = logged_in(world, username)
        assert client.get(NEW).status_code == 403
        assert client.post(NEW, wanted(world)).status_code == 403
    assert not CheckEvent.objects.exists()


def test_an_aircraft_that_left_is_not_offered(world: World, client: Client) -> None:
    Aircraft.objects.filter(pk=world.forward.pk).update(state=Aircraft.State.LEFT)
    assert world.forward.registration not in client.get(NEW).content.decode()


def test_the_list_asks_as_much_for_22_aircraft_as_for_2(world: World, client: Client) -> None:
    refresh_due()
    with CaptureQueriesContext(connection) as few:
        assert client.get(NEW).status_code == 200
    Aircraft.objects.bulk_create(
        Aircraft(
            registration=f"Q-9{n:03}",
            serial_number=f"X-{n}",
            type_name="Demo Single",
            variant=world.forward.variant,
            base=world.forward.base,
            entered_service_on=world.master.days_ago(900),
        )
        for n in range(20)
    )
    refresh_due()
    with CaptureQueriesContext(connection) as many:
        assert client.get(NEW).content.decode().count('class="tile"') == 22
    assert len(many) == len(few)
