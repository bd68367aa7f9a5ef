"""What the database refuses for signed history. Read from the models, so that a new row kind is a name here.

Conditions are SQL over NEW and OLD that both engines read; fleet/guards.py turns them into triggers.
"""

from collections.abc import Iterator

from django.db.models import Model

from checks import models
from fleet.guards import VERBS, Guard

SIGNED = "a signed check is final: correct it by a new signed entry"
APPROVED = "an approved revision is never edited: type a new revision"
APPROVED_ITEM = "an approved MEL item is never edited: type a revised one"
APPROVED_INTERVAL = "an approved interval revision is never edited: type a new one"
APPENDED = "is appended and never changed"

# Rows that are written once. Whatever comes later is a row of its own.
WRITTEN_ONCE = (
    models.CauseFound,
    models.Record,
    models.Signature,
    models.Decision,
    models.Defect,
    models.Deferral,
    models.DefectRelease,
    models.Extension,
    models.ExtensionAnswer,
    models.FerryPermit,
    models.OutsideRelease,
    models.PackageChange,
    models.PartOrder,
    models.Rectification,
    models.InstrumentFinding,
    models.DoubtReview,
    models.StockMovement,
    models.FluidMix,
)


def rules() -> list[Guard]:
    """Every guard of signed and approved rows."""
    return [
        *_frozen(models.CheckEvent, """{row}."state" = 'signed'""", SIGNED),
        *_frozen(models.Revision, '{row}."approved_at" IS NOT NULL', APPROVED),
        *_frozen(models.IntervalRevision, '{row}."approved_at" IS NOT NULL', APPROVED_INTERVAL),
        *_frozen(models.MelItem, '{row}."approved_at" IS NOT NULL', APPROVED_ITEM),
        *_written_once(),
        *_added_not_changed(),
        *_packages(),
        *_chain(),
    ]


def owned(parent: type[Model]) -> list[tuple[type[Model], str]]:
    """The models whose rows are part of a parent row (they cascade from it), with their key column; those
    that only link it to others too."""
    parts = [
        (relation.related_model, relation.field.column)
        for relation in parent._meta.related_objects
        if relation.on_delete.__name__ == "CASCADE" and relation.related_model is not parent
    ]
    for linked in parent._meta.local_many_to_many:
        parts.append((linked.remote_field.through, linked.m2m_column_name()))
    return sorted(parts, key=lambda pair: pair[0]._meta.db_table)


def _frozen(parent: type[Model], condition: str, message: str) -> Iterator[Guard]:
    """A parent row that meets the condition, and all that is part of it, can't be changed or deleted."""
    table, key = parent._meta.db_table, parent._meta.pk.column
    when = condition.format(row="OLD")
    yield Guard(table, "update", message, when)
    yield Guard(table, "delete", message, when)
    of_parent = f'SELECT 1 FROM "{table}" p WHERE p."{key}" = {{value}} AND {condition.format(row="p")}'
    yield from _frozen_parts(parent, of_parent, message)


def _frozen_parts(parent: type[Model], of_parent: str, message: str) -> Iterator[Guard]:
    """Guards of the rows that belong to a parent, and of those that belong to these.

    of_parent: a query with {value} for the parent's key, which finds a row where the parent is frozen.
    """
    for model, column in owned(parent):
        table, key = model._meta.db_table, model._meta.pk.column

        def frozen(row: str, column: str = column) -> str:
            value = f'{row}."{column}"'
            return f"EXISTS ({of_parent.format(value=value)})"

        for verb in VERBS:
            rows = {"insert": ("NEW",), "delete": ("OLD",), "update": ("OLD", "NEW")}[verb]
            yield Guard(table, verb, message, " OR ".join(frozen(row) for row in rows))
        # One level further down: the part is found by its own key, then its parent is asked.
        of_part = f'SELECT 1 FROM "{table}" c WHERE c."{key}" = {{value}} AND {frozen("c")}'
        yield from _frozen_parts(model, of_part, message)


def _written_once() -> Iterator[Guard]:
    for model in WRITTEN_ONCE:
        message = f"a {model._meta.verbose_name} {APPENDED}"
        yield Guard(model._meta.db_table, "update", message)
        yield Guard(model._meta.db_table, "delete", message)


def _added_not_changed() -> Iterator[Guard]:
    """Rows of a draft that may come and go with it, but are never changed: photos, and handovers but for
    the receiver's acceptance. Once the check is signed its own guards hold."""
    photo, handover = models.Photo._meta, models.Handover._meta
    yield Guard(photo.db_table, "update", "a photo is added or removed and never changed", name="kept")
    columns = [field.column for field in handover.concrete_fields]
    same = " OR ".join(
        f'NEW."{column}" <> OLD."{column}"'
        for column in columns
        if column not in ("accepted_at", "open_steps")
    )
    yield Guard(
        handover.db_table,
        "update",
        "a handover is accepted once and never changed",
        f'OLD."accepted_at" IS NOT NULL OR NEW."accepted_at" IS NULL OR {same}',
        name="kept",
    )


def _packages() -> Iterator[Guard]:
    """A work package that was accepted once is withdrawn, never deleted; a proposal comes and goes."""
    table = models.WorkPackage._meta.db_table
    yield Guard(
        table,
        "delete",
        "an accepted work package is withdrawn and never deleted",
        """OLD."state" <> 'proposed'""",
    )
    yield Guard(
        table,
        "update",
        "an accepted work package is no proposal again",
        """OLD."state" <> 'proposed' AND NEW."state" = 'proposed'""",
    )


def _chain() -> Iterator[Guard]:
    """A link follows the link before it; the head moves on by one link and nothing else of it changes."""
    head, record = models.ChainHead._meta.db_table, models.Record._meta.db_table
    link = (
        f'SELECT 1 FROM "{record}" r WHERE r."chain_id" = {{chain}} AND r."number" = {{number}} '
        'AND r."hash" = {hash}'
    )
    before = link.format(chain='NEW."chain_id"', number='NEW."number" - 1', hash='NEW."previous_hash"')
    newest = link.format(chain='NEW."id"', number='NEW."number"', hash='NEW."hash"')
    yield Guard(
        record,
        "insert",
        "a record follows the record before it",
        f'NEW."number" < 1 OR (NEW."number" > 1 AND NOT EXISTS ({before}))',
    )
    yield Guard(head, "delete", "a chain is never deleted")
    yield Guard(head, "insert", "a chain begins without links", 'NEW."number" <> 0')
    yield Guard(
        head,
        "update",
        "the head of a chain moves on by one link",
        'NEW."id" <> OLD."id" OR NEW."owner" <> OLD."owner" '
        'OR COALESCE(NEW."aircraft_id", 0) <> COALESCE(OLD."aircraft_id", 0) '
        f'OR NEW."number" <> OLD."number" + 1 OR NOT EXISTS ({newest})',
    )
