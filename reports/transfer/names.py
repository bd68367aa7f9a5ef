"""Rows of the framework by name instead of key: groups, permissions, kinds of row."""

from typing import Any

from django.contrib.auth.models import Group, Permission
from django.contrib.contenttypes.models import ContentType
from django.db import models


def names_of(model: type[models.Model]) -> dict[int, str]:
    """Key -> name of every row. One query."""
    if model is Group:
        return dict(Group.objects.values_list("pk", "name"))
    if model is ContentType:
        return {
            pk: f"{app}.{kind}"
            for pk, app, kind in ContentType.objects.values_list("pk", "app_label", "model")
        }
    rows = Permission.objects.values_list("pk", "content_type__app_label", "codename")
    return {pk: f"{app}.{code}" for pk, app, code in rows}


def groups() -> list[dict[str, Any]]:
    """The groups in order of name, each with its permissions by name."""
    named = names_of(Permission)
    return [
        {"name": group.name, "permissions": sorted(named[one.pk] for one in group.permissions.all())}
        for group in Group.objects.order_by("name").prefetch_related("permissions")
    ]


def put_groups(wanted: list[dict[str, Any]]) -> None:
    """The groups as wanted, and no other. KeyError for a permission that this installation does not know."""
    known = {name: pk for pk, name in names_of(Permission).items()}
    Group.objects.exclude(name__in=[one["name"] for one in wanted]).delete()
    for one in wanted:
        group, _ = Group.objects.get_or_create(name=one["name"])
        group.permissions.set([known[name] for name in one["permissions"]])


def keys_of(model: type[models.Model]) -> dict[str, int]:
    """Name -> key of every row. One query."""
    return {name: pk for pk, name in names_of(model).items()}
