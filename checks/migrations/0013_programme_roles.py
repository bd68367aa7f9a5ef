"""Titles for the tasks that stand, and the rights to modifications for those who have them to aircraft."""

from django.apps import apps as all_apps
from django.contrib.auth.management import create_permissions
from django.db import migrations
from django.db.models import OuterRef, Subquery

READERS = ("maintenance controller", "director of maintenance", "auditor")
MODELS = ("modification", "embodiment")


def title_tasks(apps, schema_editor):
    procedures = apps.get_model("checks", "Procedure").objects.filter(pk=OuterRef("procedure"))
    tasks = apps.get_model("checks", "RecurringCheck").objects.filter(title="")
    tasks.update(title=Subquery(procedures.values("title")[:1]))


def let_roles(apps, schema_editor):
    create_permissions(
        all_apps.get_app_config("fleet"), verbosity=0, apps=apps, using=schema_editor.connection.alias
    )
    permissions = apps.get_model("auth", "Permission").objects.filter(content_type__app_label="fleet")
    for group in apps.get_model("auth", "Group").objects.filter(name__in=READERS):
        verbs = ("view", "add", "change") if group.name == READERS[0] else ("view",)
        names = [f"{verb}_{model}" for verb in verbs for model in MODELS]
        group.permissions.add(*permissions.filter(codename__in=names))


class Migration(migrations.Migration):
    dependencies = [("checks", "0012_programme_terms"), ("fleet", "0006_modifications")]

    operations = [
        migrations.RunPython(title_tasks, migrations.RunPython.noop),
        migrations.RunPython(let_roles, migrations.RunPython.noop),
    ]
