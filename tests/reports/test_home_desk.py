"""The homes of those at a desk: controller, director, auditor."""

import datetime as dt
from collections.abc import Iterator

import pytest
import time_machine
from django.utils import timezone

from checks.models import Revision
from checks.services.defects import raise_defect
from checks.services.due import refresh_due
from checks.services.sign import sign_released
from fleet.models import Authorisation, Calibration
from reports.home import auditor, controller
from reports.home_director import director, endings, season_ahead
from tests.checks.check_pages import logged_in
from tests.checks.due_history import done
from tests.checks.work import performed
from tests.reports.home_world import defer_until, noon, series
from tests.world import PASSWORD, World, build_world


@pytest.fixture
def clock() -> Iterator[time_machine.Traveller]:
    yield from noon()


@pytest.fixture
def world(db: None, clock: time_machine.Traveller) -> World:
    return build_world()


# --- controller -----------------------------------------------------------------------------------


def test_the_controller_sees_due_icing_instruments_and_deferrals(world: World) -> None:
    done(world, world.forward, world.today - dt.timedelta(days=400), hours=1990)
    refresh_due()
    technician1 = world.person("technician1")
    soon, late = (
        raise_defect(aircraft=world.forward, by=technician1, description=words) for words in ("Soon", "Late")
    )
    defer_until(world, soon, "C")
    defer_until(world, late, "D")
    told = controller(timezone.now())
    assert told.due[0].state == "overdue" and told.due[0].registration == world.forward.registration
    assert sum(count.number for count in told.counts) >= len(told.due)
    assert (told.against, told.aircraft) == (2, 2)
    assert [one.defect for one in told.deferrals] == [soon], "the other runs for 120 days"
    page = logged_in(world, "controller1").get("/").content.decode()
    assert "2 of 2 aircraft" in page and "It is no permission." in page and 'datetime="2025-03-22"' in page


def test_deferrals_that_ran_out_come_first(world: World, clock) -> None:
    by = world.person("technician1")
    for words, category in (("ten", "C"), ("three", "B")):
        defer_until(world, raise_defect(aircraft=world.forward, by=by, description=words), category)
    clock.shift(dt.timedelta(days=4))
    told = controller(timezone.now()).deferrals
    assert [(one.defect.description, one.state) for one in told] == [
        ("three", "deferral expired"),
        ("ten", "deferred"),
    ]


def test_instruments_out_of_calibration_or_soon(world: World) -> None:
    Calibration.objects.all().update(due_on=world.today + dt.timedelta(days=300))
    assert controller(timezone.now()).instruments_in_all == 0
    for code, days in (("gauge-1", -1), ("thermo-1", 10)):
        world.instrument(code).calibrations.update(due_on=world.today + dt.timedelta(days=days))
    told = controller(timezone.now())
    assert [(one.code, one.calibration_state) for one in told.instruments] == [
        ("gauge-1", "out of calibration"),
        ("thermo-1", "calibration due soon"),
    ]


# --- director -------------------------------------------------------------------------------------


def test_the_head_of_the_ranking_is_what_asks_for_something(world: World) -> None:
    series(world.forward, "port", "steady", action="nothing")
    closing = series(world.underfloor, "port", "closing", p_cross=0.8)
    over = series(world.forward, "nozzle", "over limit")
    told = director(timezone.now())
    assert [row.pk for row in told.drift] == [over.pk, closing.pk]
    assert {c.state: c.number for c in told.drift_counts if c.number} == {
        "over limit": 1,
        "closing": 1,
        "steady": 1,
    }
    page = logged_in(world, "director1").get("/").content.decode()
    assert f"/drift/{over.pk}/" in page and "the approved manual and the operator’s programme decide" in page


def test_revisions_awaiting_approval_and_who_may_not(world: World) -> None:
    for who in ("director1", "controller1"):
        Revision.objects.create(
            procedure=world.revision(world.forward).procedure,
            number=who,
            source_reference="Invented",
            typed_by=world.person(who),
            effective_on=world.today + dt.timedelta(days=5),
        )
    told = director(timezone.now()).revisions
    assert {one.number for one in told} == {"director1", "controller1"}
    page = logged_in(world, "director1").get("/").content.decode()
    assert page.count("you: another person approves it") == 1


@pytest.mark.parametrize(
    ("days", "shown"), [(-61, None), (-60, True), (-1, True), (0, False), (60, False), (61, None)]
)
def test_authorisations_that_run_out(world: World, days: int, shown: bool | None) -> None:
    Authorisation.objects.update(valid_until=None)
    held = world.person("technician1").authorisations.get()
    held.valid_until = world.today + dt.timedelta(days=days)
    held.save()
    told = endings(world.today)
    assert [one.expired for one in told] == ([] if shown is None else [shown])
    Authorisation.objects.create(
        user=held.user, act=held.act, reference="next", valid_from=world.today, valid_until=None
    )
    assert endings(world.today) == [], "it goes on"


def test_the_season_ahead_counts_by_hand(world: World) -> None:
    """North Skerry's and Far Cape's next season date; two series, one of them crossing in time."""
    north, south = world.master.bases["north"], world.master.bases["farcape"]
    world.underfloor.base = south
    world.underfloor.save()
    refresh_due()
    on = {
        base.code: min(
            day
            for year in (2025, 2026)
            if (day := dt.date(year, base.season_month, base.season_day)) >= world.today
        )
        for base in (north, south)
    }
    day = dt.timedelta(days=1)
    series(world.forward, "port", "closing", crossing_on=on["north"], crossing_low=on["north"] - day)
    series(world.forward, "nozzle", "drifting", crossing_on=on["north"] + day, crossing_low=on["north"])
    series(world.underfloor, "port", "drifting", crossing_on=on["farcape"] + day, crossing_low=None)
    told = {one.base.code: one for one in season_ahead(world.today)}
    assert set(told) == {"north", "farcape"}, "bases without aircraft are left out"
    assert {code: one.on for code, one in told.items()} == on
    assert (told["north"].meets, told["north"].may) == (1, 2)
    assert (told["farcape"].meets, told["farcape"].may) == (0, 0)
    for code, craft in (("north", world.forward), ("farcape", world.underfloor)):
        due = craft.due_points.filter(due_on__lte=on[code]).count()
        assert (told[code].aircraft, told[code].due) == (1, due)


def test_a_season_date_of_today_is_still_ahead(world: World) -> None:
    north = world.master.bases["north"]
    north.season_month, north.season_day = world.today.month, world.today.day
    north.save()
    (told,) = season_ahead(world.today)
    assert (told.on, told.days) == (world.today, 0)


# --- auditor --------------------------------------------------------------------------------------


def test_the_auditor_sees_where_the_records_are(world: World) -> None:
    event = performed(world, world.forward)
    sign_released(event=event, by=world.person("releaser1"), password=PASSWORD)
    done(world, world.underfloor, world.today, source="imported")
    told = auditor()
    heads = {str(head.aircraft or "operator"): head for head in told.heads}
    assert heads[world.forward.registration].number == 2
    assert told.records == sum(head.number for head in told.heads) and told.chains == len(told.heads)
    assert (told.newest.hash, told.imported) == (heads[world.forward.registration].hash, 1)
    page = logged_in(world, "auditor1").get("/").content.decode()
    assert heads[world.forward.registration].hash[:16] in page and told.newest.reference in page
