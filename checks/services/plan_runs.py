"""Reckoning the plan of work packages beside the request that asked for it, without a queue server.

A run is a row. The request writes it and starts a process of its own, which claims the row, so that of
several only one works on it, and says every second that it is alive. A run whose process died is seen by
its silence and gives way to the next. `manage.py plan_packages` does the same by hand or by cron.
"""

import datetime as dt
import secrets
import subprocess
import sys
from collections.abc import Callable, Iterable
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from dataclasses import asdict, dataclass
from typing import Any

from django.conf import settings
from django.db import IntegrityError, transaction
from django.utils import timezone

from checks.engine.packages_data import Plan, cost_of, due_days, window
from checks.models import PackageCheck, PlanRun, WorkPackage
from checks.selectors.package_plan import ToPlan, to_plan
from checks.services.errors import RecordError
from checks.services.persons import may
from fleet.models import User

PLAN = "checks.plan_packages"
SECONDS = 42.0  # of reckoning, all bases together
WORKERS = 2
LEAST_SECONDS = 4.0
SILENT = dt.timedelta(seconds=45)  # a worker that says nothing for so long is taken for dead
RUNS_ALREADY = "A plan is being reckoned already. Its page shows how far it is."


def ask_plan(*, by: User, days: int = 90, forward_days: int = 28) -> PlanRun:
    """Ask for a plan; RecordError where one is under way. One whose worker fell silent is given up first."""
    may(by, PLAN)
    now = timezone.now()
    run = PlanRun(asked_by=by, asked_at=now, days=days, forward_days=forward_days)
    run.full_clean(exclude=["asked_by", "active"])
    give_up_silent(now)
    try:
        with transaction.atomic():
            run.save(force_insert=True)
    except IntegrityError:
        raise RecordError(RUNS_ALREADY) from None
    return run


def give_up_silent(now: dt.datetime) -> int:
    """Set the run failed whose worker never began or fell silent."""
    words = "The reckoning stopped without an answer. Nothing of the plan was changed; ask for it again."
    silent = PlanRun.objects.filter(active=True)
    waiting = silent.filter(state=PlanRun.State.WAITING, asked_at__lt=now - SILENT)
    dead = silent.filter(state=PlanRun.State.RUNNING, alive_at__lt=now - SILENT)
    return (waiting | dead).update(state=PlanRun.State.FAILED, active=None, finished_at=now, words=words)


def seems_silent(run: PlanRun, now: dt.datetime) -> bool:
    """Whether an active run is one that give_up_silent would give up."""
    return now - (run.alive_at or run.asked_at) > SILENT


def launch(run: PlanRun) -> bool:
    """Start a process of its own for the run; False where the system gives none (cron may take it up)."""
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "plan_packages", "--run", str(run.pk)]
    quiet = subprocess.DEVNULL
    try:
        subprocess.Popen(
            command, stdin=quiet, stdout=quiet, stderr=quiet, start_new_session=True, close_fds=True
        )
    except OSError:
        return False
    return True


def claim(run_id: int | None = None) -> PlanRun | None:
    """Take up a waiting run, or the one named; None where another worker has it. One update decides."""
    waiting = PlanRun.objects.filter(state=PlanRun.State.WAITING, active=True)
    if run_id is not None:
        waiting = waiting.filter(pk=run_id)
    worker, now = secrets.token_hex(8), timezone.now()
    if not waiting.update(state=PlanRun.State.RUNNING, worker=worker, started_at=now, alive_at=now):
        return None
    return PlanRun.objects.select_related("asked_by").get(worker=worker, active=True)


@dataclass(frozen=True)
class Solved:
    """What was found for one base."""

    given: ToPlan
    plan: Plan


def carry_out(
    run: PlanRun,
    pool: Executor,
    *,
    solve: Callable[..., Plan],
    today: dt.date | None = None,
    seconds: float = SECONDS,
) -> PlanRun:
    """Reckon a claimed run base by base, in parallel, and store its proposals. What goes wrong is kept with
    the run as words, and raised."""
    today = today or timezone.localdate()
    try:
        given = to_plan(today=today, days=run.days, forward_days=run.forward_days)
        _alive(run, bases=len(given), solved=0, words="Reading what is due.")
        share = shares(given, seconds)
        order = sorted(given, key=lambda one: -share[one.base.pk])
        futures = {pool.submit(solve, one.problem, share[one.base.pk]): one for one in order}
        return store(run, _collected(run, futures), today)
    except Exception as error:
        failed = {"state": PlanRun.State.FAILED, "active": None, "finished_at": timezone.now()}
        words = f"The plan failed ({type(error).__name__}). Nothing was changed; ask for it again."
        PlanRun.objects.filter(pk=run.pk, worker=run.worker, active=True).update(**failed, words=words)
        raise


