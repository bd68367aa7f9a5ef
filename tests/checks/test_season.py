"""The season plan: who is open, done and late, moves, stored aircraft, what it takes, and what it costs."""

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from checks.models import RecurringCheck
from checks.selectors.season import DONE, LATE, OPEN, Plan, season_plans
from checks.selectors.season_moves import earlier_seasons
from checks.selectors.season_report import course, fluid_words, outlook_words, season_reports
from checks.services.due import refresh_due
from checks.services.moves import end_move, plan_move
from fleet.models import Aircraft, Base, PlannedMove
from tests.checks.season_world import NOON, SEASON, TASKS, TODAY, done, season_world, takes
from tests.world import World

pytestmark = pytest.mark.django_db
D = dt.date


@pytest.fixture
def world() -> Iterator[World]:
    with time_machine.travel(NOON, tick=False):
        yield season_world()


def plan(world: World, base: str = "north", year: int | None = 2025, today: D = TODAY) -> Plan:
    return season_plans(today=today, base=world.master.bases[base], year=year)[0]


def states(found: Plan) -> dict[str, str]:
    return {line.aircraft.registration: line.state(found.today) for line in found.lines}


def test_the_tasks_are_those_of_the_programme_that_name_the_season(world: World) -> None:
    found = plan(world)
    wanted = set(RecurringCheck.objects.filter(before_season=True).values_list("title", flat=True))
    assert {task.title for line in found.lines for task in line.tasks} == wanted
    assert len(wanted) == len(TASKS)
    assert found.date == SEASON and set(states(found).values()) == {OPEN}


def test_an_aircraft_is_done_once_every_task_was_done_in_its_window(world: World) -> None:
    first, second = world.fleet
    done(world, first, D(2025, 8, 10))
    done(world, second, D(2025, 8, 11), "pressure-flow")
    found = plan(world)
    assert states(found) == {first.registration: DONE, second.registration: OPEN}
    assert (found.done, found.lines[0].complete_on) == (1, D(2025, 8, 10))
    assert [task.title for task in found.open_tasks] == ["Windshield spray"]


@pytest.mark.parametrize(("on", "counts"), [(D(2025, 7, 17), False), (D(2025, 7, 18), True)])
def test_the_first_day_that_counts_is_the_window_before_the_season_date(
    world: World, on: D, counts: bool
) -> None:
    """Window of the forward variant's check: 75 days before 1 October is 18 July (counted by hand)."""
    done(world, world.forward, on, "pressure-flow")
    (line,) = (line for line in plan(world).lines if line.aircraft == world.forward)
    task = next(task for task in line.tasks if task.title == "Pressure and flow check")
    assert task.opens == D(2025, 7, 18)
    assert (task.done_on == on) is counts


def test_an_over_limit_check_does_not_count(world: World) -> None:
    world.signed(world.forward, D(2025, 8, 20), values={"port": "310"})
    assert "Pressure and flow check" in {task.title for task in plan(world).lines[0].open_tasks}


def test_after_the_season_date_what_is_open_is_late_and_what_was_done_late_is_done(world: World) -> None:
    first, second = world.fleet
    done(world, first, D(2025, 8, 10))
    later = D(2025, 11, 5)
    with time_machine.travel(dt.datetime(2025, 11, 5, 12, tzinfo=dt.UTC), tick=False):
        world.master.today = later
        assert states(plan(world, today=later))[second.registration] == LATE
        done(world, second, D(2025, 11, 3))
        found = plan(world, today=later)
    assert states(found)[second.registration] == DONE and found.late == 0
    assert found.lines[1].complete_on == D(2025, 11, 3)


def test_without_a_year_the_running_season_stands_first_while_one_is_open(world: World) -> None:
    later = D(2025, 11, 5)
    north = world.master.bases["north"]
    assert [one.date.year for one in season_plans(today=later, base=north)] == [2025, 2026]
    for one in world.fleet:
        done(world, one, D(2025, 8, 10))
    assert [one.date.year for one in season_plans(today=later, base=north)] == [2026]
    assert [one.date.year for one in season_plans(today=TODAY, base=north)] == [2025]


