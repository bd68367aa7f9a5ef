"""The controller plans work packages and keeps what they rest on; everybody at a desk looks at that."""

from django.apps import apps as all_apps
from django.contrib.auth.management import create_permissions
from django.db import migrations

VIEWS = ("view_preparation",)
WRITES = ("plan_packages", "add_preparation", "change_preparation", "add_partneeded", "change_partneeded")
READS = ("view_partneeded",)
ROLES = {
    "maintenance controller": (*WRITES, *VIEWS, *READS, "delete_partneeded"),
    "director of maintenance": (*VIEWS, *READS),
    "auditor": (*VIEWS, *READS),
}


def widen(apps, schema_editor):
    create_permissions(
        all_apps.get_app_config("checks"), verbosity=0, apps=apps, using=schema_editor.connection.alias
    )
    permissions = apps.get_model("auth", "Permission").objects.filter(content_type__app_label="checks")
    for name, wanted in ROLES.items():
        group, _ = apps.get_model("auth", "Group").objects.get_or_create(name=name)
        group.permissions.add(*permissions.filter(codename__in=wanted))


class Migration(migrations.Migration):
    dependencies = [("checks", "0020_work_packages")]

    operations = [migrations.RunPython(widen, migrations.RunPython.noop)]
