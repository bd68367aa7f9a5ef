"""Whether a database is empty, the demo's or real, and how the demo's is made empty again."""

import json

from django.conf import settings
from django.core.management import call_command
from django.db import connection, transaction

from checks.models import CheckEvent, Procedure
from fleet.guards import all_declared, remove
from fleet.models import Aircraft, Base, Operator, Part, User, Variant
from reports.demo.plan import Truth

EMPTY, DEMO, REAL = "empty", "demo", "real"
TRUTH_FILE = settings.LOCAL_DIR / "demo-truth.json"


def database_state() -> str:
    """EMPTY, DEMO or REAL: anything of an operator's own, one account even, is real."""
    operator = Operator.objects.filter(pk=1).first()
    if operator is not None:
        return DEMO if operator.is_demo else REAL
    used = (User, Aircraft, Base, Variant, Part, Procedure, CheckEvent)
    return REAL if any(model.objects.exists() for model in used) else EMPTY


def clear_demo() -> None:
    """Drop every table and migrate anew: signed rows can't be deleted, not even the demo's.

    RuntimeError unless the database is the demo's, asked again here because nothing brings it back.
    """
    if settings.PRODUCTION or database_state() != DEMO:
        raise RuntimeError("only the demo's own database is ever cleared")
    with connection.constraint_checks_disabled(), transaction.atomic():
        remove(connection, all_declared())
        with connection.cursor() as cursor:
            for table in connection.introspection.table_names(cursor):
                cascade = " CASCADE" if connection.vendor == "postgresql" else ""
                cursor.execute(f"DROP TABLE {connection.ops.quote_name(table)}{cascade}")
    call_command("migrate", verbosity=0, interactive=False)


def keep_truth(truth: Truth) -> None:
    """Write the truth beside the database, for whoever wants to compare."""
    text = json.dumps(truth.as_json(), indent=1)
    TRUTH_FILE.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    TRUTH_FILE.write_text(text, encoding="utf-8")
