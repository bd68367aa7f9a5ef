"""Guards: database triggers that refuse what no code may do, on SQLite and PostgreSQL alike.

An app declares its guards in a module `guard_rules` with a function `rules() -> list[Guard]`. They are put
back after every migrate, because SQLite rebuilds a table to alter it and drops its triggers on the way,
and a system check (fleet.E004) refuses to run without them.

Conditions are SQL that both engines read: NEW."column", OLD."column", plain sub-selects.
"""

import hashlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from importlib import import_module
from typing import Any

from django.apps import AppConfig, apps
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.utils.module_loading import module_has_submodule

PREFIX = "guard_"
VERBS = ("insert", "update", "delete")
# tgtype of PostgreSQL's pg_trigger: before = 2, row = 1, then one bit for each verb.
_EVENT_BITS = {"insert": 4, "delete": 8, "update": 16, "truncate": 32}


@dataclass(frozen=True)
class Guard:
    """One refusal: `verb` on `table` fails with `message` where `when` holds (empty: always).

    `name` tells guards of one table and verb apart. `vendor` limits a guard to one engine.
    """

    table: str
    verb: str
    message: str
    when: str = ""
    name: str = ""
    vendor: str | None = None

    def __post_init__(self) -> None:
        if self.verb not in VERBS:
            raise ValueError(f"a guard stands before {', '.join(VERBS)}, not {self.verb!r}")
        if "'" in self.message or "%" in self.message:
            raise ValueError(f"a guard's message holds no quote and no percent sign: {self.message}")
        if len(self.trigger) > 63:
            raise ValueError(f"{self.trigger} is longer than a PostgreSQL name may be")

    @property
    def trigger(self) -> str:
        """Name of the trigger; on PostgreSQL also of its function."""
        return PREFIX + "_".join(filter(None, (self.table, self.verb, self.name)))


def declared(app_config: AppConfig) -> list[Guard]:
    """The guards that one app declares; none where it has no module guard_rules."""
    if app_config.module is None or not module_has_submodule(app_config.module, "guard_rules"):
        return []
    return list(import_module(f"{app_config.name}.guard_rules").rules())


def all_declared() -> list[Guard]:
    """The guards of every installed app."""
    return [guard for app_config in apps.get_app_configs() for guard in declared(app_config)]


def install(connection: BaseDatabaseWrapper, guards: Iterable[Guard]) -> None:
    """Put the guards in place, each dropped and made anew; tables that do not exist (yet) are left out."""
    standing = _applicable(connection, guards)
    with connection.cursor() as cursor:
        schema = ""
        if connection.vendor == "postgresql":
            cursor.execute("SELECT quote_ident(current_schema())")
            schema = cursor.fetchone()[0]
        for statement in _statements(connection, standing, schema):
            cursor.execute(statement)


def remove(connection: BaseDatabaseWrapper, guards: Iterable[Guard]) -> None:
    """Take the guards away. For the time of a table rebuild on SQLite, and for nothing else."""
    standing = _applicable(connection, guards)
    with connection.cursor() as cursor:
        for guard in standing:
            cursor.execute(_drop(connection, guard.trigger, guard.table))
        for table in sorted({guard.table for guard in standing}):
            if connection.vendor == "postgresql":
                cursor.execute(_drop(connection, _truncate_name(table), table))


def missing_guards(connection: BaseDatabaseWrapper) -> list[str]:
    """Names of declared triggers that are absent, disabled or differ from what is declared."""
    guards = _applicable(connection, all_declared())
    if connection.vendor == "sqlite":
        expected = {guard.trigger: _sqlite_create(guard) for guard in guards}
        with connection.cursor() as cursor:
            cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
            found = dict(cursor.fetchall())
        return sorted(name for name, sql in expected.items() if found.get(name) != sql)
    return _missing_on_postgresql(connection, guards)


def before_migrate(sender: AppConfig, using: str, **_kwargs: Any) -> None:
    """Receiver: on SQLite a trigger that names a table under reconstruction would stop the rebuild."""
    if connections[using].vendor == "sqlite":
        remove(connections[using], declared(sender))


def after_migrate(sender: AppConfig, using: str, **_kwargs: Any) -> None:
    """Receiver: put the sender's guards back."""
    install(connections[using], declared(sender))


