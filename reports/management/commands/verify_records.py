"""Read every record chain and every row that a record carries; say what does not hold.

The heads (hash of each chain's newest link), kept elsewhere, prove the past: a later run with --against finds
a chain that was cut, rewritten or left out.
"""

import csv
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from checks.services.verify import Head, faults_against, heads, verify_all


class Command(BaseCommand):
    help = "Verify the records: rebuild each from its rows, name the first broken link of each chain."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--heads", metavar="FILE", help="write chain, number, hash of each head; - prints"
        )
        parser.add_argument("--against", metavar="FILE", help="heads kept earlier, which must still be there")

    def handle(self, *, verbosity: int, **options: Any) -> None:
        kept = _kept(options["against"]) if options["against"] else []

        def said(owner: str, links: int, number: int) -> None:
            if verbosity > 1:
                self.stdout.write(f"{owner}: {links} links, {number or 'no'} fault{'s' * (number != 1)}")

        faults = [*verify_all(said), *faults_against(kept)]
        for fault in faults:
            self.stderr.write(str(fault))
        if faults:
            raise CommandError(
                f"{len(faults)} fault{'s' * (len(faults) > 1)}. Keep this database as it is, and compare it "
                "with the newest backup and with the heads kept elsewhere."
            )
        self.stdout.write("Every chain holds, and every row says what was signed.")
        if options["heads"]:
            self._write(options["heads"])

    def _write(self, path: str) -> None:
        lines = [",".join(("chain", "number", "hash")), *(f"{h.owner},{h.number},{h.hash}" for h in heads())]
        if path == "-":
            self.stdout.write("\n".join(lines))
            return
        try:
            with Path(path).open("x", encoding="utf-8") as file:
                file.write("\n".join(lines) + "\n")
        except OSError as error:
            raise CommandError(f"{path} can't be written: {error.strerror}. Name a new file.") from error


def _kept(path: str) -> list[Head]:
    try:
        with Path(path).open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        return [Head(row["chain"], int(row["number"]), row["hash"]) for row in rows]
    except OSError as error:
        raise CommandError(f"{path} can't be read: {error.strerror}.") from error
    except (KeyError, TypeError, ValueError) as error:
        raise CommandError(f"{path} holds no heads: its columns are chain, number, hash.") from error
