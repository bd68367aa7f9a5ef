"""What a controller does with packages, and what the pages show of them against the due list."""

import datetime as dt
import re
from collections.abc import Callable, Iterator

import pytest
import time_machine
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext

from checks.models import DuePoint, PackageChange, PlanRun, WorkDay, WorkPackage
from checks.selectors.packages import packages, shown
from checks.services import packages as service
from checks.services.due import refresh_due
from checks.services.errors import RecordError
from fleet.models import Aircraft, Base, User
from tests.checks.packaging import CONCENTRATION, SKIN, codes, due_in, only, planned, shared
from tests.snapshot import once
from tests.world import TODAY, World, build_world

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _noon() -> Iterator[None]:
    with time_machine.travel(dt.datetime.combine(TODAY, dt.time(12), dt.UTC), tick=False):
        yield


@pytest.fixture
def world() -> World:
    """A proposal for the first aircraft in 14 days, with two tasks due in 14 and 16."""
    return once(("a proposal",), _world)


def _world() -> World:
    world = build_world()
    shared()
    due_in(world, world.forward, CONCENTRATION, 14)
    due_in(world, world.forward, SKIN, 16)
    planned(world)
    return world


@pytest.fixture
def by(world: World) -> User:
    return world.person("controller1")


@pytest.fixture
def proposal(world: World) -> WorkPackage:
    return only(world.forward)


@pytest.fixture
def accepted(proposal: WorkPackage, by: User) -> WorkPackage:
    return service.accept_package(package=proposal, by=by)


@pytest.fixture
def desk(by: User, client_of: Callable[[User], Client]) -> Client:
    return client_of(by)


def day(days: int) -> dt.date:
    return TODAY + dt.timedelta(days=days)


def north(world: World) -> Base:
    return world.forward.base


def whats(package: WorkPackage) -> list[str]:
    return list(package.changes.values_list("what", flat=True))


# --- what is done with a package --------------------------------------------------------------------


def test_acceptance_is_kept_with_its_person(accepted: WorkPackage, by: User) -> None:
    assert (accepted.state, accepted.accepted_by) == (WorkPackage.State.ACCEPTED, by)
    assert whats(accepted) == ["accepted"] and "Panel skin care" in accepted.changes.get().words
    with pytest.raises(RecordError, match="not a proposal"):
        service.accept_package(package=accepted, by=by)


def test_a_proposal_that_a_newer_plan_replaced_is_refused(world: World, proposal, by: User) -> None:
    planned(world)
    with pytest.raises(RecordError, match="newer plan"):
        service.accept_package(package=proposal, by=by)


def test_what_was_done_meanwhile_bars_acceptance(world: World, proposal, by: User) -> None:
    due_in(world, world.forward, SKIN, 119)
    refresh_due()
    with pytest.raises(RecordError, match="Panel skin care was done on 11 Mar 2025"):
        service.accept_package(package=proposal, by=by)


def test_a_due_date_that_came_nearer_bars_acceptance(world: World, proposal, by: User) -> None:
    DuePoint.objects.filter(check_due=world.recurring(world.forward, SKIN)).update(due_on=day(10))
    with pytest.raises(RecordError, match="never into tolerance"):
        service.accept_package(package=proposal, by=by)


def test_a_move_goes_no_further_than_the_first_due_day(accepted, by: User, world: World) -> None:
    with pytest.raises(RecordError, match="Fluid concentration is due on 26 Mar 2025"):
        service.move_package(package=accepted, by=by, on=day(15), base=north(world))
    with pytest.raises(RecordError, match="past"):
        service.move_package(package=accepted, by=by, on=day(-1), base=north(world))
    moved = service.move_package(package=accepted, by=by, on=day(9), base=world.master.bases["outer"])
    assert (moved.on, moved.base.code) == (day(9), "outer") and whats(moved) == ["accepted", "moved"]
    assert "from 26 Mar 2025, North Skerry, to 21 Mar 2025, Outer Skerry" in moved.changes.last().words


def test_a_late_check_may_move_on(world: World, by: User) -> None:
    due_in(world, world.underfloor, SKIN, -30)
    planned(world)
    late = service.move_package(package=only(world.underfloor), by=by, on=day(1), base=north(world))
    assert late.on == day(1) and late.pinned


