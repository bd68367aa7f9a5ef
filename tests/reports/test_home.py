"""Role homes: what each shows, that a tap starts the work, and what they cost."""

import datetime as dt
from collections.abc import Callable, Iterator

import pytest
import time_machine
from django.contrib.auth.models import Group
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from checks.models import CheckEvent, Revision
from checks.services.correct import correct
from checks.services.decide import decide_too_low
from checks.services.defects import raise_defect
from checks.services.due import refresh_due
from checks.services.record import save_draft
from checks.services.sign import sign_inspected, sign_performed, sign_released
from fleet.models import Aircraft, Calibration
from reports.home import HEAD, signer, technician
from reports.home_view import sections_of
from tests.checks.check_pages import OVER, logged_in
from tests.checks.due_history import done
from tests.checks.work import performed, started, typed
from tests.reports.home_world import defer_until, noon, series
from tests.world import PASSWORD, World, build_world

LOW = ("8", "8", "8", "8")


@pytest.fixture
def clock() -> Iterator[time_machine.Traveller]:
    yield from noon()


@pytest.fixture
def world(db: None, clock: time_machine.Traveller) -> World:
    return build_world()


# --- whose home -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("who", "sections"),
    [
        ("technician1", ["technician"]),
        ("inspector1", ["signer"]),
        ("releaser1", ["signer"]),
        ("controller1", ["controller"]),
        ("director1", ["director"]),
        ("auditor1", ["auditor"]),
    ],
)
def test_each_role_has_its_section_and_words_where_nothing_is(
    world: World, who: str, sections: list[str]
) -> None:
    response = logged_in(world, who).get("/")
    assert response.status_code == 200 and response.context["sections"] == sections
    assert sections_of(world.person(who)) == sections
    page = response.content.decode()
    words = {
        "technician": "No check is due at North Skerry within the coming weeks.",
        "signer": "Nothing awaits a second signature."
        if who == "inspector1"
        else "No open defect is on record.",
        "controller": "Nothing is due within the coming weeks.",
        "director": "No series asks for anything to be done.",
        "auditor": "Where the records are",
    }
    assert words[sections[0]] in page
    others = set(words) - set(sections)
    assert not any(f"home-{other}" in page for other in others)


def test_a_person_with_two_roles_has_both_sections(world: World) -> None:
    world.person("technician1").groups.add(Group.objects.get(name="maintenance controller"))
    response = logged_in(world, "technician1").get("/")
    assert response.context["sections"] == ["technician", "controller"]
    page = response.content.decode()
    assert "Overdue and due soon" in page and "Deferrals that end within a fortnight" in page
    assert "maintenance controller, technician" in page, "the frame names both roles"


def test_without_a_role_there_are_only_words(outsider, client_of: Callable[..., Client]) -> None:
    response = client_of(outsider).get("/")
    assert response.status_code == 200 and response.context["sections"] == []
    assert b"have no role yet" in response.content
    assert Client().get("/").url.startswith("/login/")


# --- technician -----------------------------------------------------------------------------------


def test_the_next_work_is_that_of_the_own_base_the_most_pressing_first(world: World) -> None:
    first, second = world.fleet
    done(world, first, world.today - dt.timedelta(days=170), hours=1990)
    done(world, second, world.today - dt.timedelta(days=400), hours=1990)
    refresh_due()
    told = technician(world.person("technician1"), timezone.now())
    states = [work.row.state for work in told.work]
    assert told.base.code == "north" and states == sorted(
        states, key=("overdue", "in tolerance", "due soon", "no record").index
    )
    assert told.work[0].row.registration == second.registration and states[0] == "overdue"
    assert len(told.work) <= HEAD <= told.pressing or len(told.work) == told.pressing
    assert technician(world.person("technician5"), timezone.now()).work == ()


def test_without_a_home_base_every_base_is_shown(world: World) -> None:
    refresh_due()
    person = world.person("technician5")
    person.home_base = None
    person.save()
    assert technician(person, timezone.now()).pressing > 0
    assert "No home base is on file for you" in logged_in(world, "technician5").get("/").content.decode()


def test_one_tap_starts_the_check_once(world: World) -> None:
    refresh_due()
    client = logged_in(world, "technician1")
    work = next(
        one for one in client.get("/").context["technician"].work if one.row.task == "Pressure and flow check"
    )
    posted = {
        "uuid": work.uuid,
        "aircraft": work.row.registration,
        "base": work.base_id,
        "work_date": work.work_date.isoformat(),
        "procedure": work.procedure_id,
    }
    for value in posted.values():
        assert str(value) in client.get("/").content.decode() or value == work.uuid
    for _ in range(2):
        assert client.post("/checks/new/", posted).url == f"/checks/{work.uuid}/"
    event = CheckEvent.objects.get()
    assert (str(event.aircraft), event.work_date) == (work.row.registration, world.today)


