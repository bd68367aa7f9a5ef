"""The record chains: each act is one link, hashed together with the link before it."""

import datetime as dt
import json
from typing import Any

from django.db import models, transaction

from checks.engine.canonical import FORM_VERSION, GENESIS, canonical_json, record_hash
from checks.models import ChainHead, CheckEvent, Record
from fleet.models import Aircraft

OPERATOR = "operator"
# The parts of an event by the name that they have in its record, each in an order that never varies.
PARTS = {
    "readings": ("step_id", "sequence"),
    "observations": ("step_id", "position_id", "pk"),
    "cautions_followed": ("step_id",),
    "results": ("point_id",),
    "resets": ("point_id",),
}
# Parts that came later. The record of an event without such rows names no such part, as before: form v1
# stays what it was.
LATER_PARTS = {
    "photos": ("pk",),
    "handovers": ("pk",),
    "first_readings": ("step_id", "sequence"),
    "questions": ("step_id",),
}


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


def event_payload(event: CheckEvent) -> dict[str, Any]:
    """Everything of an event: its row, every row that is part of it, and the names that it was done under.

    Read afresh, so that both engines and any later year give the same text. Twelve queries.
    """
    stored = CheckEvent.objects.select_related("aircraft", "base", "revision__procedure").get(pk=event.pk)
    revision = stored.revision
    payload: dict[str, Any] = {
        "event": row(stored),
        "names": {
            "aircraft": stored.aircraft.registration,
            "serial_number": stored.aircraft.serial_number,
            "base": stored.base.name,
            "procedure": revision.procedure.title,
            "revision": revision.number,
            "source_reference": revision.source_reference,
        },
    }
    for name, order in PARTS.items():
        payload[name] = [row(part) for part in getattr(stored, name).order_by(*order)]
    for name, order in LATER_PARTS.items():
        rows = [row(part) for part in getattr(stored, name).order_by(*order)]
        payload |= {name: rows} if rows else {}
    payload["instruments"] = _instruments(stored)
    return payload


def _instruments(event: CheckEvent) -> list[dict[str, Any]]:
    """Which instruments were read, with the calibration that covered the day: a record says it by itself."""
    used = event.readings.exclude(instrument=None).distinct()
    names = {
        "code": "instrument__code",
        "serial_number": "instrument__serial_number",
        "unit": "instrument__unit",
        "certificate_number": "calibration__certificate_number",
        "calibrated_on": "calibration__calibrated_on",
        "calibration_due": "calibration__due_on",
    }
    used = used.order_by("instrument__code", "calibration__calibrated_on")
    return [dict(zip(names, values, strict=True)) for values in used.values_list(*names.values())]


def verify_chain(head: ChainHead) -> list[str]:
    """What is wrong with a chain, the first broken link first; an empty list means that it holds.

    Every link's text is hashed anew. Reads the chain in pieces, so its length costs no memory.
    """
    previous, number = GENESIS, 0
    for record in head.records.order_by("number").iterator(chunk_size=500):
        number += 1
        fault = _fault(record, number, previous)
        if fault:
            return [f"link {number}: {fault}"]
        previous = record.hash
    if (head.number, head.hash) != (number, previous):
        return [f"the head names link {head.number}, the newest link is {number}"]
    return []


def verify_event(event: CheckEvent) -> list[str]:
    """Whether the rows of a signed event are still those of its record; names each part that differs."""
    signature = event.signatures.filter(act__in=("performed", "accepted")).select_related("record").first()
    if signature is None:
        return ["there is no record of its signing"]
    recorded = json.loads(signature.record.canonical)
    stored = json.loads(canonical_json(event_payload(event)))
    return [
        f"{part} differ from what was signed"
        for part in ("event", *PARTS, *LATER_PARTS)
        if recorded.get(part) != stored.get(part)
    ]


def _fault(record: Record, number: int, previous: str) -> str:
    if record.number != number:
        return f"missing; the next one found is {record.number}"
    if record.previous_hash != previous:
        return "does not follow the link before it"
    if record.hash != record_hash(previous, record.canonical):
        return "its text is not the one that was hashed"
    told = json.loads(record.canonical)
    if (told["number"], told["act"], told["form"]) != (record.number, record.act, record.form):
        return "its number, act or form is not the one in its text"
    return ""
