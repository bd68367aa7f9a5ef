"""`manage.py load_export`: an export of the whole database read back into an empty installation."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from reports.transfer.load import LoadError, load_export


class Command(BaseCommand):
    help = (
        "Read an export of the whole database into an empty, migrated installation: all of it or nothing. "
        "Every record is verified before it is kept. Nobody can log in until a password is set "
        "(`changepassword USERNAME`, then in the set-up pages)."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)

    def handle(self, *, file: Path, verbosity: int, **options: Any) -> None:
        def said(words: str) -> None:
            if verbosity > 1:
                self.stdout.write(words)

        try:
            loaded = load_export(file, said)
        except LoadError as error:
            raise CommandError(f"{error} Nothing was changed.") from error
        self.stdout.write(
            f"Kept {sum(loaded.rows.values())} rows of {len(loaded.rows)} tables and {loaded.files} files. "
            "Every record verifies. Nobody can log in until a password is set: changepassword USERNAME."
        )
