"""What an audit pack of one aircraft holds, for a period or its whole life: links, checks, tables, files.

The texts of the links are read when the pack is written, one at a time (reports/pack_making.py).
"""

import datetime as dt
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from checks.engine.canonical import GENESIS
from checks.forms.check_filter import with_states
from checks.models import ChainHead, CheckEvent, Record
from checks.services.chain import OPERATOR
from checks.services.verify import WHOLE_EVENT, verify_records
from checks.views.check_records import word
from fleet.models import Aircraft, Operator
from reports.pack_tables import FileLine, Span, files_of, pack_tables


@dataclass(frozen=True)
class LinkLine:
    """One link of a chain. in_period: written in the period, or of work done in it; others stand in the pack
    so that the chain can be followed up to its head."""

    key: int
    number: int
    act: str
    at: dt.datetime
    hash: str
    previous_hash: str
    in_period: bool

    @property
    def file(self) -> str:
        return f"{self.number:05d}.json"


@dataclass(frozen=True)
class CheckLine:
    """One signed check of the pack, with the link of its signing, under whose number its paper lies."""

    uuid: UUID
    number: int
    on: dt.date
    task: str
    revision: str
    outcome: str
    state: str

    @property
    def file(self) -> str:
        return f"records/{self.number:05d}.pdf"


@dataclass(frozen=True)
class AuditPack:
    """Everything but the texts. head: number and hash of the newest link; faults: what does not hold."""

    aircraft: Aircraft
    operator: str
    is_demo: bool
    made_at: dt.datetime
    made_by: str
    span: Span
    owner: str
    head: tuple[int, str]
    links: tuple[LinkLine, ...]
    operator_links: tuple[LinkLine, ...]
    checks: tuple[CheckLine, ...]
    tables: dict[str, list[dict[str, Any]]]
    files: tuple[FileLine, ...]
    faults: tuple[str, ...]

    @property
    def proves(self) -> tuple[str, ...]:
        """What following the chain in this pack shows, in words for page, paper and the file beside it."""
        return proves(self.links, self.head[0])


def proves(links: tuple[LinkLine, ...], newest: int) -> tuple[str, ...]:
    """The same of links, whose newest of the whole chain has the number."""
    if not links:
        return ("This aircraft has no record in the period, so the pack proves nothing about records.",)
    told = [
        f"Links {links[0].number} to {newest} are here word for word, each hashed with the one before it."
    ]
    if links[0].number == 1:
        told.append("That is the whole chain from its beginning.")
    else:
        told.append(
            f"What came before link {links[0].number} is represented by its hash alone: the pack shows that "
            "these links follow something with that hash, not what it said."
        )
    if not all(link.in_period for link in links):
        told.append(
            "Those after the period have no sheet of their own: they stand here so that the chain reaches "
            "its head, which can be compared with a hash kept elsewhere."
        )
    return tuple(told)


@transaction.atomic
def audit_pack(aircraft: Aircraft, span: Span, *, made_by: str, now: dt.datetime | None = None) -> AuditPack:
    """What the pack holds as of now. A fixed number of queries but for the chain, which is verified whole.

    The head stays locked meanwhile: a record that is signed now waits, and can't look like a fault.
    """
    now, operator = now or timezone.now(), Operator.current()
    head = ChainHead.objects.select_for_update().filter(aircraft=aircraft).first()
    checks = _checks(aircraft, span, head)
    links = _links(head, span, {check.uuid for check in checks})
    events = [check.uuid for check in checks]
    tables = pack_tables(aircraft, span, events, now)
    return AuditPack(
        aircraft=aircraft,
        operator=operator.name,
        is_demo=operator.is_demo,
        made_at=timezone.localtime(now),
        made_by=made_by,
        span=span,
        owner=head.owner if head else f"aircraft {aircraft.pk}",
        head=(head.number, head.hash) if head else (0, GENESIS),
        links=links,
        operator_links=tuple(_operator_links(events, tables)),
        checks=checks,
        tables=tables,
        files=files_of(aircraft, span, events),
        faults=tuple(map(str, verify_records(head))) if head else (),
    )


def _checks(aircraft: Aircraft, span: Span, head: ChainHead | None) -> tuple[CheckLine, ...]:
    """Signed checks of work done in the period, or signed in it; superseded ones too."""
    if head is None:
        return ()
    found = CheckEvent.objects.signed().filter(aircraft=aircraft)
    found = found.filter(span.within("work_date") | span.at("signed_at"))
    found = with_states(found).select_related("aircraft", "base", "revision__procedure")
    numbers = dict(
        Record.objects.filter(
            chain=head, signature__act__in=WHOLE_EVENT, number__lte=head.number
        ).values_list("signature__event", "number")
    )
    lines = [
        CheckLine(
            uuid=event.pk,
            number=numbers[event.pk],
            on=event.work_date,
            task=event.revision.procedure.title,
            revision=event.revision.number,
            outcome=event.outcome,
            state=word(event),
        )
        for event in found
        if event.pk in numbers
    ]
    return tuple(sorted(lines, key=lambda line: line.number))


_LINK = ("pk", "number", "act", "written_at", "hash", "previous_hash")


def _links(head: ChainHead | None, span: Span, events: set[UUID]) -> tuple[LinkLine, ...]:
    """From the first link of the period to the head."""
    if head is None:
        return ()
    inside = set(head.records.filter(span.at("written_at")).values_list("number", flat=True))
    inside |= set(head.records.filter(signature__event__in=events).values_list("number", flat=True))
    if not inside:
        return ()
    rows = head.records.filter(number__gte=min(inside), number__lte=head.number).order_by("number")
    return tuple(LinkLine(*row, row[1] in inside) for row in rows.values_list(*_LINK))


def _operator_links(events: list[UUID], tables: dict[str, list[dict[str, Any]]]) -> Iterator[LinkLine]:
    """Links of the operator's chain that say what the records of the pack rest on: revisions followed, the
    MEL items deferred under, what was found of the instruments and how its checks were reviewed. Each is
    proven by its own hash and the one before it. The chain is read through, one link in memory."""
    revisions = set(CheckEvent.objects.filter(pk__in=events).values_list("revision", flat=True))
    items = {deferral["item_id"] for defect in tables["defects"] for deferral in defect["deferrals"]}
    codes = {instrument["code"] for instrument in tables["instruments"]}
    checks = {str(event) for event in events}
    wanted: dict[str, Callable[[dict[str, Any]], bool]] = {
        "approval": lambda told: told.get("revision", {}).get("id") in revisions,
        "MEL item": lambda told: told["item"]["id"] in items,
        "instrument finding": lambda told: told["instrument"] in codes,
        "doubt review": lambda told: told["review"]["event_id"] in checks,
    }
    records = Record.objects.filter(chain__owner=OPERATOR, act__in=wanted).order_by("number")
    for record in records.iterator(chunk_size=100):
        if wanted[record.act](json.loads(record.canonical)):
            yield LinkLine(*(getattr(record, name) for name in _LINK), True)
