"""Which tables an export holds, in which order, and how their values are written in JSON.

Order: a table comes after those that its keys point to, so that a row is read after what it names. Four
tables come last although others point to them: signed checks and approved revisions, interval revisions and
MEL items are closed by the guards, which refuse any part that comes after its whole.
"""

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.apps import apps
from django.contrib.auth.models import Group, Permission
from django.contrib.contenttypes.models import ContentType
from django.db import models

from checks.models import CalendarFeed, CheckEvent, IntervalRevision, MelItem, Photo, Revision
from fleet.models import User

APPS = ("fleet", "checks", "admin")
WHOLES = (Revision, IntervalRevision, MelItem, CheckEvent)
#: nobody's secrets: table -> columns that are not written
SECRET = {User: ("password", "last_login")}
LEFT_OUT = {
    CalendarFeed: "private addresses of calendars: each is made anew",
}
OTHERS_LEFT_OUT = (
    "passwords and the moments of log-in: people come back unable to log in until a password is set",
    "sessions, log-in attempts, and the framework's own lists of tables and permissions",
)
#: rows of the framework have other keys in every installation, so they are named
NAMED = {Group: ("name",), ContentType: ("app_label", "model"), Permission: ("content_type", "codename")}

Model = type[models.Model]


@dataclass(frozen=True)
class Column:
    """One column of a table in the export. names: the framework's model whose row it names, or None."""

    field: models.Field
    names: Model | None

    @property
    def name(self) -> str:
        return self.field.name if self.names else self.field.column


@dataclass(frozen=True)
class Table:
    """One table of the export, in its place."""

    number: int
    model: Model
    columns: tuple[Column, ...]

    @property
    def file(self) -> str:
        return f"data/{self.number:02d}-{self.model._meta.label_lower}.jsonl"


def tables() -> list[Table]:
    """Every table of the export but the groups, in order."""
    return [Table(number, model, tuple(_columns(model))) for number, model in enumerate(_ordered(), start=1)]


def _columns(model: Model) -> Iterator[Column]:
    for field in model._meta.local_concrete_fields:
        if field.column not in SECRET.get(model, ()):
            related = field.related_model if field.remote_field else None
            yield Column(field, related if related in NAMED else None)


def wholes_first(every: Sequence[Model]) -> list[Model]:
    """The models of `every`, those that keys point to before those with the keys; a ring is cut anywhere."""
    found: list[Model] = []
    seen: set[Model] = set()

    def visit(model: Model) -> None:
        if model in seen or model not in every:
            return
        seen.add(model)
        for field in model._meta.local_fields:
            if field.remote_field:
                visit(field.related_model)
        found.append(model)

    for model in every:
        visit(model)
    return found


def _ordered() -> list[Model]:
    """The models, those pointed to first, the wholes that are closed last."""
    every = [
        model
        for app in APPS
        for model in apps.get_app_config(app).get_models(include_auto_created=True)
        if model._meta.managed and model not in LEFT_OUT
    ]
    found = wholes_first(every)
    return [m for m in found if m not in WHOLES] + [m for m in found if m in WHOLES]


def file_columns() -> list[tuple[Model, str]]:
    """Columns that name a file in the media folder."""
    found = [
        (table.model, column.field.attname)
        for table in tables()
        for column in table.columns
        if isinstance(column.field, models.FileField)
    ]
    return [*found, (Photo, "stored")]


def plain(value: Any) -> Any:
    """A value of a column in JSON's own types. Decimals are texts with their places, times UTC with six
    digits, days ISO 8601; numbers of the statistics are JSON numbers, and structures are as they are."""
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ").rjust(27, "0")
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, UUID):
        return str(value)
    return value


def description() -> list[dict[str, Any]]:
    """Every table with its columns in words, as it stands in the export beside the data."""
    return [
        {
            "file": table.file,
            "table": str(table.model._meta.verbose_name_plural),
            "columns": [_described(column) for column in table.columns],
        }
        for table in tables()
    ]


def _described(column: Column) -> dict[str, Any]:
    field = column.field
    related = field.related_model if field.remote_field else None
    return {
        "name": column.name,
        "type": field.get_internal_type(),
        "may_be_null": field.null,
        "refers_to": related._meta.label_lower if related else "",
        "words": str(field.help_text or field.verbose_name),
    }
