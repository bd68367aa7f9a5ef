"""An export read back into an empty installation: all of it or nothing, with every guard standing.

Rows go in as they were written, in the order of the export, so that nothing that the guards refuse is asked
of them: signed and approved wholes come after their parts, and the head of each chain begins without links
and moves on by one link at a time. Keys to rows that come later wait for the end of the transaction.
"""

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

from django.contrib.auth.hashers import make_password
from django.core.exceptions import SuspiciousOperation, ValidationError
from django.core.files.base import File
from django.core.files.storage import default_storage
from django.core.management.color import no_style
from django.db import Error, connection, transaction

from checks.engine.canonical import GENESIS
from checks.models import ChainHead, Record
from checks.services.verify import verify_all
from fleet.models import User
from reports.pack_verifier import MANIFEST, NoPack, Zip, compare, content, read_manifest
from reports.tool import tool_version
from reports.transfer.export import FORM, GROUPS, MEDIA
from reports.transfer.names import keys_of, put_groups
from reports.transfer.tables import Table, tables

CHUNK = 500


class LoadError(Exception):
    """Why an export can't be read back, in words with the way out."""


@dataclass(frozen=True)
class Loaded:
    """What came in: rows by table, and files."""

    rows: dict[str, int]
    files: int


def load_export(path: Path, said: Callable[[str], None] = lambda words: None) -> Loaded:
    """Read an export into this installation, which must be empty. LoadError: nothing was changed.

    said: told of each table. Every record is verified before anything is kept.
    """
    try:
        pack = Zip(str(path))
        _compare(pack)
    except NoPack as error:
        raise LoadError(f"This is no export: {error}.") from None
    stored: list[str] = []
    try:
        with transaction.atomic():
            _refuse_unless_empty()
            counts = _load_tables(pack, said)
            _load_media(pack, stored)
            _move_counters_on()
            _verify()
    except BaseException:
        for name in stored:
            default_storage.delete(name)
        raise
    return Loaded(counts, len(stored))


def _compare(pack: Zip) -> None:
    """The files of the export are those of its manifest, and of the state that the tables have here."""
    names = pack.names()
    if MANIFEST not in names:
        raise LoadError("This is no export: there is no manifest in it.")
    manifest, files, faults = read_manifest(content(pack, MANIFEST))
    faults += pack.faults + compare(pack, names, files)
    if faults:
        raise LoadError(f"The export is damaged: {'; '.join(faults[:5])}. Use another copy of it.")
    if manifest.get("form") != FORM or GROUPS not in files:
        raise LoadError("This is no export of the whole database, or one of a form that is not known here.")
    if manifest.get("tool") != tool_version():
        raise LoadError(
            f"The export is of {manifest.get('tool')}; here is {tool_version()}. Bring both to the same "
            "state of the tables: migrate the older one."
        )
    missing = [table.file for table in tables() if table.file not in files]
    if missing:
        raise LoadError(f"The export is not whole: {', '.join(missing)} is missing.")


def _refuse_unless_empty() -> None:
    for table in tables():
        if table.model._base_manager.exists():
            raise LoadError(
                f"This installation is not empty: there are {table.model._meta.verbose_name_plural}. Nothing "
                "is mixed with what is there. Make a new database and migrate it."
            )


def _load_tables(pack: Zip, said: Callable[[str], None]) -> dict[str, int]:
    try:
        put_groups([row for _, row in _lines(pack, GROUPS)])
    except (KeyError, TypeError) as error:
        raise LoadError(f"{GROUPS}: {error} is not known here.") from None
    counts = {}
    with connection.cursor() as cursor:
        for table in tables():
            counts[table.file] = _insert(cursor, table, _rows(pack, table))
            said(f"{table.file}: {counts[table.file]}")
            if table.model is Record:
                _move_heads_on(cursor, pack)
    return counts


