"""`manage.py export`: the whole database as JSON Lines in one file, with what is kept beside it."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from reports.transfer.export import export, left_out


class Command(BaseCommand):
    help = (
        "Write the whole database and its files to a new ZIP, people without secrets. It holds all that was "
        "recorded: keep it as closed as the database itself. `load_export` reads it back."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)

    def handle(self, *, file: Path, **options: Any) -> None:
        if file.exists():
            raise CommandError(f"{file} exists. Name a new file.")
        try:
            seal = export(file)
        except OSError as error:
            raise CommandError(f"{file} can't be written: {error.strerror}.") from error
        self.stdout.write(f"Manifest {seal}")
        for words in left_out():
            self.stdout.write(f"Left out: {words}.")