def _applicable(connection: BaseDatabaseWrapper, guards: Iterable[Guard]) -> list[Guard]:
    with connection.cursor() as cursor:
        tables = set(connection.introspection.table_names(cursor))
    return [g for g in guards if g.table in tables and g.vendor in (None, connection.vendor)]


def _statements(connection: BaseDatabaseWrapper, guards: list[Guard], schema: str) -> Iterator[str]:
    postgresql = connection.vendor == "postgresql"
    for guard in guards:
        yield _drop(connection, guard.trigger, guard.table)
        if postgresql:
            yield _function(guard.trigger, _body(guard), schema)
            yield _postgresql_create(guard.trigger, guard.table, guard.verb, "ROW")
        else:
            yield _sqlite_create(guard)
    if postgresql:
        for table in sorted({guard.table for guard in guards}):
            name = _truncate_name(table)
            yield _drop(connection, name, table)
            yield _function(name, _truncate_body(table), schema)
            yield _postgresql_create(name, table, "truncate", "STATEMENT")


def _drop(connection: BaseDatabaseWrapper, trigger: str, table: str) -> str:
    if connection.vendor == "postgresql":
        return f'DROP TRIGGER IF EXISTS "{trigger}" ON "{table}"'
    return f'DROP TRIGGER IF EXISTS "{trigger}"'


def _sqlite_create(guard: Guard) -> str:
    when = f"WHEN {guard.when} " if guard.when else ""
    return (
        f'CREATE TRIGGER "{guard.trigger}" BEFORE {guard.verb.upper()} ON "{guard.table}" '
        f"{when}BEGIN SELECT RAISE(ABORT, '{guard.message}'); END"
    )


def _body(guard: Guard) -> str:
    """Body of a PostgreSQL trigger function; the error is of the class that Django calls IntegrityError."""
    refuse = f"RAISE EXCEPTION '{guard.message}' USING ERRCODE = 'integrity_constraint_violation';"
    if guard.when:
        refuse = f"IF {guard.when} THEN {refuse} END IF;"
    return f"BEGIN {refuse} RETURN {'OLD' if guard.verb == 'delete' else 'NEW'}; END"


def _truncate_name(table: str) -> str:
    """A name for the TRUNCATE guard, shortened where the table's own is long."""
    name = f"{PREFIX}{table}_truncate"
    return name if len(name) <= 63 else f"{name[:54]}_{hashlib.sha256(name.encode()).hexdigest()[:8]}"


def _truncate_body(table: str) -> str:
    return (
        f"BEGIN RAISE EXCEPTION '{table} holds signed records and is never emptied' "
        "USING ERRCODE = 'integrity_constraint_violation'; END"
    )


def _function(name: str, body: str, schema: str) -> str:
    # Temporary tables come last, so that none of the same name stands in for the real one.
    return (
        f'CREATE OR REPLACE FUNCTION "{name}"() RETURNS trigger LANGUAGE plpgsql '
        f"SET search_path = {schema}, pg_temp AS $guard${body}$guard$"
    )


def _postgresql_create(name: str, table: str, verb: str, level: str) -> str:
    return (
        f'CREATE TRIGGER "{name}" BEFORE {verb.upper()} ON "{table}" '
        f'FOR EACH {level} EXECUTE FUNCTION "{name}"()'
    )


def _missing_on_postgresql(connection: BaseDatabaseWrapper, guards: list[Guard]) -> list[str]:
    expected = {g.trigger: (g.table, _body(g), 3 + _EVENT_BITS[g.verb]) for g in guards}
    for table in {guard.table for guard in guards}:
        expected[_truncate_name(table)] = (table, _truncate_body(table), 2 + _EVENT_BITS["truncate"])
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT t.tgname, c.relname, p.prosrc, t.tgtype FROM pg_trigger t "
            "JOIN pg_class c ON c.oid = t.tgrelid JOIN pg_proc p ON p.oid = t.tgfoid "
            "WHERE NOT t.tgisinternal AND t.tgenabled IN ('O', 'A') AND pg_table_is_visible(c.oid)"
        )
        found = {name: (table, body, kind) for name, table, body, kind in cursor.fetchall()}
    return sorted(name for name, what in expected.items() if found.get(name) != what)
