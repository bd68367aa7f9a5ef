"""The plan of work packages: what is given to the planner, the run beside the request, what stays put."""

import datetime as dt
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from checks.engine.packages import solve
from checks.models import DuePoint, PlanRun, WorkDay, WorkPackage
from checks.selectors.package_plan import to_plan
from checks.services import plan_runs
from checks.services.due import refresh_due
from checks.services.errors import RecordError
from checks.services.packages import accept_package, lock_package, pin_package, set_work_day
from fleet.models import Aircraft
from tests.checks.packaging import CONCENTRATION, SKIN, codes, due_in, only, planned, shared
from tests.snapshot import once
from tests.world import TODAY, World, build_world

pytestmark = pytest.mark.django_db
# TODAY is a Wednesday; the bases work Monday to Friday, 8 hours.


@pytest.fixture(autouse=True)
def clock() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(dt.datetime.combine(TODAY, dt.time(12), dt.UTC), tick=False) as traveller:
        yield traveller


@pytest.fixture
def world() -> World:
    """The first aircraft has two tasks due in 14 and 16 days, the second none with a date."""
    return once(("packages to plan",), _world)


def _world() -> World:
    world = build_world()
    shared()
    due_in(world, world.forward, CONCENTRATION, 14)
    due_in(world, world.forward, SKIN, 16)
    return world


def day(days: int) -> dt.date:
    return TODAY + dt.timedelta(days=days)


def test_checks_that_share_are_put_together_on_the_earlier_due_day(world: World) -> None:
    run = planned(world)
    package = only(world.forward)
    assert package.on == day(14) and codes(package) == [CONCENTRATION, SKIN]
    assert package.state == WorkPackage.State.PROPOSED and package.run == run
    (line,) = run.result
    assert (line["checks"], line["packages"], line["state"]) == (2, 1, "optimal")
    # 1.5 h of skin care, 2 days of 120 given away; coming in once, the stand and the gauge once.
    assert line["cost"]["given_away"] == pytest.approx(90 * 2 / 120, abs=0.05)
    assert line["cost"]["preparations"] == 35 and line["cost"]["stays"] == 30
    assert line["alone"] - line["total"] == pytest.approx(30 + 25 - 1.5, abs=0.2)


def test_the_plan_keeps_to_the_due_day_although_tolerance_is_left(world: World) -> None:
    """Fluid concentration has ten days of tolerance; its due day is a Saturday, so it is the Friday."""
    due_in(world, world.underfloor, CONCENTRATION, 10)
    planned(world)
    point = DuePoint.objects.get(aircraft=world.underfloor, check_due__procedure__code=CONCENTRATION)
    assert point.due_on == day(10) and point.latest_on > day(10) and day(10).isoweekday() == 6
    assert only(world.underfloor).on == day(9)


def test_a_check_is_brought_forward_no_further_than_asked(world: World) -> None:
    due_in(world, world.underfloor, CONCENTRATION, 2)
    due_in(world, world.underfloor, SKIN, 12)
    planned(world, forward_days=9)
    assert WorkPackage.objects.filter(aircraft=world.underfloor).count() == 2
    planned(world, forward_days=10)
    assert only(world.underfloor).on == day(2)


def test_late_checks_go_first_and_are_counted(world: World) -> None:
    due_in(world, world.underfloor, SKIN, -30)
    run = planned(world)
    assert only(world.underfloor).on == TODAY and run.result[0]["late"] == 1


def test_a_closed_day_is_not_planned_on(world: World) -> None:
    set_work_day(base=world.forward.base, on=day(14), hours=0, by=world.person("controller1"))
    planned(world)
    assert only(world.forward).on == day(13)
    assert WorkDay.objects.get().hours == 0


def test_over_the_hours_is_shown(world: World) -> None:
    for ahead in range(15):
        set_work_day(base=world.forward.base, on=day(ahead), hours="0.5", by=world.person("controller1"))
    (line,) = planned(world).result
    assert line["over"] > 0 and line["days_over"] >= 1


