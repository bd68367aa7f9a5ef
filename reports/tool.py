"""What made a file: the tool and the state of its tables, so that a later reader knows how to read it."""

from django.db import connection
from django.db.migrations.recorder import MigrationRecorder

OURS = ("checks", "fleet")


def tool_version() -> str:
    """'Weepwatch, tables checks 0022_name, fleet 0009_name'. Two queries."""
    newest: dict[str, str] = {}
    for app, name in MigrationRecorder(connection).applied_migrations():
        if app in OURS:
            newest[app] = max(newest.get(app, ""), name)
    return f"Weepwatch, tables {', '.join(f'{app} {newest[app]}' for app in sorted(newest))}"