def test_the_southern_season_is_in_the_southern_autumn(world: World) -> None:
    assert plan(world, "farcape", year=None).date == D(2026, 4, 10)


def test_a_stored_aircraft_is_shown_beside_and_one_that_left_not_at_all(world: World) -> None:
    first, second = world.fleet
    Aircraft.objects.filter(pk=first.pk).update(state=Aircraft.State.STORED)
    Aircraft.objects.filter(pk=second.pk).update(state=Aircraft.State.LEFT)
    found = plan(world)
    assert not found.lines
    assert [line.aircraft for line in found.stored] == [first]
    assert outlook_words(found) == "No aircraft in service counts at this base."


def test_hours_and_litres_are_those_of_the_open_tasks(world: World) -> None:
    """2.5 h and 0.25 h of the forward variant's tasks, 4 h and 0.25 h of the other: as the fixture says."""
    takes("pressure-flow", "6")
    takes("windshield", "0.5")
    found = plan(world)
    assert (found.hours, found.litres, found.unstated) == (Decimal("7"), Decimal("13"), 0)
    done(world, world.forward, D(2025, 8, 10), "pressure-flow")
    assert (plan(world).hours, plan(world).litres) == (Decimal("4.5"), Decimal("7"))


def test_what_is_not_stated_is_left_out_and_said(world: World) -> None:
    world.master.procedures["forward", "windshield"].__class__.objects.update(fluid_litres=None)
    found = plan(world)
    assert found.litres == 0 and found.unstated == len(found.open_tasks) == 4


def moved(world: World, aircraft: Aircraft, base: str, on: D) -> PlannedMove:
    return plan_move(aircraft=aircraft, base=world.master.bases[base], on=on, by=world.person("controller1"))


def test_who_leaves_before_the_season_date_counts_where_it_goes(world: World) -> None:
    move = moved(world, world.forward, "middle", D(2025, 9, 15))
    north, middle = plan(world), plan(world, "middle")
    assert [line.aircraft for line in north.lines] == [world.underfloor] and north.leaving == (move,)
    assert [(line.aircraft, line.comes, line.by) for line in middle.lines] == [
        (world.forward, move, D(2025, 10, 15))
    ]


def test_who_comes_while_the_season_runs_is_wanted_by_the_day_of_the_move(world: World) -> None:
    move = moved(world, world.forward, "outer", D(2025, 12, 1))
    assert [line.aircraft for line in plan(world).lines] == world.fleet, "at home on its season date"
    assert [(line.by, line.comes) for line in plan(world, "outer").lines] == [(D(2025, 12, 1), move)]


def warned(today: D = TODAY) -> list[tuple[str, D, D]]:
    from checks.selectors.season import Facts

    return [(one.aircraft.registration, one.by, one.home) for one in earlier_seasons(Facts.read(today))]


def test_a_move_that_meets_its_season_earlier_is_warned_of_until_all_is_done(world: World) -> None:
    Base.objects.filter(code="outer").update(season_month=9, season_day=20)
    moved(world, world.forward, "outer", D(2025, 9, 10))
    assert warned() == [(world.forward.registration, D(2025, 9, 20), SEASON)]
    done(world, world.forward, D(2025, 8, 30))
    assert warned() == []


def test_a_move_to_a_later_season_is_no_warning(world: World) -> None:
    moved(world, world.forward, "middle", D(2025, 9, 10))
    assert warned() == []


def test_a_move_into_the_other_hemisphere_is_warned_of(world: World) -> None:
    """From the north, whose season has begun and is done, to the south in January."""
    done(world, world.forward, D(2025, 8, 30))
    moved(world, world.forward, "farcape", D(2026, 1, 9))
    today = D(2025, 11, 25)
    assert warned(today) == [(world.forward.registration, D(2026, 4, 10), D(2026, 10, 1))]


def test_carried_out_the_move_changes_base_and_due_points(world: World) -> None:
    move = moved(world, world.forward, "outer", TODAY)
    end_move(move=move, end="carried out", by=world.person("controller1"))
    world.forward.refresh_from_db()
    assert world.forward.base.code == "outer"
    done(world, world.forward, D(2024, 1, 1))
    assert world.forward.due_points.filter(season_on__month=9, season_on__day=20).exists()


