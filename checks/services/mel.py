"""The operator's MEL: typed by one person, approved by another, then frozen (checks/guard_rules.py)."""

from typing import Any

from django.db import transaction
from django.utils import timezone

from checks.models import MelItem
from checks.services.chain import append, locked_head, row
from checks.services.errors import RecordError
from checks.services.kept import whole
from checks.services.persons import may, prove
from fleet.models import User


@transaction.atomic
def type_item(*, by: User, replaces: MelItem | None = None, **fields: Any) -> MelItem:
    """Type an item from the operator's MEL; replaces: the approved one whose place it is to take."""
    may(by, "checks.add_melitem")
    if replaces and not MelItem.objects.in_force().filter(pk=replaces.pk).exists():
        raise RecordError("The item to be replaced is not in force any more. Start from the one that is.")
    if replaces and MelItem.objects.filter(replaces=replaces).exists():
        raise RecordError("A revised item already waits for approval. Change or approve that one.")
    item = MelItem(typed_by=by, replaces=replaces, **fields)
    whole(item)
    item.save(force_insert=True)
    return item


@transaction.atomic
def change_item(*, item: MelItem, by: User, **fields: Any) -> MelItem:
    """Change an item that waits for approval. Who changes it counts as who typed it."""
    may(by, "checks.change_melitem")
    item = _waiting(item)
    for name, value in fields.items():
        setattr(item, name, value)
    item.typed_by = by
    whole(item)
    item.save(update_fields=[*fields, "typed_by"])
    return item


@transaction.atomic
def approve_item(*, item: MelItem, by: User, password: str) -> MelItem:
    """Approve an item as one link of the operator's chain. Not by the person who typed it."""
    at = timezone.now()
    may(by, "checks.approve_melitem")
    prove(by, password)
    locked_head(None)
    item = _waiting(item)
    if item.typed_by_id == by.pk:
        raise RecordError("The person who typed an item can't approve it. Ask another person.")
    item.approved_by, item.approved_at = by, at
    whole(item)
    item.save(update_fields=["approved_by", "approved_at"])
    append(aircraft=None, act="MEL item", payload={"item": row(item)}, at=at)
    return item


def _waiting(item: MelItem) -> MelItem:
    item = MelItem.objects.select_for_update(of=("self",)).get(pk=item.pk)
    if item.approved_at:
        raise RecordError(f"It was approved on {item.approved_at:%d %b %Y}. Type a revised item instead.")
    return item
