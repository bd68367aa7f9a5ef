"""Notices: facts, what a person chose, telling once, and calendar addresses."""

import datetime as dt
from collections.abc import Callable, Iterator

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from checks.models import CalendarFeed, Defect, DuePoint, NoticeChoice, NoticeTold
from checks.selectors.notices import Fact, all_facts
from checks.services import notices as service
from checks.services.defects import raise_defect
from checks.services.due import refresh_due
from checks.services.errors import RecordError
from checks.services.packages import accept_package
from fleet.models import Aircraft
from tests.checks.deferring import deferred
from tests.checks.packaging import CONCENTRATION, SKIN, due_in, only, planned
from tests.snapshot import once
from tests.world import TODAY, World, build_world

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _noon() -> Iterator[None]:
    with time_machine.travel(dt.datetime.combine(TODAY, dt.time(12), dt.UTC), tick=False):
        yield


@pytest.fixture
def world() -> World:
    """One check overdue, one due soon, a defect, an accepted package."""
    return once(("facts to tell",), _world)


def _world() -> World:
    world = build_world()
    due_in(world, world.forward, CONCENTRATION, -20)
    due_in(world, world.underfloor, SKIN, 14)
    planned(world)
    accept_package(package=only(world.underfloor), by=world.person("controller1"))
    raise_defect(aircraft=world.forward, by=world.person("technician1"), description="Drip\nat the root.")
    return world


def facts() -> list[Fact]:
    return all_facts(timezone.now(), TODAY)


def test_every_kind_is_told_most_urgent_first(world: World) -> None:
    found = facts()
    assert [fact.kind for fact in found] == ["overdue", "defects", "due_soon", "packages"]
    assert found[0].words == "Q-0000: Fluid concentration, overdue, due 20 Feb 2025"
    assert found[1].words.startswith("Q-0000: Drip at the root.")
    assert found[3].words == "Q-0001, 26 Mar 2025, North Skerry: accepted, 1 checks"


def test_a_date_that_moves_is_another_fact_but_an_estimate_is_not(world: World) -> None:
    point = DuePoint.objects.filter(aircraft=world.underfloor, due_on=TODAY + dt.timedelta(days=14))
    before = {fact.key for fact in facts()}
    key = point.get().pk
    point.update(due_on=TODAY + dt.timedelta(days=15))
    moved = {fact.key for fact in facts()} - before
    assert len(moved) >= 1
    DuePoint.objects.filter(pk=key).update(estimated=True, governing="hours")
    first = {fact.key for fact in facts() if fact.kind == "due_soon"}
    DuePoint.objects.filter(pk=key).update(due_on=TODAY + dt.timedelta(days=19))
    assert {fact.key for fact in facts() if fact.kind == "due_soon"} == first


def test_a_deferral_that_ends_or_expired_is_told(world: World) -> None:
    deferral = deferred(world, Defect.objects.get(), "C")
    told = {}
    for days in (-9, 0, 2):
        now = dt.datetime.combine(deferral.expires_on, dt.time(12), dt.UTC) + dt.timedelta(days=days)
        told[days] = [f.words for f in all_facts(now, TODAY) if f.kind == "deferrals"]
    assert told[-9] == [] and "last day" in told[0][0] and "expired" in told[2][0]


def test_questions_do_not_grow_with_the_fleet(world: World) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as found:
            facts()
        return len(found)

    few = asked()
    for n in range(20):
        one = Aircraft.objects.create(
            registration=f"Q-M{n:03}",
            serial_number=f"M{n}",
            type_name="Demo Single",
            variant=world.forward.variant,
            base=world.forward.base,
            entered_service_on=TODAY,
        )
        due_in(world, one, SKIN, 5)
    refresh_due()
    assert len(facts()) > 20 and asked() == few


# --- what was chosen and told -----------------------------------------------------------------------


def choose(world: World, *kinds: str, bases: tuple = ()) -> NoticeChoice:
    return service.choose_notices(
        person=world.person("controller1"), kinds=kinds, bases=bases, every_base=not bases
    )


def test_only_what_was_chosen_of_the_bases_chosen(world: World) -> None:
    north, outer = world.master.bases["north"], world.master.bases["outer"]
    assert [f.kind for f in service.chosen(choose(world, "overdue", "defects"), facts())] == [
        "overdue",
        "defects",
    ]
    assert service.chosen(choose(world), facts()) == []
    assert service.chosen(choose(world, "overdue", bases=(outer,)), facts()) == []
    assert len(service.chosen(choose(world, "overdue", bases=(north, outer)), facts())) == 1