def test_a_moved_proposal_is_pinned_and_stays_at_home(proposal, by: User, world: World) -> None:
    with pytest.raises(RecordError, match="own base"):
        service.move_package(package=proposal, by=by, on=day(9), base=world.master.bases["outer"])
    assert service.move_package(package=proposal, by=by, on=day(9), base=north(world)).pinned


def test_a_locked_package_takes_nothing(accepted, by: User, world: World) -> None:
    locked = service.lock_package(package=accepted, by=by, locked=True)
    for act in (
        lambda: service.move_package(package=locked, by=by, on=day(9), base=north(world)),
        lambda: service.withdraw_package(package=locked, by=by),
        lambda: service.take_out(package=locked, check=locked.checks.first(), by=by),
    ):
        with pytest.raises(RecordError, match="Unlock"):
            act()
    service.lock_package(package=locked, by=by, locked=False)
    assert whats(locked) == ["accepted", "locked", "unlocked"]


def test_one_check_is_taken_out_but_not_the_last(accepted, by: User) -> None:
    first, last = accepted.checks.all()
    service.take_out(package=accepted, check=first, by=by)
    assert whats(accepted) == ["accepted", "check taken out"]
    with pytest.raises(RecordError, match="Withdraw"):
        service.take_out(package=accepted, check=last, by=by)
    with pytest.raises(RecordError, match="not in the package"):
        service.take_out(package=accepted, check=first, by=by)


def test_withdrawn_stays_on_record_and_its_checks_are_planned_again(accepted, by: User, world) -> None:
    service.withdraw_package(package=accepted, by=by)
    planned(world)
    accepted.refresh_from_db()
    assert accepted.state == WorkPackage.State.WITHDRAWN and codes(only(world.forward)) == [
        CONCENTRATION,
        SKIN,
    ]
    assert service.withdraw_package(package=only(world.forward), by=by) is None
    assert WorkPackage.objects.count() == 1


def test_a_second_package_of_a_day_joins_the_first(accepted, by: User, world: World) -> None:
    further = WorkPackage.objects.create(
        aircraft=world.forward, base=north(world), on=accepted.on, made_at=accepted.made_at
    )
    refresh_due()
    further.checks.create(check_due=world.recurring(world.forward, "wet-out"))
    joined = service.accept_package(package=further, by=by)
    assert joined == accepted and joined.checks.count() == 3
    assert whats(accepted) == ["accepted", "checks added"]
    service.lock_package(package=accepted, by=by, locked=True)
    again = WorkPackage.objects.create(
        aircraft=world.forward, base=north(world), on=accepted.on, made_at=accepted.made_at
    )
    again.checks.create(check_due=world.recurring(world.forward, "slinger"))
    with pytest.raises(RecordError, match="locked"):
        service.accept_package(package=again, by=by)


def test_a_check_stands_in_one_accepted_package_only(accepted, by: User, world: World) -> None:
    twice = WorkPackage.objects.create(
        aircraft=world.forward, base=north(world), on=day(3), made_at=accepted.made_at
    )
    check = accepted.checks.first()
    twice.checks.create(check_due=check.check_due, due_on=check.due_on, done_on=check.done_on)
    with pytest.raises(RecordError, match=f"stands in package {accepted.pk} already"):
        service.accept_package(package=twice, by=by)


@pytest.mark.parametrize("statement", ["UPDATE {} SET words = 'x'", "DELETE FROM {}"])
def test_the_database_keeps_what_was_done(accepted, statement: str) -> None:
    table = PackageChange._meta.db_table
    with (
        pytest.raises(DatabaseError, match="never changed"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement.format(table))


def test_the_database_deletes_no_package_that_was_accepted(accepted, proposal) -> None:
    table = WorkPackage._meta.db_table
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"DELETE FROM {table} WHERE id = %s", [accepted.pk])


def test_nobody_else_changes_a_package(world: World, proposal) -> None:
    with pytest.raises(RecordError, match="role"):
        service.accept_package(package=proposal, by=world.person("technician1"))


# --- against the due list ---------------------------------------------------------------------------


def look(package: WorkPackage) -> object:
    (one,) = shown(packages().filter(pk=package.pk), TODAY)
    return one


def test_sharing_and_interval_given_away_are_counted(proposal) -> None:
    one = look(proposal)
    assert [(line.given_days, round(line.share, 4)) for line in one.lines] == [(0, 0), (2, round(2 / 120, 4))]
    assert (one.saved, one.minutes, one.state) == (25, 30 + 90 - 25 + 5, "proposed")
    # Concentration takes half an hour in the programme, its stand and gauge 35 minutes: they rule.
    assert not one.differs


