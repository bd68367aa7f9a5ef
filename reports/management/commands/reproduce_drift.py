"""Compute stored drift results a second time and say whether they come out the same."""

from argparse import ArgumentParser

from django.core.management.base import BaseCommand, CommandError

from checks.models import SeriesState
from checks.selectors.drift import latest_run
from checks.services.drift_again import run_again, series_again


class Command(BaseCommand):
    help = (
        "Compute the stored drift results of aircraft (none named: of all) again from what was known when "
        "they were made, and the fit of the newest run, and say which differ."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("registration", nargs="*", help="Only these aircraft.")

    def handle(self, *args: object, **options: object) -> None:
        states = SeriesState.objects.select_related("aircraft", "point", "run").order_by("aircraft", "point")
        if options["registration"]:
            states = states.filter(aircraft__registration__in=options["registration"])
        run = latest_run()
        if run is None or not states:
            raise CommandError("Nothing is stored of these aircraft. Run refresh_drift first.")
        told = {f"fit of {run}": run_again(run)}
        told |= {f"{state.aircraft} {state.point}": series_again(state) for state in states}
        different = {name: again for name, again in told.items() if not again.equal}
        for name, again in different.items():
            self.stdout.write(f"{name}: {'; '.join(again.differences)}")
        if different:
            raise CommandError(f"{len(different)} of {len(told)} results are not as stored.")
        self.stdout.write(f"All {len(told)} results came out as stored.")
