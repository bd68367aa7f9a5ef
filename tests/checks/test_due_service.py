"""Stored due points: what rolls them, which limb governs, what they cost."""

import datetime as dt
from decimal import Decimal

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from checks.models import CheckEvent, Decision, DuePoint, ImportBatch, RecurringCheck, Signature
from checks.services.chain import append
from checks.services.due import refresh_due
from fleet.models import Aircraft, UtilisationEntry
from tests.checks.due_history import done, fly, point
from tests.world import TODAY, World, build_world

pytestmark = pytest.mark.django_db
OUTCOME = CheckEvent.Outcome


@pytest.fixture
def world() -> World:
    """Two aircraft, each with one entry of utilisation: 2000 h and 1500 landings, 30 days ago."""
    return build_world()


@pytest.fixture
def every_100_days(world: World) -> RecurringCheck:
    """The pressure and flow check of the forward aircraft with one limb only."""
    return change(world, interval_days=100)


def change(world: World, **limbs: object) -> RecurringCheck:
    check = world.recurring(world.forward)
    plain = {
        "interval_days": None,
        "interval_months": None,
        "interval_hours": None,
        "interval_landings": None,
        "before_season": False,
        "tolerance_days": 0,
        "tolerance_hours": 0,
        "tolerance_landings": 0,
        "to_month_end": False,
        "counting": RecurringCheck.Counting.FROM_DONE,
    }
    for name, value in (plain | limbs).items():
        setattr(check, name, value)
    check.full_clean()
    check.save()
    return check


def days(number: int) -> dt.timedelta:
    return dt.timedelta(days=number)


def refreshed(world: World) -> DuePoint:
    refresh_due(today=TODAY)
    return point(world, world.forward)


# --- what counts as done ------------------------------------------------------------------------


def test_without_a_record_there_is_no_date(world: World, every_100_days: RecurringCheck) -> None:
    stored = refreshed(world)
    assert (stored.due_on, stored.done_on, stored.last_event, stored.governing) == (None, None, None, "")


def test_it_rolls_after_a_standing_check(world: World, every_100_days: RecurringCheck) -> None:
    done(world, world.forward, TODAY - days(120))
    assert refreshed(world).due_on == TODAY - days(20)
    last = done(world, world.forward, TODAY - days(1))
    stored = refreshed(world)
    assert (stored.due_on, stored.done_on, stored.last_event) == (TODAY + days(99), TODAY - days(1), last)


@pytest.mark.parametrize(
    ("outcome", "rolls"),
    [
        (OUTCOME.WITHIN, True),
        (OUTCOME.BORDERLINE, True),
        (OUTCOME.DONE, True),
        (OUTCOME.OVER, False),
        (OUTCOME.NOT_VALID, False),
        ("", False),
    ],
)
def test_outcomes_that_roll(world: World, every_100_days: RecurringCheck, outcome: str, rolls: bool) -> None:
    done(world, world.forward, TODAY - days(50))
    done(world, world.forward, TODAY, outcome=outcome)
    assert refreshed(world).done_on == (TODAY if rolls else TODAY - days(50))


@pytest.mark.parametrize("accepted", [True, False, None])
def test_too_low_rolls_once_accepted_in_writing(
    world: World, every_100_days: RecurringCheck, accepted: bool | None
) -> None:
    event = done(world, world.forward, TODAY, outcome=OUTCOME.NOT_VALID, too_low=True)
    if accepted is not None:
        decision(world, event, accepted)
    assert refreshed(world).done_on == (TODAY if accepted else None)


def decision(world: World, event: CheckEvent, accepted: bool) -> Decision:
    at = event.signed_at
    record = append(aircraft=event.aircraft, act="decision", payload={}, at=at)
    by = world.person("director1")
    return Decision.objects.create(
        event=event, record=record, accepted=accepted, text="Seen.", decided_by=by, decided_at=at
    )


def test_a_draft_rolls_nothing(world: World, every_100_days: RecurringCheck) -> None:
    CheckEvent.objects.create(
        aircraft=world.forward,
        revision=world.revision(world.forward),
        base=world.forward.base,
        work_date=TODAY,
        started_by=world.person("technician1"),
        outcome=OUTCOME.WITHIN,
    )
    assert refreshed(world).done_on is None


def test_second_signature_is_waited_for(world: World, every_100_days: RecurringCheck) -> None:
    procedure = every_100_days.procedure
    procedure.needs_inspection = True
    procedure.save()
    event = done(world, world.forward, TODAY)
    assert refreshed(world).done_on is None
    inspector = world.person("inspector1")
    Signature.objects.create(
        event=event,
        record=append(aircraft=event.aircraft, act="inspected", payload={}, at=event.signed_at),
        act=Signature.Act.INSPECTED,
        person=inspector,
        name=str(inspector),
        signed_at=event.signed_at,
    )
    assert refreshed(world).done_on == TODAY


def test_a_correction_takes_the_place_of_what_it_corrects(
    world: World, every_100_days: RecurringCheck
) -> None:
    wrong = done(world, world.forward, TODAY - days(10))
    done(world, world.forward, TODAY - days(30), supersedes=wrong, correction_reason="Date mistyped.")
    assert refreshed(world).done_on == TODAY - days(30)


