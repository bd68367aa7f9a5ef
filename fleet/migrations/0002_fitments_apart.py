"""On PostgreSQL, exclusion constraints hold fitments apart; on SQLite triggers do (fleet/guard_rules.py)."""

from django.db import migrations

# Day of removal excluded: a range from fitted_on up to, not including, removed_on (open while it lasts).
DAYS = "daterange(fitted_on, removed_on, '[)')"
CONSTRAINTS = {
    "fitment_position_taken": f"aircraft_id WITH =, position_id WITH =, {DAYS} WITH &&",
    "fitment_part_elsewhere": f"part_id WITH =, {DAYS} WITH &&",
}


def add(apps, schema_editor):
    if schema_editor.connection.vendor != "postgresql":
        return
    # Comes with PostgreSQL and is trusted since version 13: the owner of the database may make it.
    schema_editor.execute("CREATE EXTENSION IF NOT EXISTS btree_gist")
    for name, elements in CONSTRAINTS.items():
        schema_editor.execute(
            f"ALTER TABLE fleet_fitment ADD CONSTRAINT {name} EXCLUDE USING gist ({elements})"
        )


def drop(apps, schema_editor):
    if schema_editor.connection.vendor != "postgresql":
        return
    for name in CONSTRAINTS:
        schema_editor.execute(f"ALTER TABLE fleet_fitment DROP CONSTRAINT {name}")


class Migration(migrations.Migration):
    dependencies = [("fleet", "0001_initial")]
    operations = [migrations.RunPython(add, drop)]