def test_drafts_with_what_is_disturbed_and_open_defects(world: World) -> None:
    draft = started(world, world.forward)
    given = typed(draft)
    half = [type(c)(c.step, acknowledged=True, restored=False) for c in given.cautions]
    save_draft(event=draft, by=world.person("technician1"), given=type(given)({}, (), (), tuple(half)))
    over = performed(world, world.underfloor, series=OVER)
    told = technician(world.person("technician1"), timezone.now())
    assert [one.event for one in told.drafts] == [draft]
    restore = set(draft.revision.steps.exclude(restore_text="").values_list("restore_text", flat=True))
    assert set(told.drafts[0].disturbed) == restore and restore
    assert [one.defect for one in told.defects] == [over.defect]
    page = logged_in(world, "technician1").get("/").content.decode()
    assert "not recorded as put back:" in page and f"/defects/{over.defect.pk}/" in page
    elsewhere = technician(world.person("technician5"), timezone.now())
    assert (elsewhere.drafts, elsewhere.defects) == ((), ())


# --- signatures -----------------------------------------------------------------------------------


def test_what_awaits_the_second_signature_but_not_of_the_own_work(world: World) -> None:
    procedure = world.revision(world.forward).procedure
    procedure.needs_inspection = True
    procedure.save()
    event = performed(world, world.forward)
    inspector, releaser = world.person("inspector1"), world.person("releaser1")
    assert signer(inspector, timezone.now()).inspections == (event,)
    assert signer(releaser, timezone.now()).releases == (), "the second signature comes first"
    sign_inspected(event=event, by=inspector, password=PASSWORD)
    assert signer(inspector, timezone.now()).inspections == ()
    assert signer(releaser, timezone.now()).releases == (event,)
    inspector.groups.add(Group.objects.get(name="technician"))
    world.master.people["inspector1"] = both = type(inspector).objects.get(pk=inspector.pk)
    own = performed(world, world.forward, by="inspector1")
    assert own.signatures.filter(person=both).exists()
    assert signer(both, timezone.now()).inspections == ()


def test_only_the_newest_attempt_of_an_occasion_awaits_release(world: World, clock) -> None:
    releaser = world.person("releaser1")
    first = performed(world, world.forward, series=OVER)
    clock.shift(60)
    purge = performed(world, world.forward, "panel-purge", follows=first)
    clock.shift(60)
    wrong = performed(world, world.forward, follows=purge)
    assert signer(releaser, timezone.now()).releases == (wrong,)
    clock.shift(60)
    draft = correct(event=wrong, by=world.person("technician1"), reason="Wrong gauge.")
    right = sign_performed(event=draft, by=world.person("technician1"), password=PASSWORD)
    told = signer(releaser, timezone.now())
    assert told.releases == (right,) and [d.defect for d in told.defects] == [first.defect]


def test_what_is_released_or_long_past_awaits_nothing(world: World) -> None:
    releaser = world.person("releaser1")
    event = performed(world, world.forward)
    assert signer(releaser, timezone.now()).releases_in_all == 1
    sign_released(event=event, by=releaser, password=PASSWORD)
    done(world, world.forward, world.today - dt.timedelta(days=61))
    done(world, world.forward, world.today, source="imported")
    told = signer(releaser, timezone.now())
    assert (told.releases, told.releases_in_all) == ((), 0)
    assert "All of it is released." in logged_in(world, "releaser1").get("/").content.decode()


def test_what_awaits_a_decision_in_writing(world: World, clock) -> None:
    releaser = world.person("releaser1")
    performed(world, world.forward, work_date=world.today - dt.timedelta(days=5))
    clock.shift(60)
    low = performed(world, world.forward, series=LOW, volume="2")
    clock.shift(60)
    assert signer(releaser, timezone.now()).decisions == (low,)
    assert "Awaiting a decision in writing" in logged_in(world, "releaser1").get("/").content.decode()
    decide_too_low(event=low, by=releaser, password=PASSWORD, accepted=True, text="Blanked off.")
    assert signer(releaser, timezone.now()).decisions == ()


# --- what it costs --------------------------------------------------------------------------------

EVERYONE = ("technician1", "inspector1", "releaser1", "controller1", "director1", "auditor1")


def costs(world: World) -> dict[str, int]:
    found = {}
    for who in EVERYONE:
        client = logged_in(world, who)
        with CaptureQueriesContext(connection) as queries:
            assert client.get("/").status_code == 200
        found[who] = len(queries)
    return found


def test_queries_do_not_grow_with_fleet_and_history(db: None, clock) -> None:
    world = build_world(aircraft=22)
    Calibration.objects.update(due_on=world.today)

    def busy(crafts: list[Aircraft]) -> None:
        by = world.person("technician1")
        for craft in crafts:
            started(world, craft)
            done(world, craft, world.today - dt.timedelta(days=1))
            done(world, craft, world.today, outcome="not valid", too_low=True, next_action="x")
            raise_defect(aircraft=craft, by=by, description="Drip.")
            defer_until(world, raise_defect(aircraft=craft, by=by, description="Drop."), "C")
            series(craft, "port", "closing", crossing_on=world.today)
            Revision.objects.create(
                procedure=world.revision(world.forward).procedure,
                number=f"for {craft}",
                source_reference="Invented",
                typed_by=by,
                effective_on=world.today,
            )
        refresh_due()

    Aircraft.objects.exclude(pk__in=[one.pk for one in world.fleet[:2]]).update(state="left")
    busy(world.fleet[:2])
    before = costs(world)
    Aircraft.objects.update(state="in_service")
    busy(world.fleet[2:])
    assert costs(world) == before
    assert max(before.values()) <= 30