def test_done_meanwhile_and_moved_dates_say_so(world: World, accepted) -> None:
    due_in(world, world.forward, SKIN, 120)
    refresh_due()
    one = look(accepted)
    assert one.lines[1].done and one.lines[1].says == "Done meanwhile, on 12 Mar 2025."
    assert not one.differs and one.state == "accepted"
    DuePoint.objects.filter(check_due=world.recurring(world.forward, CONCENTRATION)).update(due_on=day(10))
    says = look(accepted).lines[0].says
    assert says == "The due list says 22 Mar 2025, before the day of the package. Move it."
    DuePoint.objects.filter(check_due=world.recurring(world.forward, CONCENTRATION)).update(due_on=day(20))
    assert look(accepted).lines[0].says == "The due date moved from 26 Mar 2025 to 01 Apr 2025."
    due_in(world, world.forward, CONCENTRATION, 180)
    refresh_due()
    assert look(accepted).state == "package done"


def test_aircraft_elsewhere_out_of_service_or_day_past_is_said(world: World, accepted) -> None:
    Aircraft.objects.filter(pk=world.forward.pk).update(
        base=world.master.bases["outer"], state=Aircraft.State.STORED
    )
    WorkPackage.objects.filter(pk=accepted.pk).update(on=day(-1))
    says = " ".join(look(accepted).says)
    assert "past" in says and "stored" in says and "based at Outer Skerry" in says


# --- pages ------------------------------------------------------------------------------------------


def test_the_calendar_shows_day_hours_and_state(world: World, proposal, desk: Client) -> None:
    page = desk.get("/packages/bases/north/", {"from": "2025-03-24"}).content.decode()
    cell = page[page.index("26 Mar 2025") :].split("</td>")[0]
    assert "1.7 of 8 h" in cell and "Q-0000" in cell and "<svg" in cell and "proposed" in cell
    assert page.count("closed") >= 10  # Saturdays and Sundays of five weeks


def test_nonsense_for_a_week_shows_this_one(world: World, desk: Client) -> None:
    for text in ("soon", "9999-12-31", "2025-13-40", ""):
        page = desk.get("/packages/bases/north/", {"from": text})
        assert page.status_code == 200 and page.context["first"] == dt.date(2025, 3, 10)


def test_marked_proposals_are_accepted_without_scripts(world: World, proposal, desk: Client) -> None:
    answer = desk.post(
        "/packages/bases/north/", {"do": "accept", "package": [proposal.pk, "7x"]}, follow=True
    )
    assert b"1 accepted" in answer.content
    proposal.refresh_from_db()
    assert proposal.state == WorkPackage.State.ACCEPTED
    assert b"Nothing was marked" in desk.post("/packages/bases/north/", {"do": "accept"}, follow=True).content


def test_hours_of_a_day_are_set_and_taken_back(world: World, desk: Client) -> None:
    sent = {"do": "hours", "on": "2025-03-26", "hours": "0", "reason": "floor"}
    assert desk.post("/packages/bases/north/", sent).status_code == 302
    page = desk.get("/packages/bases/north/", {"from": "2025-03-24"}).content.decode()
    calendar = page[page.index("<table") :]
    cell = calendar[calendar.index("26 Mar 2025") :].split("</td>")[0]
    assert "over the hours" in cell and "floor" in cell
    desk.post("/packages/bases/north/", {**sent, "hours": ""})
    assert not WorkDay.objects.exists()
    wrong = desk.post("/packages/bases/north/", {**sent, "hours": "-1"})
    assert wrong.status_code == 422 and b"What you typed is still here" in wrong.content


def test_every_button_of_a_package_works_by_a_plain_post(world: World, proposal, desk: Client) -> None:
    address = f"/packages/{proposal.pk}/change/"
    for do, word in (("pin", "Pinned"), ("unpin", "Let go"), ("accept", "Accepted"), ("lock", "Locked")):
        assert word.encode() in desk.post(address, {"do": do}, follow=True).content
    refused = desk.post(address, {"do": "move", "on": "2025-03-20", "base": north(world).pk})
    assert refused.status_code == 422 and b"Unlock it first" in refused.content
    desk.post(address, {"do": "unlock"})
    late = desk.post(address, {"do": "move", "on": "2025-03-31", "base": north(world).pk})
    assert late.status_code == 422 and b"never into tolerance" in late.content
    assert b"2025-03-31" in late.content  # what was typed is still there
    moved = desk.post(address, {"do": "move", "on": "2025-03-20", "base": north(world).pk}, follow=True)
    assert b"Moved to 20 Mar 2025" in moved.content
    check = proposal.checks.first()
    assert b"Taken out" in desk.post(address, {"do": "out", "check": check.pk}, follow=True).content
    assert b"Withdrawn" in desk.post(address, {"do": "withdraw"}, follow=True).content
    assert b"Nothing was asked" in desk.post(address, {"do": "fly"}, follow=True).content


