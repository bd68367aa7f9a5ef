"""The roles of design: groups with their permissions. A later change of roles is a later migration."""

from django.apps import apps as all_apps
from django.contrib.auth.management import create_permissions
from django.db import migrations

READ_FLEET = [
    "aircraft",
    "authorisation",
    "base",
    "calibration",
    "fitment",
    "fluidbatch",
    "instrument",
    "measuringpoint",
    "operator",
    "part",
    "position",
    "referencerow",
    "utilisationentry",
    "variant",
]
READ_CHECKS = ["limitrow", "limittable", "procedure", "recurringcheck", "revision", "step", "importbatch"]
READ = [f"fleet.view_{m}" for m in READ_FLEET] + [f"checks.view_{m}" for m in READ_CHECKS]


def write(label: str, *names: str) -> list[str]:
    """Add and change, which is all that master data needs: nothing is deleted once it was used."""
    return [f"{label}.{verb}_{name}" for name in names for verb in ("add", "change")]


ROLES = {
    "technician": ["checks.view_records", "checks.record_check", "checks.raise_defect"],
    "inspector": ["checks.view_records", "checks.inspect_check", "checks.raise_defect"],
    "authorised releaser": [
        "checks.view_records",
        "checks.release_check",
        "checks.rectify_defect",
        "checks.decide_reading",
        "checks.raise_defect",
    ],
    "maintenance controller": [
        "checks.view_records",
        "checks.raise_defect",
        "checks.defer_defect",
        "checks.accept_import",
        *READ,
        *write("fleet", "aircraft", "part", "fitment", "instrument", "calibration", "fluidbatch"),
        "fleet.add_utilisationentry",
        *write("checks", "recurringcheck", "procedure", "revision", "step", "limittable", "limitrow"),
        *[f"checks.delete_{name}" for name in ("step", "limittable", "limitrow")],
    ],
    "director of maintenance": [
        "checks.view_records",
        "checks.raise_defect",
        "checks.approve_revision",
        *READ,
        "fleet.view_user",
        *write(
            "fleet", "user", "authorisation", "base", "variant", "position", "measuringpoint", "referencerow"
        ),
        "fleet.change_operator",
        "fleet.add_operator",
    ],
    "auditor": ["checks.view_records", "fleet.view_user", *READ],
}


def make_roles(apps, schema_editor):
    for label in ("fleet", "checks"):
        create_permissions(
            all_apps.get_app_config(label), verbosity=0, apps=apps, using=schema_editor.connection.alias
        )
    Group = apps.get_model("auth", "Group")
    Permission = apps.get_model("auth", "Permission")
    known = {
        f"{p.content_type.app_label}.{p.codename}": p
        for p in Permission.objects.select_related("content_type")
    }
    for name, wanted in ROLES.items():
        group, _ = Group.objects.get_or_create(name=name)
        group.permissions.add(*[known[permission] for permission in wanted])


class Migration(migrations.Migration):
    dependencies = [
        ("checks", "0002_initial"),
        ("fleet", "0001_initial"),
        ("auth", "0012_alter_user_first_name_max_length"),
        ("contenttypes", "0002_remove_content_type_name"),
    ]

    operations = [migrations.RunPython(make_roles, migrations.RunPython.noop)]
