"""Fit the drift of the whole fleet anew; meant for every night."""

import time

from django.core.management.base import BaseCommand

from checks.models import SeriesState
from checks.services.drift import refresh_drift
from checks.services.drift_card import refresh_report_card


class Command(BaseCommand):
    help = (
        "Fit the drift of the whole fleet to the records and score every aircraft. Run it every night, also "
        "while the server runs. Stopped midway it goes on where it was when it is run again."
    )

    def handle(self, *args: object, **options: object) -> None:
        began = time.monotonic()
        run = refresh_drift(told=self._told if options["verbosity"] > 1 else None)
        number = SeriesState.objects.filter(run=run).count()
        seconds = time.monotonic() - began
        self.stdout.write(f"{number} series scored from {run.readings} readings in {seconds:.1f} s.")
        refresh_report_card()
        seconds = time.monotonic() - began - seconds
        self.stdout.write(f"Past forecasts held against what came in {seconds:.1f} s.")

    def _told(self, done: int, total: int) -> None:
        self.stdout.write(f"{done} of {total} aircraft")
        self.stdout.flush()
