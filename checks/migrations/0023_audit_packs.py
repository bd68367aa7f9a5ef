"""Controller, director and auditor take audit packs."""

from django.apps import apps as all_apps
from django.contrib.auth.management import create_permissions
from django.db import migrations

ROLES = ("maintenance controller", "director of maintenance", "auditor")


def widen(apps, schema_editor):
    create_permissions(
        all_apps.get_app_config("checks"), verbosity=0, apps=apps, using=schema_editor.connection.alias
    )
    permissions = apps.get_model("auth", "Permission").objects.filter(content_type__app_label="checks")
    for name in ROLES:
        group, _ = apps.get_model("auth", "Group").objects.get_or_create(name=name)
        group.permissions.add(*permissions.filter(codename="take_pack"))


class Migration(migrations.Migration):
    dependencies = [("checks", "0022_intervals_above_nothing")]

    operations = [
        migrations.AlterModelOptions(
            name="record",
            options={
                "ordering": ["chain", "number"],
                "permissions": [("take_pack", "Can take audit packs")],
            },
        ),
        migrations.RunPython(widen, migrations.RunPython.noop),
    ]