@pytest.mark.parametrize("outcome", ["", OUTCOME.WITHIN, OUTCOME.OVER])
def test_accepted_paper_records_count(world: World, every_100_days: RecurringCheck, outcome: str) -> None:
    """Without an outcome the person who accepted the paper record stands for it; over limit stays over."""
    by = world.person("controller1")
    batch = ImportBatch.objects.create(
        kind="history", file_name="old.csv", sha256="0" * 64, rows_added=1, imported_by=by, accepted_by=by
    )
    done(
        world,
        world.forward,
        TODAY - days(9),
        outcome=outcome,
        source=CheckEvent.Source.IMPORTED,
        import_batch=batch,
    )
    assert refreshed(world).done_on == (None if outcome == OUTCOME.OVER else TODAY - days(9))


def test_another_task_rolls_nothing(world: World, every_100_days: RecurringCheck) -> None:
    done(world, world.forward, TODAY, revision=world.revision(world.forward, "wet-out"))
    assert refreshed(world).done_on is None


# --- which limb, from which totals --------------------------------------------------------------


def test_whichever_occurs_first(world: World) -> None:
    """2 h a day since 30 days: hours come before the 100 days.

    Worked by hand: done at 2000 h, so due at 2100 h; 2058 h yesterday; 42 h at 2 h a day = 21 days from
    yesterday. With the tolerance of 5 h, 47 h = 23 whole days.
    """
    aircraft = world.forward
    change(world, interval_days=100, interval_hours=100, tolerance_days=10, tolerance_hours=5)
    by = world.person("controller1")
    fly(aircraft, by, TODAY - days(29), TODAY - days(1), hours=2, landings=3, start=2002)
    done(world, aircraft, TODAY - days(30))
    stored = refreshed(world)
    assert (stored.done_hours, stored.due_hours, stored.hours_left) == (2000, 2100, 42)
    assert (stored.calendar_on, stored.due_on) == (TODAY + days(70), TODAY + days(20))
    assert (stored.latest_on, stored.governing, stored.estimated) == (TODAY + days(22), "hours", True)


def test_the_calendar_governs_where_it_comes_first(world: World) -> None:
    change(world, interval_days=40, interval_hours=500)
    fly(world.forward, world.person("controller1"), TODAY - days(29), TODAY, hours=1, landings=1, start=2001)
    done(world, world.forward, TODAY - days(30), hours=Decimal("1990.5"))
    stored = refreshed(world)
    assert (stored.due_on, stored.governing, stored.estimated) == (TODAY + days(10), "calendar", False)
    assert stored.hours_left == Decimal("1990.5") + 500 - 2030


def test_the_events_own_totals_come_before_utilisation(world: World) -> None:
    change(world, interval_landings=50)
    done(world, world.forward, TODAY - days(20), landings=1480)
    stored = refreshed(world)
    assert (stored.done_landings, stored.due_landings, stored.landings_left) == (1480, 1530, 30)
    assert stored.due_on is None  # one entry tells no rate of use


def test_hours_run_out_come_to_the_day_of_the_totals(world: World) -> None:
    change(world, interval_hours=50)
    done(world, world.forward, TODAY - days(40), hours=1900)
    stored = refreshed(world)
    assert (stored.hours_left, stored.due_on, stored.estimated) == (-50, TODAY - days(30), False)


def test_superseded_utilisation_counts_for_nothing(world: World) -> None:
    change(world, interval_hours=100)
    entry = UtilisationEntry.objects.get(aircraft=world.forward)
    by = world.person("controller1")
    UtilisationEntry.objects.create(
        aircraft=world.forward, on=entry.on, hours=1950, landings=1500, entered_by=by, supersedes=entry
    )
    done(world, world.forward, TODAY - days(60), hours=1900)
    assert refreshed(world).hours_left == 50


def test_season_date_of_the_base(world: World) -> None:
    """North Skerry 1 October, Far Cape 10 April: the same check, each by the season of its own base."""
    change(world, before_season=True, season_window_days=20)
    done(world, world.forward, TODAY - days(30))
    stored = refreshed(world)
    assert (stored.season_on, stored.due_on, stored.governing) == (dt.date(2025, 10, 1),) * 2 + ("season",)
    Aircraft.objects.filter(pk=world.forward.pk).update(base=world.master.bases["farcape"])
    assert refreshed(world).due_on == dt.date(2025, 4, 10)


def test_excess_counts_against_the_next_interval(world: World) -> None:
    """14 CFR 91.409(b) as quoted by several: due at 2800.0 h, done at 2806.0 h, next due at 2900.0 h."""
    change(world, interval_hours=100, tolerance_hours=10, counting=RecurringCheck.Counting.EXCESS_COUNTS)
    done(world, world.forward, TODAY - days(300), hours=2700)
    done(world, world.forward, TODAY - days(200), hours=2806)
    assert refreshed(world).due_hours == 2900


