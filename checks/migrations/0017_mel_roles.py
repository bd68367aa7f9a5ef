"""Who types the MEL, who approves it, and who approves an extension."""

from django.apps import apps as all_apps
from django.contrib.auth.management import create_permissions
from django.db import migrations

ROLES = {
    "maintenance controller": ["add_melitem", "change_melitem", "view_melitem"],
    "director of maintenance": ["approve_melitem", "approve_extension", "view_melitem"],
    "auditor": ["view_melitem"],
}


def give(apps, schema_editor):
    using = schema_editor.connection.alias
    create_permissions(all_apps.get_app_config("checks"), verbosity=0, apps=apps, using=using)
    Group = apps.get_model("auth", "Group")
    Permission = apps.get_model("auth", "Permission")
    for name, codenames in ROLES.items():
        found = Permission.objects.filter(content_type__app_label="checks", codename__in=codenames)
        Group.objects.get(name=name).permissions.add(*found)


class Migration(migrations.Migration):
    dependencies = [("checks", "0016_mel_and_papers")]

    operations = [migrations.RunPython(give, migrations.RunPython.noop)]
