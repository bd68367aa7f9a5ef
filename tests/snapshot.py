"""Test data made once in a process and laid down again in milliseconds.

Building the small world is thousands of model saves, and hundreds of tests begin with it. The rows that the
first build added are kept as the database gives them and inserted as they are for the next test.
"""

import pickle
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, TypeVar

from django.apps import apps
from django.contrib.auth.models import Group
from django.db import connection, models, transaction

from checks.models import ChainHead
from reports.transfer.tables import wholes_first
from tests.guards import guards_lifted

Made = TypeVar("Made")
Model = type[models.Model]
Rows = dict[Model, list[tuple[Any, ...]]]


@dataclass(frozen=True)
class Snapshot:
    """rows: what was added, parts first; made: the maker's answer, pickled."""

    rows: Rows
    made: bytes


_kept: dict[tuple, Snapshot] = {}


def once(key: tuple, maker: Callable[[], Made]) -> Made:
    """What `maker` makes, made for real the first time; later its rows and its answer are laid down again.

    Where anything of ours stands in the database already, it is made for real and not kept.
    """
    with transaction.atomic():
        if _begun():
            return maker()
        known = (*key, connection.vendor, *Group.objects.order_by("pk").values_list("pk", "name"))
        if known in _kept:
            _lay_down(_kept[known].rows)
            return pickle.loads(_kept[known].made)
        before = _read()
        made = maker()
        _kept[known] = Snapshot(_added(before, _read()), pickle.dumps(made))
        return made


def _begun() -> bool:
    labels = (
        "fleet.User",
        "fleet.Operator",
        "fleet.Base",
        "fleet.Variant",
        "fleet.Aircraft",
        "fleet.Instrument",
    )
    return any(apps.get_model(label).objects.exists() for label in labels)


def _parts_first() -> list[Model]:
    every = [m for m in apps.get_models(include_auto_created=True) if m._meta.managed]
    return wholes_first(every)[::-1]


def _read() -> Rows:
    with connection.cursor() as cursor:
        found: Rows = {}
        for model in _parts_first():
            table, key = model._meta.db_table, model._meta.pk.column
            query = f'SELECT {_columns(model)} FROM "{table}" ORDER BY "{key}"'  # as they were made
            if connection.vendor == "postgresql":
                with cursor.copy(f"COPY ({query}) TO STDOUT") as copied:
                    found[model] = [(bytes(line),) for line in copied]
            else:
                cursor.execute(query)
                found[model] = cursor.fetchall()
        return found


def _added(before: Rows, after: Rows) -> Rows:
    added: Rows = {}
    for model, rows in after.items():
        old = set(before[model])
        if old - set(rows):
            raise AssertionError(f"{model._meta.label}: the maker changed rows that were there before it")
        if new := [row for row in rows if row not in old]:
            added[model] = new
    return added


def _lay_down(rows: Rows) -> None:
    with _past_the_guards(), connection.cursor() as cursor:
        for model, lines in rows.items():
            table, columns = model._meta.db_table, _columns(model)
            if connection.vendor == "postgresql":
                with cursor.copy(f'COPY "{table}" ({columns}) FROM STDIN') as copying:
                    copying.write(b"".join(line for (line,) in lines))
            else:
                marks = ", ".join("%s" for _ in model._meta.local_concrete_fields)
                cursor.executemany(f'INSERT INTO "{table}" ({columns}) VALUES ({marks})', lines)
        if connection.vendor == "postgresql":
            _move_counters_on(cursor, rows)


@contextmanager
def _past_the_guards() -> Iterator[None]:
    """On PostgreSQL no trigger runs for these rows. On SQLite the guards stay up, since parts go in first,
    but for the one that lets a chain begin without links only."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SET LOCAL session_replication_role = replica")
            yield
            cursor.execute("SET LOCAL session_replication_role = origin")
    else:
        head = ChainHead._meta.db_table
        with guards_lifted(connection, lambda guard: guard.table == head and guard.verb == "insert"):
            yield


def _move_counters_on(cursor: Any, rows: Rows) -> None:
    """The next row of each table gets a key that none of those laid down has."""
    for model in rows:
        key = model._meta.auto_field
        if key is not None:
            table, column = model._meta.db_table, key.column
            sequence = f"pg_get_serial_sequence('\"{table}\"', '{column}')"
            cursor.execute(
                f'SELECT setval({sequence}, GREATEST(nextval({sequence}), MAX("{column}"))) FROM "{table}"'
            )


def _columns(model: Model) -> str:
    return ", ".join(f'"{field.column}"' for field in model._meta.local_concrete_fields)