def test_what_was_accepted_stays_put_when_it_is_planned_again(world: World) -> None:
    planned(world)
    accepted = accept_package(package=only(world.forward), by=world.person("controller1"))
    set_work_day(base=world.forward.base, on=day(14), hours=0, by=world.person("controller1"))
    run = planned(world)
    stays = only(world.forward)
    assert stays == accepted and stays.on == day(14) and codes(stays) == [CONCENTRATION, SKIN]
    assert [line["checks"] for line in run.result] == [0]


def test_a_further_check_joins_an_accepted_package_unless_it_is_locked(world: World) -> None:
    by = world.person("controller1")
    planned(world)
    accepted = accept_package(package=only(world.forward), by=by)
    DuePoint.objects.filter(aircraft=world.forward, check_due__procedure__code="wet-out").update(
        due_on=day(17), done_on=day(-300), calendar_on=day(17), latest_on=day(20), landings_left=50
    )
    run = plan_runs.claim(plan_runs.ask_plan(by=by, days=60).pk)
    carried(run)
    joining = WorkPackage.objects.proposed().get(checks__check_due__procedure__code="wet-out")
    assert (joining.joins, joining.on) == (accepted, accepted.on)
    lock_package(package=accepted, by=by, locked=True)
    carried(plan_runs.claim(plan_runs.ask_plan(by=by, days=60).pk))
    apart = WorkPackage.objects.proposed().get(checks__check_due__procedure__code="wet-out")
    assert apart.joins is None and apart.on == day(16)


def carried(run: PlanRun) -> PlanRun:
    with ThreadPoolExecutor(1) as pool:
        return plan_runs.carry_out(run, pool, solve=solve, today=TODAY, seconds=20)


def test_a_pinned_proposal_keeps_its_day(world: World) -> None:
    planned(world)
    package = only(world.forward)
    WorkPackage.objects.filter(pk=package.pk).update(on=day(8))
    pin_package(package=package, by=world.person("controller1"), pinned=True)
    planned(world)
    again = only(world.forward)
    assert again.pk != package.pk and again.on == day(8) and again.pinned
    assert codes(again) == [CONCENTRATION, SKIN]


def test_a_pin_past_the_due_day_does_not_hold(world: World) -> None:
    planned(world)
    package = only(world.forward)
    WorkPackage.objects.filter(pk=package.pk).update(on=day(20), pinned=True)
    planned(world)
    assert only(world.forward).on == day(14) and not only(world.forward).pinned


def test_what_was_done_meanwhile_frees_its_hours_and_its_next_due_is_planned(world: World) -> None:
    planned(world)
    accepted = accept_package(package=only(world.forward), by=world.person("controller1"))
    due_in(world, world.forward, SKIN, 120)
    refresh_due(today=TODAY)
    given = {one.base.code: one for one in to_plan(today=TODAY, days=150, forward_days=28)}
    problem = given["north"].problem
    # What is left of the package: 30 minutes of concentration, less than its stand and gauge take.
    assert problem.taken[14] == 35
    assert (world.forward.pk, world.recurring(world.forward, SKIN).pk) in given["north"].due
    assert (accepted.aircraft_id, world.recurring(world.forward, CONCENTRATION).pk) not in given["north"].due


def test_stored_aircraft_are_not_planned(world: World) -> None:
    Aircraft.objects.filter(pk=world.forward.pk).update(state=Aircraft.State.STORED)
    run = planned(world)
    assert not WorkPackage.objects.filter(aircraft=world.forward).exists() and run.state == PlanRun.State.DONE


def test_a_season_check_waits_for_its_window(world: World) -> None:
    """Done before the window it would not serve the season: the earliest day is so many days before."""
    point = DuePoint.objects.filter(aircraft=world.forward, check_due__procedure__code="windshield")
    refresh_due(today=TODAY)
    task = point.get().check_due
    task.season_window_days = 5
    task.save()
    point.update(due_on=day(30), season_on=day(30), done_on=day(-330), governing="season", untold=False)
    (given,) = [one for one in to_plan(today=TODAY, days=60, forward_days=28) if one.base.code == "north"]
    check = next(c for c in given.problem.checks if c.key == (world.forward.pk, task.pk))
    assert (check.earliest, check.interval) == (25, None)


