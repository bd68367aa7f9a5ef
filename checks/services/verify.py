"""Whether the records still say what was signed: every link, and every row that a link carries.

A chain is read in pieces, and each piece asks a fixed number of queries, so its length costs no memory.
"""

import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db import models

from checks.engine.canonical import GENESIS, canonical_json, record_hash
from checks.models import (
    ChainHead,
    CheckEvent,
    Defect,
    IntervalRevision,
    MelItem,
    Record,
    Revision,
    Signature,
)
from checks.services.chain import row
from checks.services.event_payload import LATER_PARTS, PARTS, event_payloads
from checks.services.procedures import revision_payloads

PIECE = 300
# Rows with a link of their own, by act: the row as seen from the record, and the name of its columns there.
LINKED = {
    "deferral": ("deferral", "deferral"),
    "extension asked": ("extension", "extension"),
    "extension answer": ("extension_answer", "answer"),
    "rectification": ("rectification", "rectification"),
    "ferry permit": ("ferry_permit", "permit"),
    "defect release": ("defect_release", "release"),
    "instrument finding": ("finding", "finding"),
    "doubt review": ("doubt_review", "review"),
}
# Rows that a record names by their key: by act, the name of their columns in the record.
NAMED: dict[str, dict[str, type[models.Model]]] = {
    "defect": {"defect": Defect},
    "MEL item": {"item": MelItem},
    "approval": {"revision": Revision, "interval_revision": IntervalRevision},
}
WHOLE_EVENT = (Signature.Act.PERFORMED, Signature.Act.ACCEPTED)


@dataclass(frozen=True)
class Fault:
    """What is wrong with one link of a chain; number 0: with the chain as a whole."""

    owner: str
    number: int
    text: str

    def __str__(self) -> str:
        return (
            f"{self.owner}, link {self.number}: {self.text}" if self.number else f"{self.owner}: {self.text}"
        )


@dataclass(frozen=True)
class Head:
    """The newest link of a chain: who owns it, its number and hash."""

    owner: str
    number: int
    hash: str


def verify_all(said: Callable[[str, int, int], None] = lambda owner, links, faults: None) -> list[Fault]:
    """Every chain, then what no record tells of. said: told of each chain, its links and faults."""
    faults: list[Fault] = []
    for head in ChainHead.objects.select_related("aircraft").order_by("pk"):
        found = list(verify_records(head))
        said(str(head.aircraft or head.owner), head.number, len(found))
        faults += found
    return faults + list(_untold())


def heads() -> list[Head]:
    """The head of every chain: kept elsewhere they prove the past."""
    return [Head(*row_) for row_ in ChainHead.objects.order_by("pk").values_list("owner", "number", "hash")]


def faults_against(kept: Iterable[Head]) -> Iterator[Fault]:
    """Heads kept earlier that are no link of their chain any more: it was cut or rewritten."""
    for head in kept:
        found = Record.objects.filter(chain__owner=head.owner, number=head.number).first()
        if head.number and (found is None or found.hash != head.hash):
            what = "is missing" if found is None else "is another one"
            yield Fault(head.owner, head.number, f"{what}; the head that was kept is {head.hash[:12]}…")


def verify_records(head: ChainHead) -> Iterator[Fault]:
    """The faults of one chain in its order. After the first broken link nothing can be said of later links;
    the rows that later records carry are still compared with them."""
    owner, previous, number, whole = str(head.aircraft or head.owner), GENESIS, 0, True
    for piece in _pieces(head.records.order_by("number")):
        try:
            compared = _Rows(piece)
        except (ValueError, ArithmeticError, TypeError) as error:
            compared = None
            text = f"a row of this record or of one of the next {len(piece) - 1} can't be read: {error}"
            yield Fault(owner, number + 1, text)
        for record in piece:
            number += 1
            fault = _link_fault(record, number, previous, head.owner) if whole else ""
            if fault:
                whole = False
                yield Fault(owner, number, fault)
            previous = record.hash
            for text in compared.faults(record) if compared else ():
                yield Fault(owner, record.number, text)
    if whole and (head.number, head.hash) != (number, previous):
        yield Fault(owner, 0, f"the head names link {head.number}, the newest link is {number}")
    if head.owner != (f"aircraft {head.aircraft_id}" if head.aircraft_id else "operator"):
        yield Fault(owner, 0, "the chain is filed under another owner")


def verify_chain(head: ChainHead) -> list[str]:
    """What is wrong with a chain in words; an empty list means that it holds."""
    return [f"link {one.number}: {one.text}" if one.number else one.text for one in verify_records(head)]


def verify_event(event: CheckEvent) -> list[str]:
    """Whether the rows of a signed event are still those of its record; names each part that differs."""
    signature = event.signatures.filter(act__in=WHOLE_EVENT).select_related("record").first()
    if signature is None:
        return ["there is no record of its signing"]
    return list(
        _event_faults(json.loads(signature.record.canonical), event_payloads([event.pk]).get(event.pk))
    )


def _pieces(records: models.QuerySet[Record]) -> Iterator[list[Record]]:
    piece: list[Record] = []
    for record in records.iterator(chunk_size=PIECE):
        piece.append(record)
        if len(piece) == PIECE:
            yield piece
            piece = []
    yield piece


def _link_fault(record: Record, number: int, previous: str, owner: str) -> str:
    if record.number != number:
        return f"missing; the next one found is {record.number}"
    if record.previous_hash != previous:
        return "does not follow the link before it"
    if record.hash != record_hash(previous, record.canonical):
        return "its text is not the one that was hashed"
    told = json.loads(record.canonical)
    stored = {"number": record.number, "act": record.act, "form": record.form, "chain": owner}
    stored["at"] = record.written_at
    if any(told.get(name) != value for name, value in _as_told(stored).items()):
        return "its number, act, form, time or owner is not the one in its text"
    return ""