def test_the_pace_is_told_in_words_or_not_at_all(world: World) -> None:
    assert outlook_words(plan(world)).startswith("Too few to tell a pace: 0 done in 56 days")
    assert outlook_words(plan(world, year=2026)).startswith("The first day that counts is 3 Jul 2026")
    for one in world.fleet:
        done(world, one, D(2025, 8, 10))
    assert outlook_words(plan(world)) == "Every aircraft is complete."


def test_a_pace_gives_a_date_with_its_range_and_a_band_in_the_chart() -> None:
    with time_machine.travel(NOON, tick=False):
        world = season_world(aircraft=8)
        for n, one in enumerate(world.fleet[:4]):
            done(world, one, D(2025, 8, 5) + dt.timedelta(days=7 * n))
        found = plan(world)
    words = outlook_words(found)
    assert words.startswith("4 complete in 56 days, 0.5 a week. Needed: 0.9 a week.")
    assert "At that pace all by about 27 Oct 2025" in words and "8 of 10 cases" in words
    scene = course(found)
    labels = [getattr(item, "label", "") for item in scene.items]
    assert {"8 of 10 at the present pace", "present pace", "needed", "done", "all 8"} <= set(labels)
    assert [row[1] for row in scene.rows] == [one.registration for one in world.fleet[:4]]
    assert "4 of 8 complete" in scene.description


def test_fluid_is_short_by_so_many_litres_from_a_day(world: World) -> None:
    """460 L in date at North Skerry: 400 of fb-101 and the 60 of fb-090, which end 40 days before loading."""
    takes("pressure-flow", "300")
    takes("windshield", "0")
    (report,) = season_reports(today=TODAY, base=world.master.bases["north"], year=2025)
    assert report.fluid.in_date == Decimal(400), "the expired batch serves nothing"
    assert (report.fluid.cover.short, report.fluid.for_season) == (Decimal(200), Decimal(600))
    assert fluid_words(report) == "by 200.0 L from 1 Oct 2025: 600.0 L needed, 400.0 L in date on hand."


def test_other_checks_that_fall_due_until_then_take_fluid_too(world: World) -> None:
    takes("pressure-flow", "0")
    takes("windshield", "0")
    takes("wet-out", "4")
    world.signed(world.forward, D(2024, 9, 20), code="wet-out")
    refresh_due(today=TODAY)
    (report,) = season_reports(today=TODAY, base=world.master.bases["north"], year=2025)
    assert (report.fluid.for_season, report.fluid.for_others) == (0, Decimal(4))


def test_a_check_due_before_its_window_takes_fluid_then_and_for_the_season(world: World) -> None:
    """Done on 1 August for 2025, five months later due on 1 January; its window for 2026 opens in July."""
    takes("pressure-flow", "6")
    takes("windshield", "0")
    takes("wet-out", "0")
    Aircraft.objects.filter(pk=world.underfloor.pk).update(state=Aircraft.State.LEFT)
    done(world, world.forward, D(2025, 8, 1))
    (report,) = season_reports(today=TODAY, base=world.master.bases["north"], year=2026)
    assert world.forward.due_points.get(check_due=world.recurring(world.forward)).due_on == D(2026, 1, 1)
    assert (report.fluid.for_season, report.fluid.for_others) == (Decimal(6), Decimal(6))


def test_queries_do_not_grow_with_the_fleet() -> None:
    costs = []
    with time_machine.travel(NOON, tick=False):
        world = season_world(aircraft=22)
        done(world, world.forward, D(2025, 8, 10))
        moved(world, world.underfloor, "outer", D(2025, 9, 10))
        for number in (2, 22):
            wanted = [one.pk for one in world.fleet[:number]]
            Aircraft.objects.update(state=Aircraft.State.LEFT)
            Aircraft.objects.filter(pk__in=wanted).update(state=Aircraft.State.IN_SERVICE)
            refresh_due(today=TODAY)
            with CaptureQueriesContext(connection) as queries:
                reports = season_reports(today=TODAY)
            costs.append(len(queries))
            assert sum(len(report.plan.lines) for report in reports) == number
    assert costs[0] == costs[1], costs
