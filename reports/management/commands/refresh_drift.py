"""Fit the drift of the whole fleet anew; meant for every night."""

import time

from django.core.management.base import BaseCommand

from checks.models import SeriesState
from checks.services.drift import refresh_drift


class Command(BaseCommand):
    help = "Fit the drift of the whole fleet to the records and store it. Run it every night."

    def handle(self, *args: object, **options: object) -> None:
        began = time.monotonic()
        run = refresh_drift()
        number = SeriesState.objects.filter(run=run).count()
        seconds = time.monotonic() - began
        self.stdout.write(f"{number} series scored from {run.readings} readings in {seconds:.1f} s.")