def test_what_was_told_is_not_told_again(world: World) -> None:
    choice, person = choose(world, "overdue", "defects"), world.person("controller1")
    wanted = service.chosen(choice, facts())
    with service.telling(person, wanted) as mine:
        assert mine == wanted
        with service.telling(person, wanted) as other:  # a second sender at the same time
            assert other == []
    assert service.untold(person, wanted) == []
    assert service.untold(world.person("director1"), wanted) == wanted


def test_what_could_not_be_sent_is_told_next_time(world: World) -> None:
    choice, person = choose(world, "overdue"), world.person("controller1")
    wanted = service.chosen(choice, facts())
    with pytest.raises(OSError), service.telling(person, wanted):
        raise OSError("no server")
    assert service.untold(person, wanted) == wanted and not NoticeTold.objects.exists()


def test_a_mail_holds_so_many_lines_and_the_rest_comes_next(world: World, monkeypatch) -> None:
    monkeypatch.setattr(service, "MOST_LINES", 1)
    person = world.person("controller1")
    wanted = service.chosen(choose(world, "overdue", "defects"), facts())
    for fact in wanted:
        with service.telling(person, wanted) as mine:
            assert mine == [fact]
    assert service.untold(person, wanted) == []


# --- calendar addresses -----------------------------------------------------------------------------


def test_only_a_digest_of_the_secret_is_kept(world: World) -> None:
    feed, secret = service.make_feed(base=world.forward.base, owner=world.person("auditor1"), name="door")
    stored = CalendarFeed.objects.values().get()
    assert secret not in str(stored) and len(secret) >= 43
    assert service.open_feed("north", secret) == feed
    assert service.open_feed("outer", secret) is None and service.open_feed("north", secret + "x") is None


def test_revoked_or_of_a_leaver_it_opens_nothing(world: World) -> None:
    owner = world.person("auditor1")
    feed, secret = service.make_feed(base=world.forward.base, owner=owner)
    with pytest.raises(RecordError, match="somebody else"):
        service.revoke_feed(feed=feed, by=world.person("director1"))
    owner.is_active = False
    owner.save()
    assert service.open_feed("north", secret) is None
    owner.is_active = True
    owner.save()
    assert service.open_feed("north", secret) == feed
    service.revoke_feed(feed=feed, by=owner)
    assert service.open_feed("north", secret) is None


def test_a_person_has_so_many_addresses(world: World, monkeypatch) -> None:
    monkeypatch.setattr(service, "MOST_FEEDS", 1)
    owner = world.person("auditor1")
    service.make_feed(base=world.forward.base, owner=owner)
    with pytest.raises(RecordError, match="Revoke one"):
        service.make_feed(base=world.forward.base, owner=owner)


# --- the page ---------------------------------------------------------------------------------------


def test_the_page_keeps_the_choice_and_shows_a_secret_once(world: World, client_of: Callable) -> None:
    person = world.person("auditor1")
    browse: Client = client_of(person)
    page = browse.get("/notices/")
    assert b"No mail address is on file" in page.content
    north = world.master.bases["north"]
    browse.post("/notices/", {"do": "choose", "overdue": "on", "bases": [north.pk]})
    choice = NoticeChoice.objects.get(person=person)
    assert choice.overdue and not choice.due_soon and list(choice.bases.all()) == [north]
    made = browse.post("/notices/", {"do": "feed", "base": north.pk, "name": "door"})
    address = made.context["address"]
    assert address.startswith("http://testserver/calendar/north.ics?key=")
    assert address in made.content.decode() and made["Cache-Control"] == "no-store, private"
    again = browse.get("/notices/").content.decode()
    assert address not in again and "door" in again
    feed = CalendarFeed.objects.get()
    other = client_of(world.person("director1"))
    assert b"somebody else" in other.post(f"/notices/calendars/{feed.pk}/revoke/", follow=True).content
    assert b"Revoked" in browse.post(f"/notices/calendars/{feed.pk}/revoke/", follow=True).content


def test_a_wrong_form_says_what_is_wrong(world: World, client_of: Callable) -> None:
    browse: Client = client_of(world.person("auditor1"))
    answer = browse.post("/notices/", {"do": "feed", "base": "x", "name": "kept words"})
    assert answer.status_code == 422 and b"kept words" in answer.content
    assert browse.post("/notices/", {"do": "choose", "bases": ["x"]}).status_code == 422
