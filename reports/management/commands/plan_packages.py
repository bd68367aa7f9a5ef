"""Reckon the plan of work packages: a run that a page asked for, or one of its own."""

from argparse import ArgumentParser
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from checks.models import PlanRun
from checks.services.errors import RecordError
from checks.services.plan_runs import WORKERS, ask_plan, carry_out, claim
from fleet.models import User
from reports.plan_solver import solve_in_time


class Command(BaseCommand):
    help = "Take up the plan of work packages that waits; with --by ask for one first (for cron)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--run", type=int, help="the run to take up, by its number")
        parser.add_argument("--by", help="log-in name of the controller for whom to ask for a new plan")

    def handle(self, *_args: Any, **options: Any) -> None:
        if options["by"]:
            self._ask(options["by"])
        run = claim(options["run"])
        if run is None:
            self.stdout.write("No plan waits.")
            return
        # Fresh processes: they solve, and share no database connection with this one.
        with ProcessPoolExecutor(WORKERS, mp_context=get_context("spawn")) as pool:
            run = carry_out(run, pool, solve=solve_in_time)
        self.stdout.write(f"Plan {run.pk}: {words(run)}")

    def _ask(self, name: str) -> None:
        person = User.objects.filter(username=name, is_active=True).first()
        if person is None:
            raise CommandError(f"Nobody active has the log-in name {name!r}.")
        try:
            ask_plan(by=person)
        except RecordError as refused:
            raise CommandError(str(refused)) from None


def words(run: PlanRun) -> str:
    """What came of a run, a line for each base."""
    lines = [
        f"{line['name']}: {line['checks']} checks in {line['packages']} packages, {line['state']}, "
        f"gap {100 * line['gap']:.2f} %"
        for line in run.result
    ]
    return "; ".join(lines) or "nothing falls due in the days ahead."
