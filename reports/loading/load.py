"""Loads one file: everything is tried inside one transaction, and kept only where that was asked for.

The dry run is the same run taken back at its end, so that it can't promise what loading then refuses.
"""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass

from django.db import transaction

from checks.models import ImportBatch
from fleet.models import User
from reports.loading.aircraft import AircraftRows
from reports.loading.checks import CheckRows
from reports.loading.columns import find_columns, unused
from reports.loading.problems import Problem, Tally
from reports.loading.utilisation import Day, UtilisationRows, rows_of_day
from reports.tables.sheet import Sheet, read_sheet


@dataclass(frozen=True)
class Source:
    """A file and the persons behind it: who loads it, and who accepts what it says as true."""

    name: str
    data: bytes
    by: User
    accepted_by: User
    encoding: str = "utf-8"

    @property
    def sha256(self) -> str:
        return hashlib.sha256(self.data).hexdigest()


@dataclass(frozen=True)
class Loaded:
    """What came of it. kept: whether anything was written for good."""

    tally: Tally
    kept: bool
    lines: int


KINDS: dict[str, type] = {"aircraft": AircraftRows, "utilisation": UtilisationRows, "checks": CheckRows}


def load(
    *,
    kind: str,
    source: Source,
    named: Mapping[str, str],
    commit: bool,
    good_rows_only: bool = False,
    day: Day | None = None,
) -> Loaded:
    """Load a file of one kind. SheetError where the file as a whole can't be read.

    named: field -> 'header' or 'header:declared'. Without commit, or with a bad row and not good_rows_only,
    nothing is written. day: of a file of utilisation that names none.
    """
    sheet = read_sheet(source.data, encoding=source.encoding)
    loader = rows_of_day(day) if day else KINDS[kind]
    columns = find_columns(sheet, loader.fields(), named)
    tally = Tally()
    with transaction.atomic():
        batch = ImportBatch.objects.create(
            kind=kind,
            file_name=source.name[:200],
            sha256=source.sha256,
            rows_added=0,
            imported_by=source.by,
            accepted_by=source.accepted_by,
        )
        _take(sheet, loader(columns=columns, batch=batch), tally)
        kept = commit and bool(tally.added) and (good_rows_only or not tally.problems)
        if kept:
            batch.rows_added = len(tally.added)
            batch.save(update_fields=["rows_added"])
        else:
            transaction.set_rollback(True)
    tally.sort()
    tally.notes += [f"Nothing reads the column {header!r}." for header in unused(sheet, columns)]
    return Loaded(tally, kept, len(sheet.rows))


def _take(sheet: Sheet, loader, tally: Tally) -> None:
    """Read every row, then write them in the order that the kind needs, each in a savepoint of its own."""
    read = []
    for row in sheet.rows:
        if row.fault:
            tally.problems.append(Problem(row.line, "", row.fault))
            continue
        with tally.row(row.line):
            read.append((row, loader.read(row)))
    read.sort(key=lambda pair: (loader.order(pair[1]), pair[0].line))
    for row, given in read:
        with tally.row(row.line), transaction.atomic():
            (tally.added if loader.write(row.line, given) else tally.known).append(row.line)
    tally.notes += loader.finish()
