"""Is the configuration fit to keep signed records? Registered with Django, each finding by its id.

fleet.E001  PostgreSQL would lose committed records in a crash (fsync or synchronous_commit off)
fleet.E002  SQLite does not run with the tried settings
fleet.E003  demo log-ins asked for on a site that others can reach
fleet.E004  guards of signed records are missing in the database (fleet.W004 while `migrate` puts them back)
fleet.E005  the demo's data, and with them its log-ins, in the database of a site that others can reach
"""

import sys
from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.core.checks import ERROR, CheckMessage, Error, Tags, Warning, register, run_checks
from django.core.exceptions import ImproperlyConfigured
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper

from fleet.guards import missing_guards
from fleet.models import Operator

SAFE_COMMIT = {"on", "remote_write", "remote_apply"}  # 'local' and 'off' lose what was acknowledged


@register(Tags.database)
def durable_database(databases: Sequence[str] | None = None, **_kwargs: Any) -> list[CheckMessage]:
    """E001 or E002 for each database named; asks the live connection, not the settings."""
    found: list[CheckMessage] = []
    for alias in databases or []:
        connection = connections[alias]
        if connection.vendor == "postgresql":
            found += postgresql_findings(connection)
        elif connection.vendor == "sqlite":
            found += sqlite_findings(connection)
    return found


def postgresql_findings(connection: BaseDatabaseWrapper) -> list[CheckMessage]:
    """E001 for each of fsync, full_page_writes and synchronous_commit that is not safe."""
    safe = {"fsync": {"on"}, "full_page_writes": {"on"}, "synchronous_commit": SAFE_COMMIT}
    with connection.cursor() as cursor:
        cursor.execute("SELECT name, setting FROM pg_settings WHERE name = ANY(%s)", [list(safe)])
        actual = dict(cursor.fetchall())
    return [
        Error(
            f"PostgreSQL runs with {name} = {actual.get(name)}: signed records could be lost in a crash.",
            hint=f"Set {name} = on for the server, this database and this role, then restart.",
            id="fleet.E001",
        )
        for name, values in safe.items()
        if actual.get(name) not in values
    ]


def sqlite_findings(connection: BaseDatabaseWrapper) -> list[CheckMessage]:
    """E002 for each pragma or transaction mode that differs from the tried ones."""
    in_memory = connection.is_in_memory_db()  # type: ignore[attr-defined]
    tried = {
        "journal_mode": "memory" if in_memory else "wal",
        "synchronous": 2,  # FULL
        "recursive_triggers": 1,
        "foreign_keys": 1,
    }
    actual: dict[str, object] = {}
    with connection.cursor() as cursor:
        for name in tried:
            cursor.execute(f"PRAGMA {name}")
            actual[name] = cursor.fetchone()[0]
    tried["transaction_mode"] = "IMMEDIATE"
    actual["transaction_mode"] = connection.settings_dict["OPTIONS"].get("transaction_mode")
    return [
        Error(
            f"SQLite runs with {name} = {actual[name]} instead of {value}.",
            hint="Use the SQLite options of fleet/settings.py, on a local disk that supports WAL.",
            id="fleet.E002",
        )
        for name, value in tried.items()
        if actual[name] != value
    ]


@register(Tags.database)
def guards_in_place(databases: Sequence[str] | None = None, **_kwargs: Any) -> list[CheckMessage]:
    """E004 for each database in which a declared guard is absent, disabled or altered."""
    found: list[CheckMessage] = []
    # `migrate` runs this check before it puts the guards back: an error would shut the only way out.
    migrating = sys.argv[1:2] == ["migrate"]
    kind, code = (Warning, "fleet.W004") if migrating else (Error, "fleet.E004")
    for alias in databases or []:
        missing = missing_guards(connections[alias])
        if missing:
            shown = ", ".join(missing[:5]) + (f" and {len(missing) - 5} more" if len(missing) > 5 else "")
            text = f"Database {alias}: signed records are not guarded against change: {shown}."
            found.append(kind(text, hint="Run manage.py migrate: it puts the guards back.", id=code))
    return found


@register(Tags.security)
def no_demo_in_production(**_kwargs: Any) -> list[CheckMessage]:
    """E003: the demo's log-ins and passwords are printed for everyone to read."""
    if not (settings.PRODUCTION and settings.DEMO):
        return []
    hint = "Unset DEMO, or name only loopback addresses in ALLOWED_HOSTS."
    return [Error("DEMO is set on a site that others can reach.", hint=hint, id="fleet.E003")]


@register(Tags.database)
def no_demo_data_in_production(databases: Sequence[str] | None = None, **_kwargs: Any) -> list[CheckMessage]:
    """E005 for each database that holds the demo's operator; its people log in with a printed password."""
    if not settings.PRODUCTION:
        return []
    return [
        Error(
            f"Database {alias} holds the demo, whose log-ins are printed for everyone to read.",
            hint="Name an empty database in DATABASE_URL and run manage.py migrate.",
            id="fleet.E005",
        )
        for alias in databases or []
        if Operator._meta.db_table in connections[alias].introspection.table_names()
        and Operator.objects.using(alias).filter(is_demo=True).exists()
    ]


def refuse_unsafe_start() -> None:
    """Run all checks, those of the database included; raise with every error found."""
    errors = [message for message in run_checks(databases=list(connections)) if message.level >= ERROR]
    if errors:
        raise ImproperlyConfigured("\n".join(["Weepwatch does not start:", *map(str, errors)]))
