"""The record chains: each act is one link, hashed together with the link before it."""

import datetime as dt
from typing import Any

from django.db import models, transaction

from checks.engine.canonical import FORM_VERSION, GENESIS, canonical_json, record_hash
from checks.models import ChainHead, Record
from fleet.models import Aircraft

OPERATOR = "operator"


@transaction.atomic
def append(*, aircraft: Aircraft | None, act: str, payload: dict[str, Any], at: dt.datetime) -> Record:
    """Add one link to the aircraft's chain, or to the operator's (None), and move the head on.

    The head's row stays locked until the caller's transaction ends, so that a chain can't fork. Four
    queries, five for the first link.
    """
    head = locked_head(aircraft)
    number = head.number + 1
    canonical = canonical_json(
        {"act": act, "at": at, "chain": head.owner, "form": FORM_VERSION, "number": number} | payload
    )
    record = Record.objects.create(
        chain=head,
        number=number,
        act=act,
        form=FORM_VERSION,
        canonical=canonical,
        previous_hash=head.hash,
        hash=record_hash(head.hash, canonical),
        written_at=at,
    )
    head.number, head.hash = number, record.hash
    head.save(update_fields=["number", "hash"])
    return record


def locked_head(aircraft: Aircraft | None) -> ChainHead:
    """The head of the chain with its row locked; the chain begins here where there is none yet."""
    owner = f"aircraft {aircraft.pk}" if aircraft else OPERATOR
    heads = ChainHead.objects.select_for_update()
    head = heads.filter(owner=owner).first()
    if head is None:
        # Two at once: the unique owner lets one of them make it, and the other waits for it here.
        ChainHead.objects.bulk_create(
            [ChainHead(owner=owner, aircraft=aircraft, hash=GENESIS)], ignore_conflicts=True
        )
        head = heads.get(owner=owner)
    return head


def row(instance: models.Model) -> dict[str, Any]:
    """Every column of a row as stored, by column name."""
    return {field.column: getattr(instance, field.attname) for field in instance._meta.concrete_fields}
