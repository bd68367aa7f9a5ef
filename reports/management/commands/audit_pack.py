"""`manage.py audit_pack`: the audit pack of one aircraft as a file, and its hash on the screen."""

import datetime as dt
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from checks.services.errors import RecordError
from fleet.models import Aircraft, User
from reports.pack_making import make_pack
from reports.pack_tables import Span


class Command(BaseCommand):
    help = (
        "Write the audit pack of an aircraft; the manifest's hash is printed, to be told apart from the pack."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("registration")
        parser.add_argument("file", type=Path, help="Name of the new ZIP.")
        parser.add_argument("--by", required=True, metavar="USERNAME", help="Who takes the pack.")
        parser.add_argument("--since", type=dt.date.fromisoformat, metavar="YYYY-MM-DD")
        parser.add_argument("--until", type=dt.date.fromisoformat, metavar="YYYY-MM-DD")

    def handle(self, **options: Any) -> None:
        aircraft = Aircraft.objects.select_related("variant", "base").filter(
            registration=options["registration"]
        )
        person = User.objects.filter(username=options["by"], is_active=True).first()
        if not aircraft:
            raise CommandError(f"No aircraft has the registration {options['registration']!r}.")
        if person is None:
            raise CommandError(f"No active person logs in as {options['by']!r}.")
        if options["file"].exists():
            raise CommandError(f"{options['file']} exists. Name a new file.")
        span = Span(options["since"], options["until"])
        if span.since and span.until and span.until < span.since:
            raise CommandError("The period ends before it begins.")
        try:
            made = make_pack(aircraft=aircraft[0], span=span, by=person, path=options["file"])
        except RecordError as error:
            raise CommandError(str(error)) from error
        except OSError as error:
            raise CommandError(f"{options['file']} can't be written: {error.strerror}.") from error
        for fault in made.faults:
            self.stderr.write(f"What is stored is not what was signed: {fault}")
        self.stdout.write(f"Manifest {made.seal}\nHead of the chain: link {made.head[0]}, {made.head[1]}")
