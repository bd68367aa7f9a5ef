"""Days dry and deactivated systems, as the records say."""

import datetime as dt
from collections.abc import Iterator

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from checks.models import CheckEvent, Signature
from checks.selectors.dormancy import deactivated, dryness, last_wetted
from checks.selectors.icing import DEACTIVATED, icing_statuses
from checks.selectors.season import season_plans
from checks.services.correct import correct
from checks.services.sign import sign_inspected
from fleet.models import Aircraft, Operator
from tests.checks.season_world import NOON, TODAY, done, prompt_after, season_world
from tests.world import PASSWORD, World

pytestmark = pytest.mark.django_db
D = dt.date


@pytest.fixture
def world() -> Iterator[World]:
    with time_machine.travel(NOON, tick=False):
        yield season_world()


def dry(world: World, aircraft: Aircraft):
    days = Operator.current().dry_days
    return dryness([aircraft], today=TODAY, operator_days=days)[aircraft.pk]


def test_nothing_on_record_prompts_and_is_no_number(world: World) -> None:
    found = dry(world, world.forward)
    assert (found.last, found.days, found.prompt) == (None, None, True)


def test_days_count_from_the_newest_work_that_wets_the_panels(world: World) -> None:
    world.signed(world.forward, D(2025, 6, 1), code="wet-out")
    world.signed(world.forward, D(2025, 7, 1), code="pressure-flow")
    world.signed(world.forward, D(2025, 8, 1), code="fluid-concentration")  # wets nothing
    found = dry(world, world.forward)
    assert (found.last.task, found.last.on, found.days) == ("Pressure and flow check", D(2025, 7, 1), 62)


def test_a_check_over_its_limit_wetted_them_too(world: World) -> None:
    world.signed(world.forward, D(2025, 8, 20), values={"port": "310"})
    assert dry(world, world.forward).days == 12


@pytest.mark.parametrize(("days", "prompts"), [(62, False), (61, True)])
def test_it_prompts_beyond_the_operators_days(world: World, days: int, prompts: bool) -> None:
    prompt_after(days)
    world.signed(world.forward, D(2025, 7, 1))
    assert dry(world, world.forward).prompt is prompts


def test_a_variant_may_have_days_of_its_own(world: World) -> None:
    prompt_after(365)
    variant = world.forward.variant
    variant.dry_days = 10
    variant.save()
    world.signed(world.forward, D(2025, 7, 1))
    found = dry(world, Aircraft.objects.select_related("variant").get(pk=world.forward.pk))
    assert (found.after, found.prompt) == (10, True)


def test_a_superseded_work_wetted_nothing(world: World) -> None:
    wrong = world.signed(world.forward, D(2025, 8, 20), code="wet-out")
    by = world.person("technician1")
    draft = correct(event=wrong, by=by, reason="It was done on another aircraft.")
    assert dry(world, world.forward).days == 12, "while the correction is a draft, the signed one stands"
    CheckEvent.objects.filter(pk=draft.pk).update(aircraft=world.underfloor, state="signed", signed_at=NOON)
    assert world.forward.pk not in last_wetted()


def test_deactivated_until_the_return_to_use_has_every_signature(world: World) -> None:
    aircraft = world.forward
    down = world.signed(aircraft, D(2025, 5, 1), code="deactivation")
    found = deactivated()[aircraft.pk]
    assert (found.event_id, found.on, found.task) == (down.pk, D(2025, 5, 1), "Summer deactivation")
    back = world.signed(aircraft, D(2025, 8, 1), code="reactivation")
    assert aircraft.pk in deactivated(), "the second signature is missing"
    sign_inspected(event=back, by=world.person("inspector1"), password=PASSWORD)
    assert back.signatures.filter(act=Signature.Act.INSPECTED).exists()
    assert aircraft.pk not in deactivated()
    world.signed(aircraft, D(2025, 8, 20), code="deactivation")
    assert deactivated([aircraft.pk])[aircraft.pk].on == D(2025, 8, 20)
    assert deactivated([world.underfloor.pk]) == {}


def test_a_deactivated_aircraft_is_open_in_the_plan_whatever_was_done(world: World) -> None:
    aircraft = world.forward
    done(world, aircraft, D(2025, 8, 10))
    world.signed(aircraft, D(2025, 8, 20), code="deactivation")
    (plan,) = season_plans(today=TODAY, base=world.master.bases["north"], year=2025)
    (line,) = (line for line in plan.lines if line.aircraft == aircraft)
    assert [task.title for task in line.open_tasks] == ["Return to use after the summer"]
    assert line.down.on == D(2025, 8, 20) and plan.done == 0


def test_a_deactivated_aircraft_stands_against_flight_in_icing(world: World) -> None:
    event = world.signed(world.forward, D(2025, 8, 20), code="deactivation")
    against = {one.aircraft.pk: one.reasons for one in icing_statuses(at=NOON)}
    (reason,) = (one for one in against[world.forward.pk] if one.kind == DEACTIVATED)
    assert (reason.event_id, reason.text) == (
        event.pk,
        "Summer deactivation of 20 Aug 2025 is signed, and no return to use since.",
    )
    assert not any(one.kind == DEACTIVATED for one in against[world.underfloor.pk])


def test_queries_do_not_grow() -> None:
    costs = []
    with time_machine.travel(NOON, tick=False):
        world = season_world(aircraft=22)
        for one in world.fleet:
            world.signed(one, D(2025, 8, 20), code="deactivation")
        for number in (2, 22):
            fleet = world.fleet[:number]
            with CaptureQueriesContext(connection) as queries:
                assert len(dryness(fleet, today=TODAY, operator_days=60)) == number
                assert len(deactivated([one.pk for one in fleet])) == number
            costs.append(len(queries))
    assert costs == [2, 2], costs
