"""The whole database as JSON Lines: a file for each table, what is kept beside it, a manifest with hashes."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.core.exceptions import SuspiciousOperation
from django.core.files.storage import default_storage
from django.db import connection, transaction
from django.utils import timezone

from reports.pack_writer import PackWriter, pieces, pretty
from reports.tool import tool_version
from reports.transfer.names import groups, names_of
from reports.transfer.tables import (
    LEFT_OUT,
    OTHERS_LEFT_OUT,
    Column,
    Table,
    description,
    file_columns,
    plain,
    tables,
)

GROUPS, MEDIA = "data/00-groups.jsonl", "media.jsonl"
FORM = 1
CHUNK = 500
README = """The whole database of Weepwatch, as JSON Lines.

data/NN-TABLE.jsonl  one row a line, in order of its key; columns as tables.json says. Tables stand in the
                     order in which they are read back. Decimals are texts with all places, days ISO 8601,
                     moments UTC with six digits, keys the numbers that the installation gave.
data/00-groups.jsonl the roles with their permissions by name
media.jsonl          the files kept: name in the installation, name here, SHA-256, size
media/               the files
tables.json          every table with its columns in words
manifest.json        SHA-256 and size of every file here, and the state of the tables; the only file that
                     differs where the same data are exported twice

Not in it:
{left_out}

`python manage.py load_export FILE.zip` reads it into an empty, migrated installation.
"""


def export(path: Path) -> str:
    """Write everything to a new ZIP as of one moment; the manifest's SHA-256. Some hundred rows in memory."""
    with transaction.atomic(), PackWriter(path) as writer:
        _one_moment()
        writer.add(GROUPS, _lines(groups()))
        for table in tables():
            writer.add(table.file, _lines(rows(table)))
        _add_media(writer)
        writer.add("tables.json", pretty(description()))
        writer.add("README.txt", README.format(left_out="\n".join(left_out())).encode())
        return writer.close_with(
            {
                "form": FORM,
                "tool": tool_version(),
                "made_at": timezone.now().isoformat(timespec="seconds"),
                "left_out": left_out(),
            }
        )


def left_out() -> list[str]:
    """What an export never holds, in words."""
    return [*LEFT_OUT.values(), *OTHERS_LEFT_OUT]


def rows(table: Table) -> Iterator[dict[str, Any]]:
    """Every row of a table by column name, in order of its key."""
    named = {column: names_of(column.names) for column in table.columns if column.names}

    def shown(column: Column, value: Any) -> Any:
        return named[column].get(value) if column in named else plain(value)

    attributes = [column.field.attname for column in table.columns]
    found = table.model._base_manager.order_by("pk").values_list(*attributes)
    for row in found.iterator(chunk_size=CHUNK):
        yield {c.name: shown(c, value) for c, value in zip(table.columns, row, strict=True)}


def _one_moment() -> None:
    """On PostgreSQL every query of the transaction is to see the same rows; SQLite does so by itself."""
    if connection.vendor == "postgresql" and len(connection.savepoint_ids) == 0:
        with connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")


def _lines(found: Any) -> Iterator[bytes]:
    for one in found:
        text = json.dumps(one, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)
        yield text.encode() + b"\n"


def _add_media(writer: PackWriter) -> None:
    """The files under numbers of our own: a stored name never becomes a name in the ZIP."""
    stored: set[str] = set()
    for model, column in file_columns():
        stored |= set(model._base_manager.exclude(**{column: ""}).values_list(column, flat=True))
    told = []
    for number, name in enumerate(sorted(stored), start=1):
        file = f"media/{number:06d}"
        try:
            with default_storage.open(name, "rb") as content:
                digest = writer.add(file, pieces(content))
            told.append({"name": name, "file": file, "sha256": digest})
        except (OSError, SuspiciousOperation):
            told.append(
                {"name": name, "file": "", "sha256": ""}
            )  # it is not there: nothing can be kept of it
    writer.add(MEDIA, _lines(told))
