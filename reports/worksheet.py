"""A blank worksheet: what of a procedure's revision is printed, and every box to fill by hand.

Nothing about any one procedure stands here: like the page of a check, the sheet comes from the steps.
"""

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from django.db.models import QuerySet
from django.utils import timezone

from checks.models import CheckEvent, LimitTable, Procedure, Revision, Step
from checks.selectors.revisions import EFFECTIVE, taken_by, with_states
from checks.services.rows import MEASURING
from fleet.models import Aircraft, Operator, Position
from reports.worksheet_steps import Block, Box, Heed, Task, blocks_of

__all__ = ["Block", "Box", "Heed", "Place", "Task", "Worksheet", "revisions", "worksheet"]

#: lines to write on; not counted as boxes
REMARK_LINES = 4


@dataclass(frozen=True)
class Place:
    """Where a person signs on paper. asked: whether the procedure asks for this signature at all."""

    title: str
    asked: bool
    boxes: tuple[Box, ...]


@dataclass(frozen=True)
class Worksheet:
    """One revision for one aircraft, to be printed and filled in by hand.

    link: what the QR code opens; link_words: what that is. stamp: words about a revision that is
    not in force, or not for long; empty for others.
    """

    operator: str
    is_demo: bool
    made_at: dt.datetime
    title: str
    registration: str
    serial_number: str
    aircraft_type: str
    variant: str
    base: str
    procedure_code: str
    revision: str
    effective_on: dt.date
    source_reference: str
    jasc: str
    extent: str
    in_force: bool
    stamp: str
    link: str
    link_words: str
    work: tuple[Box, ...]
    blocks: tuple[Block, ...]
    conditions: tuple[Box, ...]
    put_back: tuple[tuple[str, Box], ...]
    places: tuple[Place, ...]

    @property
    def boxes(self) -> int:
        """How many boxes a person fills or ticks by hand, the signature places included; what is printed
        in a box already is not counted."""
        loose = [*self.work, *self.conditions, *(box for _, box in self.put_back)]
        loose += [box for place in self.places if place.asked for box in place.boxes]
        loose += [box for block in self.blocks for box in block.boxes]
        return sum(not box.printed for box in loose)


def revisions() -> QuerySet[Revision]:
    """Revisions with what a worksheet names of them, and their state today."""
    return with_states(Revision.objects.select_related("procedure__variant"), timezone.localdate())


def worksheet(
    revision: Revision,
    aircraft: Aircraft,
    *,
    link: str,
    draft: CheckEvent | None = None,
    now: dt.datetime | None = None,
) -> Worksheet:
    """The sheet of a revision of `revisions` for an aircraft of its variant, with variant and base fetched.

    draft: the check already begun that the sheet belongs to. Six queries, however long the procedure.
    """
    operator, procedure = Operator.current(), revision.procedure
    steps = list(revision.steps.select_related("point").order_by("number"))
    positions = list(Position.objects.filter(variant=aircraft.variant_id))
    stored = revision.limit_tables.select_related("point").prefetch_related("rows").order_by("point__order")
    return Worksheet(
        operator=operator.name,
        is_demo=operator.is_demo,
        made_at=timezone.localtime(now),
        title=procedure.title,
        registration=aircraft.registration,
        serial_number=aircraft.serial_number,
        aircraft_type=aircraft.type_name,
        variant=aircraft.variant.name,
        base=aircraft.base.name,
        procedure_code=procedure.code,
        revision=revision.number,
        effective_on=revision.effective_on,
        source_reference=revision.source_reference,
        jasc=procedure.jasc,
        extent=procedure.extent if procedure.is_inspection else "",
        in_force=revision.now_is == EFFECTIVE,
        stamp=_stamp(revision),
        link=link,
        link_words=_link_words(draft),
        work=tuple(_work(draft)),
        blocks=tuple(_blocks(steps, positions, stored)),
        conditions=tuple(_conditions(steps, positions)),
        put_back=tuple(_put_back(steps)),
        places=tuple(_places(procedure)),
    )


def _blocks(steps: list[Step], positions: list[Position], stored: Iterable[LimitTable]) -> Iterator[Block]:
    return blocks_of(steps, positions, {table.point_id: table for table in stored})


def _stamp(revision: Revision) -> str:
    """One query, of the revision that takes its place."""
    later = taken_by(revision)
    if revision.now_is == EFFECTIVE:
        return f"Until {_day_before(later.effective_on)} only: then revision {later.number}." if later else ""
    after = f" Revision {later.number} took its place." if later and revision.approved_at else ""
    return f"NOT IN FORCE: this revision is {revision.now_is}. Not for work on an aircraft.{after}"


def _day_before(on: dt.date) -> str:
    return f"{on - dt.timedelta(days=1):%d %b %Y}"


def _link_words(draft: CheckEvent | None) -> str:
    if draft is None:
        return "Starts this check on a phone or at a desk"
    return f"Opens the check begun by {draft.started_by} for {draft.work_date:%d %b %Y}"


def _work(draft: CheckEvent | None) -> Iterator[Box]:
    """When, where, at which totals: printed where the draft knows, as the page of the check shows them."""
    yield Box("Date of work", f"{draft.work_date:%d %b %Y}" if draft else "")
    yield Box("Where the work is done", draft.base.name if draft else "")
    yield Box("Total flight hours", _total(draft and draft.hours))
    yield Box("Total landings", _total(draft and draft.landings))


def _total(value: object) -> str:
    return "" if value is None else str(value)


def _conditions(steps: Iterable[Step], positions: Iterable[Position]) -> Iterator[Box]:
    """What moves a reading and is asked on the page of the check too; nothing where nothing is measured."""
    measuring = [step for step in steps if step.kind in MEASURING]
    if not measuring:
        return
    pumps = [str(position) for position in positions if position.kind == Position.Kind.PUMP]
    yield Box("Pump that ran", hint=" / ".join([*pumps, "both"] if len(pumps) == 2 else pumps))
    yield Box("Mode selected")
    yield Box("Fluid batch")
    if any(step.quantity == "pressure" for step in measuring):
        yield Box("Supply voltage, V")
        yield Box("Height of the gauge against the port")
        yield Box("Hose bled", hint="yes / no")


def _put_back(steps: list[Step]) -> Iterator[tuple[str, Box]]:
    """What the confirm steps disturbed, the last one first."""
    for step in reversed(steps):
        if step.kind == Step.Kind.CONFIRM and step.restore_text:
            yield f"Step {step.number}: {step.restore_text}", Box("Put back", tick=True)


def _places(procedure: Procedure) -> Iterator[Place]:
    lines = ("Name", "Certificate kind and number", "Authorisation", "Date", "Signature")
    asked = {"Performed": True, "Inspected, second person": procedure.needs_inspection, "Released": True}
    for title, wanted in asked.items():
        yield Place(title, wanted, tuple(Box(line) for line in lines))
