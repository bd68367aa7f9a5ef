"""What the tests of work packages share: what tasks have in common, due days as wanted, a plan at once."""

import datetime as dt
from concurrent.futures import ThreadPoolExecutor

from checks.models import CheckEvent, PlanRun, Preparation, Procedure, WorkPackage
from checks.services.due import refresh_due
from checks.services.plan_runs import ask_plan, carry_out, claim
from fleet.models import Aircraft
from reports.plan_solver import solve_in_time
from tests.checks.due_history import done
from tests.world import TODAY, World

STAND, GAUGE = 25, 10
#: fluid concentration every 180 days, panel skin every 120
CONCENTRATION, SKIN = "fluid-concentration", "panel-skin"


def shared() -> None:
    """A stand for both tasks, a gauge for one: minutes as above."""
    stand = Preparation.objects.create(kind="access", name="Stand", minutes=STAND)
    stand.procedures.set(Procedure.objects.filter(code__in=(CONCENTRATION, SKIN)))
    gauge = Preparation.objects.create(kind="equipment", name="Gauge", minutes=GAUGE)
    gauge.procedures.set(Procedure.objects.filter(code=CONCENTRATION))


def due_in(world: World, aircraft: Aircraft, code: str, days: int, today: dt.date = TODAY) -> CheckEvent:
    """A signed check after which the task is due in so many days (negative: was due)."""
    interval = world.recurring(aircraft, code).interval_days
    revision = world.revision(aircraft, code)
    on = today + dt.timedelta(days=days - interval)
    return done(world, aircraft, on, revision=revision, outcome=CheckEvent.Outcome.DONE)


def planned(world: World, days: int = 60, forward_days: int = 28, today: dt.date = TODAY) -> PlanRun:
    """Ask for a plan, claim it and carry it out here and now."""
    refresh_due(today=today)
    run = claim(ask_plan(by=world.person("controller1"), days=days, forward_days=forward_days).pk)
    with ThreadPoolExecutor(1) as pool:
        return carry_out(run, pool, solve=solve_in_time, today=today, seconds=20)


def only(aircraft: Aircraft) -> WorkPackage:
    """The one package of an aircraft that is not withdrawn."""
    return WorkPackage.objects.exclude(state=WorkPackage.State.WITHDRAWN).get(aircraft=aircraft)


def codes(package: WorkPackage) -> list[str]:
    return sorted(package.checks.values_list("check_due__procedure__code", flat=True))