def shares(given: Iterable[ToPlan], seconds: float) -> dict[int, float]:
    """Seconds for each base, by the days that its checks may go to; WORKERS bases are reckoned at a time."""
    size = {one.base.pk: sum(len(window(one.problem, c)) for c in one.problem.checks) for one in given}
    if len(size) <= WORKERS:
        return dict.fromkeys(size, seconds)
    whole = sum(size.values()) or 1
    return {
        key: min(seconds, max(LEAST_SECONDS, seconds * WORKERS * number / whole))
        for key, number in size.items()
    }


def _collected(run: PlanRun, futures: dict[Future, ToPlan]) -> list[Solved]:
    found, open_ = [], set(futures)
    while open_:
        done, open_ = wait(open_, timeout=1, return_when=FIRST_COMPLETED)
        found += [Solved(futures[one], one.result()) for one in done]
        _alive(run, solved=len(found), words="Looking for the best days.")
    return found


def _alive(run: PlanRun, **values: Any) -> None:
    """Say that this worker is alive. RuntimeError where the run was given up meanwhile: somebody else's
    plan must not be written over."""
    mine = PlanRun.objects.filter(pk=run.pk, worker=run.worker, active=True)
    if not mine.update(alive_at=timezone.now(), **values):
        raise RuntimeError("the run was given up")


@transaction.atomic
def store(run: PlanRun, found: list[Solved], today: dt.date) -> PlanRun:
    """Write the proposals of a run in the place of those before it. What was accepted meanwhile stays and
    is not proposed again."""
    run = PlanRun.objects.select_for_update().get(pk=run.pk, worker=run.worker, active=True)
    WorkPackage.objects.proposed().delete()
    ahead = PackageCheck.objects.filter(package__state=WorkPackage.State.ACCEPTED, package__on__gte=today)
    held = {
        (aircraft, task): done
        for aircraft, task, done in ahead.values_list("package__aircraft_id", "check_due_id", "done_on")
    }
    for one in found:
        _store_base(run, one, held, today)
    run.state, run.active, run.finished_at, run.words = PlanRun.State.DONE, None, timezone.now(), ""
    run.solved, run.bases = len(found), len(found)
    run.result = sorted((outcome(one) for one in found), key=lambda line: line["name"])
    run.save()
    return run


def _store_base(run: PlanRun, one: Solved, held: dict, today: dt.date) -> None:
    days: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for key, on in one.plan.day.items():
        if held.get(key, key) != one.given.due[key][1]:  # not accepted meanwhile for this very due point
            days.setdefault((key[0], on), []).append(key)
    now = timezone.now()
    made = WorkPackage.objects.bulk_create(
        WorkPackage(
            aircraft_id=aircraft,
            base=one.given.base,
            on=today + dt.timedelta(days=on),
            pinned=(aircraft, on) in one.given.pinned,
            run=run,
            joins_id=one.given.standing.get((aircraft, on)),
            made_at=now,
        )
        for aircraft, on in days
    )
    PackageCheck.objects.bulk_create(
        PackageCheck(
            package=package,
            check_due_id=key[1],
            due_on=one.given.due[key][0],
            done_on=one.given.due[key][1],
        )
        for package, keys in zip(made, days.values(), strict=True)
        for key in keys
    )


def outcome(one: Solved) -> dict[str, Any]:
    """What a base's plan comes to, in minutes of work, for the page; `alone` is the plan without planning,
    each check on its own due day."""
    problem, plan = one.given.problem, one.plan
    alone, _ = cost_of(problem, due_days(problem))
    over = [max(0.0, load - minutes) for load, minutes in zip(plan.load, problem.minutes, strict=True)]
    return {
        "base": one.given.base.pk,
        "name": one.given.base.name,
        "state": plan.state,
        "gap": round(plan.gap, 5),
        "percent": round(100 * plan.gap, 1),
        "checks": len(problem.checks),
        "late": sum(check.late or check.due < 0 for check in problem.checks),
        "untold": one.given.untold,
        "packages": len({(key[0], on) for key, on in plan.day.items()}),
        "cost": {name: round(value, 1) for name, value in asdict(plan.cost).items()},
        "total": round(plan.cost.total, 1),
        "alone": round(alone.total, 1),
        "over": round(sum(over), 1),
        "days_over": sum(minutes > 0.5 for minutes in over),
    }
