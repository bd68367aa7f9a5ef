"""The controller keeps stock and plans moves; everybody at a desk looks at stock items."""

from django.apps import apps as all_apps
from django.contrib.auth.management import create_permissions
from django.db import migrations

WRITES = (
    "checks.add_stockmovement",
    "checks.add_fluidmix",
    "checks.add_stockitem",
    "checks.change_stockitem",
    "fleet.add_plannedmove",
    "fleet.change_plannedmove",
)
ROLES = {
    "maintenance controller": (*WRITES, "checks.view_stockitem"),
    "director of maintenance": ("checks.view_stockitem",),
    "auditor": ("checks.view_stockitem",),
}


def widen(apps, schema_editor):
    for label in ("fleet", "checks"):
        create_permissions(
            all_apps.get_app_config(label), verbosity=0, apps=apps, using=schema_editor.connection.alias
        )
    Group = apps.get_model("auth", "Group")
    Permission = apps.get_model("auth", "Permission")
    for name, wanted in ROLES.items():
        group, _ = Group.objects.get_or_create(name=name)
        for permission in wanted:
            label, codename = permission.split(".")
            group.permissions.add(Permission.objects.get(content_type__app_label=label, codename=codename))


class Migration(migrations.Migration):
    dependencies = [("checks", "0010_season_and_stock"), ("fleet", "0004_season_and_moves")]

    operations = [migrations.RunPython(widen, migrations.RunPython.noop)]