class _Rows:
    """The rows that the records of one piece carry, read together."""

    def __init__(self, piece: list[Record]) -> None:
        keys = [record.pk for record in piece]
        self.told = {record.pk: _read(record.canonical) for record in piece}
        names = {name for name, _ in LINKED.values()} | {"signature", "decision"}
        self.linked = {name: _by_record(name, keys) for name in names}
        signatures = self.linked["signature"].values()
        self.events = event_payloads({s.event_id for s in signatures if s.act in WHOLE_EVENT})
        self.named = {
            (act, name): self._named(act, name, model, piece)
            for act, models_ in NAMED.items()
            for name, model in models_.items()
        }
        self.approved = revision_payloads(self.named["approval", "revision"].values())

    def _named(
        self, act: str, name: str, model: type[models.Model], piece: list[Record]
    ) -> dict[Any, models.Model]:
        told = [self.told[record.pk].get(name) for record in piece if record.act == act]
        return model.objects.in_bulk([one["id"] for one in told if isinstance(one, dict) and "id" in one])

    def faults(self, record: Record) -> list[str]:
        """What differs between a record and the rows that it carries."""
        try:
            return list(self._faults(record, self.told[record.pk]))
        except (KeyError, TypeError):
            return ["its text does not hold what its act says"]

    def _faults(self, record: Record, told: dict[str, Any]) -> Iterator[str]:
        if record.act in LINKED:
            name, key = LINKED[record.act]
            yield from _row_faults(name.replace("_", " "), told[key], self.linked[name].get(record.pk))
        for name in NAMED.get(record.act, {}):
            if name in told:
                yield from self._named_faults(record.act, name, told)
        if record.act in Signature.Act.values:
            yield from self._signature_faults(record, told)
        if record.act == "decision":
            yield from self._decision_faults(record, told)

    def _named_faults(self, act: str, name: str, told: dict[str, Any]) -> Iterator[str]:
        found = self.named[act, name].get(told[name].get("id"))
        yield from _row_faults(name.replace("_", " "), told[name], found)
        if isinstance(found, IntervalRevision):
            only_on = found.only_on.order_by("registration").values_list("registration", flat=True)
            if told["only_on"] != list(only_on):
                yield "the aircraft that it names differ from those that were approved"
        if isinstance(found, Revision):
            stored = _as_told(self.approved[found.pk])
            yield from (
                f"the {part.replace('_', ' ')} differ from what was approved"
                for part in ("steps", "limit_tables")
                if told.get(part) != stored[part]
            )

    def _signature_faults(self, record: Record, told: dict[str, Any]) -> Iterator[str]:
        found = self.linked["signature"].get(record.pk)
        if found is None:
            yield "the signature is gone"
            return
        signed = told["signature"]
        stored = row(found) | {"person": found.person_id, "at": found.signed_at}
        whole = record.act in WHOLE_EVENT
        event = told["event"]["uuid"] if whole else told["event"]
        if str(found.event_id) != event or any(
            signed[name] != value for name, value in _as_told(stored).items() if name in signed
        ):
            yield "the signature differs from what was signed"
        if whole:
            yield from _event_faults(told, self.events.get(found.event_id))

    def _decision_faults(self, record: Record, told: dict[str, Any]) -> Iterator[str]:
        found = self.linked["decision"].get(record.pk)
        recorded = told["decision"] | {"event": told["event"], "person": told["signature"]["person"]}
        stored = found and {
            "accepted": found.accepted,
            "text": found.text,
            "at": found.decided_at,
            "event": found.event_id,
            "person": found.decided_by_id,
        }
        if not stored or _as_told(stored) != recorded:
            yield "the decision differs from what was signed"


def _by_record(name: str, keys: list[int]) -> dict[int, models.Model]:
    model = Record._meta.get_field(name).related_model
    return {found.record_id: found for found in model.objects.filter(record__in=keys)}


def _row_faults(name: str, told: dict[str, Any], found: models.Model | None) -> Iterator[str]:
    if found is None:
        yield f"the {name} is gone"
        return
    stored = _as_told(row(found))
    decimals = {f.column for f in found._meta.concrete_fields if isinstance(f, models.DecimalField)}
    differing = sorted(
        column
        for column, value in told.items()
        if stored.get(column) != value and not (column in decimals and _equal(stored[column], value))
    )
    if differing:
        yield f"the {name} differs from what was recorded: {', '.join(differing)}"


def _equal(stored: str | None, told: str | None) -> bool:
    """A number was recorded as it was given, and is stored with the places of its column."""
    return None not in (stored, told) and Decimal(stored) == Decimal(told)


def _event_faults(told: dict[str, Any], payload: dict[str, Any] | None) -> Iterator[str]:
    if payload is None:
        yield "the check is gone"
        return
    stored = _as_told(payload)
    for part in ("event", *PARTS, *LATER_PARTS):
        if told.get(part) != stored.get(part):
            yield f"{part.replace('_', ' ')} differ from what was signed"


def _untold() -> Iterator[Fault]:
    """Signed checks that no record tells of."""
    signed = CheckEvent.objects.signed().exclude(signatures__act__in=WHOLE_EVENT)
    for event in signed.select_related("aircraft")[:PIECE]:
        yield Fault(str(event.aircraft), 0, f"there is no record of the signing of check {event.pk}")


def _read(canonical: str) -> dict[str, Any]:
    try:
        told = json.loads(canonical)
    except ValueError:
        return {}
    return told if isinstance(told, dict) else {}


def _as_told(stored: dict[str, Any]) -> dict[str, Any]:
    """Values as they look when read from a record."""
    return json.loads(canonical_json(stored))