def _rows(pack: Zip, table: Table) -> Iterator[list[Any]]:
    """The rows of a table as the database takes them."""
    known = {column: keys_of(column.names) for column in table.columns if column.names}
    wanted = {column.name for column in table.columns}
    for number, told in _lines(pack, table.file):
        if not isinstance(told, dict) or set(told) != wanted:
            raise LoadError(f"{table.file}, line {number}: its columns are not those of tables.json.")
        if table.model is ChainHead:
            told = told | {"number": 0, "hash": GENESIS}
        row = []
        for column in table.columns:
            value = told[column.name]
            try:
                if value is not None:
                    value = known[column][value] if column in known else column.field.to_python(value)
                row.append(column.field.get_db_prep_save(value, connection))
            except (ValidationError, KeyError, TypeError, ValueError, ArithmeticError) as error:
                raise LoadError(f"{table.file}, line {number}, {column.name}: {error}") from None
        yield row + ([make_password(None)] if table.model is User else [])


def _insert(cursor: Any, table: Table, rows: Iterator[list[Any]]) -> int:
    """Plain inserts: no default and no moment of today takes the place of what was written."""
    columns = [column.field.column for column in table.columns]
    columns += ["password"] if table.model is User else []
    quoted = ", ".join(map(connection.ops.quote_name, columns))
    marks = ", ".join(["%s"] * len(columns))
    name = connection.ops.quote_name(table.model._meta.db_table)
    statement, count = f"INSERT INTO {name} ({quoted}) VALUES ({marks})", 0
    while some := list(islice(rows, CHUNK)):
        try:
            cursor.executemany(statement, some)
        except Error as error:
            raise LoadError(f"{table.file}, lines {count + 1} to {count + len(some)}: {error}") from None
        count += len(some)
    return count


def _move_heads_on(cursor: Any, pack: Zip) -> None:
    """Each head follows its chain link by link, as when it was written, and ends where the export says."""
    head = connection.ops.quote_name(ChainHead._meta.db_table)
    links = Record.objects.order_by("chain", "number").values_list("number", "hash", "chain")
    rows = links.iterator(chunk_size=CHUNK)
    while some := list(islice(rows, CHUNK)):
        cursor.executemany(f"UPDATE {head} SET number = %s, hash = %s WHERE id = %s", some)
    (table,) = [table for table in tables() if table.model is ChainHead]
    now = {pk: (number, hash_) for pk, number, hash_ in ChainHead.objects.values_list("pk", "number", "hash")}
    for number, told in _lines(pack, table.file):
        if now[told["id"]] != (told["number"], told["hash"]):
            raise LoadError(f"{table.file}, line {number}: the head is not the newest link of its chain.")


def _load_media(pack: Zip, stored: list[str]) -> None:
    for number, told in _lines(pack, MEDIA):
        try:
            name, file = told["name"], told["file"]
        except (KeyError, TypeError):
            raise LoadError(f"{MEDIA}, line {number}: it names no file.") from None
        if not file:
            continue
        try:
            if default_storage.exists(name):
                raise LoadError(
                    f"{MEDIA}, line {number}: {name!r} lies in the media folder already. Empty it."
                )
            with pack.open(file) as content_:
                kept = default_storage.save(name, File(content_))
            stored.append(kept)
        except (SuspiciousOperation, OSError, KeyError, ValueError) as error:
            raise LoadError(f"{MEDIA}, line {number}: {name!r} can't be kept: {error}") from None
        if kept != name:
            raise LoadError(f"{MEDIA}, line {number}: {name!r} is no name that files have here.")


def _lines(pack: Zip, name: str) -> Iterator[tuple[int, Any]]:
    """The rows of a file, with the numbers of their lines."""
    with pack.open(name) as file:
        for number, line in enumerate(file, start=1):
            try:
                yield number, json.loads(line)
            except ValueError as error:
                raise LoadError(f"{name}, line {number}: {error}") from None


def _move_counters_on() -> None:
    """The next row of each table gets a key that none of those loaded has; SQLite sees to it by itself."""
    statements = connection.ops.sequence_reset_sql(no_style(), [table.model for table in tables()])
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


def _verify() -> None:
    connection.check_constraints()
    faults = verify_all()
    if faults:
        words = "; ".join(map(str, faults[:5]))
        raise LoadError(f"The records do not verify: {words}. Nothing was kept. Compare with another export.")