def test_questions_asked_do_not_grow_with_the_fleet(world: World) -> None:
    def asked() -> int:
        with CaptureQueriesContext(
            connection,
        ) as found:
            to_plan(today=TODAY, days=60, forward_days=28)
        return len(found)

    planned(world)
    accept_package(package=only(world.forward), by=world.person("controller1"))
    few = asked()
    wide = build_more(world, 20)
    assert len(wide) == 20 and asked() == few


def build_more(world: World, number: int) -> list[Aircraft]:
    made = []
    for n in range(number):
        one = Aircraft.objects.create(
            registration=f"Q-M{n:03}",
            serial_number=f"M{n}",
            type_name="Demo Single",
            variant=world.forward.variant,
            base=world.forward.base,
            entered_service_on=TODAY,
        )
        due_in(world, one, SKIN, 10 + n)
        made.append(one)
    planned(world)
    for one in made[:5]:
        accept_package(package=only(one), by=world.person("controller1"))
    return made


# --- the run beside the request -------------------------------------------------------------------


def test_only_one_plan_is_reckoned_at_a_time(world: World) -> None:
    by = world.person("controller1")
    run = plan_runs.ask_plan(by=by)
    with pytest.raises(RecordError, match="already"):
        plan_runs.ask_plan(by=by)
    assert plan_runs.claim(run.pk).state == PlanRun.State.RUNNING
    assert plan_runs.claim(run.pk) is None and plan_runs.claim() is None
    with pytest.raises(RecordError, match="already"):
        plan_runs.ask_plan(by=by)


def test_a_run_whose_worker_fell_silent_gives_way(world: World, clock) -> None:
    by = world.person("controller1")
    dead = plan_runs.claim(plan_runs.ask_plan(by=by).pk)
    clock.shift(plan_runs.SILENT + dt.timedelta(seconds=1))
    assert plan_runs.seems_silent(dead, dt.datetime.now(dt.UTC))
    fresh = plan_runs.ask_plan(by=by)
    dead.refresh_from_db()
    assert dead.state == PlanRun.State.FAILED and fresh.state == PlanRun.State.WAITING
    with pytest.raises(PlanRun.DoesNotExist):  # the dead one comes back to life and finds its place taken
        plan_runs.store(dead, [], TODAY)


def test_a_failure_is_kept_in_words_and_changes_nothing(world: World) -> None:
    planned(world)
    before = set(WorkPackage.objects.values_list("pk", "on"))
    refresh_due(today=TODAY)
    run = plan_runs.claim(plan_runs.ask_plan(by=world.person("controller1")).pk)

    def broken(*_: object) -> None:
        raise MemoryError

    with ThreadPoolExecutor(1) as pool, pytest.raises(MemoryError):
        plan_runs.carry_out(run, pool, solve=broken, today=TODAY)
    run.refresh_from_db()
    assert run.state == PlanRun.State.FAILED and "MemoryError" in run.words and run.active is None
    assert set(WorkPackage.objects.values_list("pk", "on")) == before


def test_the_time_is_shared_by_the_size_of_the_bases(world: World) -> None:
    planned(world)
    given = to_plan(today=TODAY, days=60, forward_days=28)
    assert plan_runs.shares(given, 50) == {given[0].base.pk: 50}
    bases = list(world.master.bases.values())
    many = [type(given[0])(base, given[0].problem, {}, {}, frozenset(), 0) for base in bases]
    assert set(plan_runs.shares(many, 40).values()) == {20}


def test_who_may_not_plan_is_refused(world: World) -> None:
    with pytest.raises(RecordError, match="role"):
        plan_runs.ask_plan(by=world.person("technician1"))