def test_the_grid_is_kept_inside_the_window(world: World) -> None:
    """US Army TM 1-1500-328-23 (public release): 6 months due 31 Jan 1999, window 13 Jan to 18 Feb; done
    inside, next due 31 Jul 1999. Outside, from done."""
    change(world, interval_months=6, tolerance_days=18, counting=RecurringCheck.Counting.KEEP_GRID)
    done(world, world.forward, dt.date(1998, 7, 31))
    done(world, world.forward, dt.date(1999, 2, 10))
    assert refreshed(world).due_on == dt.date(1999, 7, 31)
    done(world, world.forward, dt.date(1999, 6, 1))
    assert refreshed(world).due_on == dt.date(1999, 12, 1)


def test_a_retest_on_the_same_day_does_not_break_the_grid(world: World) -> None:
    change(world, interval_months=6, tolerance_days=18, counting=RecurringCheck.Counting.KEEP_GRID)
    done(world, world.forward, dt.date(1998, 7, 31))
    done(world, world.forward, dt.date(1999, 2, 10))
    done(world, world.forward, dt.date(1999, 2, 10))
    assert refreshed(world).due_on == dt.date(1999, 7, 31)


# --- whose points -------------------------------------------------------------------------------


def test_stored_aircraft_keep_their_calendar(world: World) -> None:
    """No rate of use is assumed of an aircraft that stands; its days run on."""
    change(world, interval_days=300, interval_hours=100)
    by = world.person("controller1")
    fly(world.forward, by, TODAY - days(29), TODAY, hours=2, landings=3, start=2002)
    done(world, world.forward, TODAY - days(30))
    assert refreshed(world).governing == "hours"
    Aircraft.objects.filter(pk=world.forward.pk).update(state=Aircraft.State.STORED)
    stored = refreshed(world)
    assert (stored.governing, stored.due_on, stored.hours_left) == ("calendar", TODAY + days(270), 40)


def test_what_is_no_longer_counted_is_removed(world: World, every_100_days: RecurringCheck) -> None:
    refresh_due(today=TODAY)
    before = DuePoint.objects.count()
    RecurringCheck.objects.filter(pk=every_100_days.pk).update(active=False)
    refresh_due(today=TODAY)
    assert DuePoint.objects.count() == before - 1
    Aircraft.objects.filter(pk=world.underfloor.pk).update(state=Aircraft.State.LEFT)
    refresh_due(today=TODAY)
    assert set(DuePoint.objects.values_list("aircraft", flat=True)) == {world.forward.pk}


def test_counting_again_changes_nothing_but_the_moment(world: World) -> None:
    done(world, world.forward, TODAY - days(50))
    refresh_due(today=TODAY)
    columns = [field.name for field in DuePoint._meta.concrete_fields if field.name != "computed_at"]
    before = list(DuePoint.objects.order_by("pk").values_list(*columns))
    assert refresh_due(today=TODAY) == len(before)
    assert list(DuePoint.objects.order_by("pk").values_list(*columns)) == before


def test_one_aircraft_leaves_the_others_alone(world: World) -> None:
    refresh_due(today=TODAY)
    moments = dict(DuePoint.objects.values_list("pk", "computed_at"))
    assert refresh_due(aircraft_ids=[world.forward.pk], today=TODAY) < len(moments)
    touched = {p.aircraft_id for p in DuePoint.objects.all() if moments[p.pk] != p.computed_at}
    assert touched == {world.forward.pk}
    assert refresh_due(aircraft_ids=[], today=TODAY) == 0
    assert DuePoint.objects.count() == len(moments)


def test_queries_do_not_grow_with_the_fleet() -> None:
    world = build_world(aircraft=22)
    for aircraft in world.fleet:
        for back in (20, 200, 400):
            done(world, aircraft, TODAY - days(back))
    counts, inserts = [], []
    for fleet in (world.fleet[:2], world.fleet):
        with CaptureQueriesContext(connection) as caught:
            refresh_due(aircraft_ids=[aircraft.pk for aircraft in fleet], today=TODAY)
        inserts.append(sum(query["sql"].startswith("INSERT") for query in caught))
        counts.append(len(caught) - inserts[-1])
    assert counts[0] == counts[1]
    # The rows go out in as few statements as the engine's number of variables allows: 220 rows in five.
    assert DuePoint.objects.count() == 220
    assert inserts == ([1, 5] if connection.vendor == "sqlite" else [1, 1])


# --- every night --------------------------------------------------------------------------------


def test_command_counts_the_fleet_or_some_of_it(world: World, capsys: pytest.CaptureFixture[str]) -> None:
    call_command("refresh_due")
    assert capsys.readouterr().out == f"{DuePoint.objects.count()} due points counted.\n"
    call_command("refresh_due", world.forward.registration)
    mine = DuePoint.objects.filter(aircraft=world.forward).count()
    assert capsys.readouterr().out == f"{mine} due points counted.\n"


def test_command_names_what_it_does_not_know(world: World) -> None:
    with pytest.raises(CommandError, match="Not in the fleet: Q-NONE"):
        call_command("refresh_due", world.forward.registration, "Q-NONE")
    assert not DuePoint.objects.exists()
