"""`manage.py load`: aircraft, utilisation or check history from a CSV file, tried first, kept on request."""

import getpass
import sys
from argparse import ArgumentParser
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from checks.services.errors import RecordError
from checks.services.imports import acceptor
from checks.services.persons import prove
from fleet.models import User
from reports.loading.load import KINDS, Loaded, Source, load
from reports.tables.sheet import SheetError

LARGEST = 64 * 1024 * 1024


class Command(BaseCommand):
    help = (
        "Load aircraft, utilisation or check history from a CSV file. Without --commit it is a dry run: it "
        "does all the work, names every bad row with line, field and reason, and keeps nothing. "
        "A column declares its unit or way of writing in its name: 'port [[psi]]', 'date [DD.MM.YYYY]', "
        "'hours [h, decimal comma]'. The same file twice adds nothing."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("kind", choices=sorted(KINDS))
        parser.add_argument("file", type=Path)
        parser.add_argument("--by", required=True, metavar="USERNAME", help="Who loads the file.")
        parser.add_argument(
            "--accepted-by",
            metavar="USERNAME",
            help="Check history: who accepts the records, another person than --by. Asks for the password.",
        )
        parser.add_argument(
            "--column",
            action="append",
            default=[],
            metavar="FIELD=HEADER[:DECLARED]",
            help="Where a column has a name of its own: 'port=Port press.:[psi]'. Can be given again.",
        )
        parser.add_argument(
            "--encoding", default="utf-8", help="Of the file: utf-8 (as standard), cp1252, ..."
        )
        parser.add_argument("--commit", action="store_true", help="Keep what was loaded.")
        parser.add_argument(
            "--good-rows-only", action="store_true", help="Keep the good rows although others are bad."
        )

    def handle(self, **options) -> None:
        source = self._source(options)
        named = dict(_pair(text) for text in options["column"])
        try:
            loaded = load(
                kind=options["kind"],
                source=source,
                named=named,
                commit=options["commit"],
                good_rows_only=options["good_rows_only"],
            )
        except SheetError as error:
            raise CommandError(f"{source.name}: {error} Nothing was changed.") from error
        self._tell(loaded, options)

    def _source(self, options: dict) -> Source:
        path = options["file"]
        try:
            if path.stat().st_size > LARGEST:
                raise CommandError(f"{path} is larger than {LARGEST // 2**20} MiB. Split it.")
            data = path.read_bytes()
        except OSError as error:
            raise CommandError(f"{path} can't be read: {error.strerror}.") from error
        by = _person(options["by"])
        return Source(path.name, data, by, self._accepting(by, options), options["encoding"])

    def _accepting(self, by: User, options: dict) -> User:
        """Who answers for the rows; check history is accepted by another, who proves it on --commit."""
        if options["kind"] != "checks":
            return by
        if not options["accepted_by"]:
            raise CommandError("Check history needs --accepted-by: the person who accepts the records.")
        person = _person(options["accepted_by"])
        if person == by:
            raise CommandError("Who loads check history can't accept it too. Name another person.")
        if options["commit"]:
            try:
                acceptor(person)
                prove(person, _password(person))
            except RecordError as error:
                raise CommandError(f"{error} Nothing was changed.") from error
        return person

    def _tell(self, loaded: Loaded, options: dict) -> None:
        tally = loaded.tally
        for problem in tally.problems:
            self.stdout.write(str(problem))
        for note in tally.notes:
            self.stdout.write(f"note: {note}")
        bad = len({problem.line for problem in tally.problems})
        self.stdout.write(
            f"{loaded.lines} rows: {len(tally.added)} new, {len(tally.known)} on file already, {bad} bad."
        )
        if loaded.kept:
            self.stdout.write(self.style.SUCCESS(f"Kept {len(tally.added)} rows."))
        elif not options["commit"]:
            self.stdout.write("Dry run: nothing was changed. Add --commit to keep what is new.")
        elif bad and not options["good_rows_only"]:
            raise CommandError(
                "Nothing was changed, since there are bad rows. Mend them, or add --good-rows-only."
            )
        else:
            self.stdout.write("Nothing new: nothing was changed.")


def _pair(text: str) -> tuple[str, str]:
    name, sign, told = text.partition("=")
    if not sign or not told:
        raise CommandError(f"--column {text!r}: write FIELD=HEADER, or FIELD=HEADER:DECLARED.")
    return name.strip().lower(), told


def _person(username: str) -> User:
    person = User.objects.filter(username=username, is_active=True).first()
    if person is None:
        raise CommandError(f"No active person logs in as {username!r}.")
    if not person.has_perm("checks.accept_import"):
        raise CommandError(f"{person} may not import records: it takes the role of a maintenance controller.")
    return person


def _password(person: User) -> str:
    """Asked for at a terminal; from a script it is the first line of standard input."""
    if sys.stdin.isatty():
        return getpass.getpass(f"Password of {person}: ")
    return sys.stdin.readline().rstrip("\n")