def test_a_package_that_is_gone_says_where_to_go(world: World, desk: Client) -> None:
    answer = desk.get("/packages/987654/")
    assert answer.status_code == 404 and b"newer plan" in answer.content
    assert b"newer plan" in desk.post("/packages/987654/change/", {"do": "pin"}, follow=True).content


def test_asking_for_a_plan_starts_one_process_and_shows_its_way(world, desk, monkeypatch) -> None:
    started = []
    monkeypatch.setattr("checks.views.packages.launch", lambda run: started.append(run.pk) or True)
    page = desk.post("/packages/", {"days": 60, "forward_days": 20}, follow=True).content.decode()
    run = PlanRun.objects.first()
    assert started == [run.pk] and (run.days, run.forward_days) == (60, 20)
    assert 'hx-get="/packages/progress/"' in page and "<progress" in page
    twice = desk.post("/packages/", {"days": 60, "forward_days": 20})
    assert twice.status_code == 422 and b"reckoned already" in twice.content and started == [run.pk]
    part = desk.get("/packages/progress/", headers={"HX-Request": "true"}).content.decode()
    assert part.startswith('<div id="run"') or part.lstrip().startswith('<div id="run"')
    assert desk.get("/packages/progress/").status_code == 302


def test_a_server_without_processes_says_so(world, desk, monkeypatch) -> None:
    def none(*_: object, **__: object) -> None:
        raise OSError

    monkeypatch.setattr("checks.services.plan_runs.subprocess.Popen", none)
    page = desk.post("/packages/", {"days": 60, "forward_days": 20}, follow=True)
    assert b"plan_packages" in page.content


def test_days_out_of_range_are_refused_in_words(world, desk) -> None:
    page = desk.post("/packages/", {"days": 5000, "forward_days": ""})
    assert page.status_code == 422 and b"180" in page.content and not PlanRun.objects.filter(active=True)


def test_the_plan_says_how_good_it_is_and_what_it_weighs(world, desk) -> None:
    text = re.sub(r"\s+", " ", desk.get("/packages/").content.decode())
    assert "no plan is better" in text and "Weights of ours, no standard" in text
    run = PlanRun.objects.first()
    run.result[0] |= {"state": "time limit", "percent": 3.1}
    run.save()
    assert b"best in the time; at most 3.1 % to be saved" in desk.get("/packages/").content


def test_readers_see_no_buttons(world, proposal, auditor, client_of) -> None:
    browse = client_of(auditor)
    for path in ("/packages/", "/packages/bases/north/", f"/packages/{proposal.pk}/"):
        page = browse.get(path).content.decode().split("<main", 1)[1]
        assert "<button" not in page and "<form" not in page, path
    assert browse.post("/packages/").status_code == 403


def test_pages_ask_no_more_for_more_packages(world: World, proposal, desk: Client) -> None:
    def asked(path: str) -> int:
        with CaptureQueriesContext(connection) as found:
            assert desk.get(path, {"from": "2025-03-24"}).status_code == 200
        return len(found)

    paths = ("/packages/", "/packages/bases/north/")
    for path in paths:
        desk.get(path)
    few = [asked(path) for path in paths]
    for n in range(20):
        one = Aircraft.objects.create(
            registration=f"Q-M{n:03}",
            serial_number=f"M{n}",
            type_name="Demo Single",
            variant=world.forward.variant,
            base=north(world),
            entered_service_on=TODAY,
        )
        more = WorkPackage.objects.create(
            aircraft=one, base=north(world), on=day(14), made_at=proposal.made_at
        )
        more.checks.create(check_due=world.recurring(world.forward, SKIN), due_on=day(15))
    refresh_due()  # so that each has a due point to be held against
    assert [asked(path) for path in paths] == few
