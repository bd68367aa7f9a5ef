"""What is in stock: worked out from deliveries, standing entries and signed checks, never stored."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Exists, OuterRef, Q, QuerySet

from checks.engine.stock import ADD, COUNT, TAKE, Entry, Lot, on_hand
from checks.models import CheckEvent, FluidMix, StockItem, StockMovement
from fleet.models import Fitment, FluidBatch, Part

_TAKES = (StockMovement.Kind.USED, StockMovement.Kind.SCRAPPED)
Entries = dict[tuple[int, int], list[Entry]]  # (key of the thing, key of the base) -> what happened


@dataclass(frozen=True)
class BatchStock:
    """Litres of one batch at one base. Below zero: more was taken than the records say was there."""

    batch: FluidBatch
    base_id: int
    litres: Decimal

    def lot(self) -> Lot:
        return Lot(self.batch.pk, self.batch.expires_on, self.litres)


@dataclass(frozen=True)
class ItemStock:
    """Pieces of one item at one base."""

    item: StockItem
    base_id: int
    pieces: int


@dataclass(frozen=True)
class StoredPart:
    """One serialised part in store at a base, since when."""

    part: Part
    base_id: int
    since: dt.date


@dataclass(frozen=True)
class Spares:
    """Serialised parts in store with the part number that is fitted in a position."""

    at_base: tuple[StoredPart, ...]
    elsewhere: tuple[StoredPart, ...]

    @property
    def words(self) -> str:
        """As a ranking says it in a line."""
        if self.at_base:
            return "part on hand"
        return "part at another base" if self.elsewhere else "no part in store"


def fluid_events() -> QuerySet[CheckEvent]:
    """Signed checks, not superseded, that took from a batch: what was kept when they were signed; of those
    signed before that was kept, what their procedure states today."""
    signed = CheckEvent.objects.signed().exclude(superseded_by__state=CheckEvent.State.SIGNED)
    took = Q(fluid_taken__isnull=False) | Q(revision__procedure__fluid_litres__gt=0)
    return signed.filter(took, fluid_batch__isnull=False)


def fluid_stock(*, batch_id: int | None = None) -> list[BatchStock]:
    """Every batch at every base where it ever was, the earliest expiry first. Three queries.

    A check took what its procedure stated as it was signed, from the batch that it names at the base where it
    was done; where an entry 'used' names the check, that entry's litres are taken instead.
    """
    one = {} if batch_id is None else {"batch": batch_id}
    batches = FluidBatch.objects.all() if batch_id is None else FluidBatch.objects.filter(pk=batch_id)
    known = {batch.pk: batch for batch in batches.order_by("expires_on", "code")}
    entries: Entries = defaultdict(list)
    for batch in known.values():
        entries[batch.pk, batch.base_id].append(
            Entry(batch.received_on, dt.datetime.min.replace(tzinfo=dt.UTC), ADD, batch.litres)
        )
    told = _moved(entries, StockMovement.objects.standing().filter(batch__isnull=False, **one), "batch_id")
    events = fluid_events() if batch_id is None else fluid_events().filter(fluid_batch=batch_id)
    columns = ("pk", "fluid_batch_id", "base_id", "work_date", "signed_at")
    columns += ("fluid_taken__litres", "revision__procedure__fluid_litres")
    for event, batch, base, on, at, kept, stated in events.values_list(*columns):
        if event not in told:
            entries[batch, base].append(Entry(on, at, TAKE, stated if kept is None else kept))
    found = [BatchStock(known[batch], base, on_hand(rows)) for (batch, base), rows in entries.items()]
    return sorted(found, key=lambda row: (row.batch.expires_on, row.batch.code, row.base_id))


def item_stock(*, item_id: int | None = None) -> list[ItemStock]:
    """Every item at every base where it ever was. Two queries."""
    items = StockItem.objects.all() if item_id is None else StockItem.objects.filter(pk=item_id)
    known = {item.pk: item for item in items}
    entries: Entries = defaultdict(list)
    _moved(entries, StockMovement.objects.standing().filter(item__in=list(known)), "item_id")
    return [ItemStock(known[item], base, int(on_hand(rows))) for (item, base), rows in entries.items()]


def _moved(entries: Entries, movements: QuerySet[StockMovement], thing: str) -> set[object]:
    """Put the standing entries into place; gives the keys of the checks that they name."""
    told: set[object] = set()
    columns = (thing, "base_id", "to_base_id", "kind", "on", "entered_at", "quantity", "event_id")
    for key, base, to_base, kind, on, at, quantity, event in movements.values_list(*columns):
        told.add(event)
        if kind == StockMovement.Kind.MOVED:
            entries[key, base].append(Entry(on, at, TAKE, quantity))
            entries[key, to_base].append(Entry(on, at, ADD, quantity))
        else:
            what = COUNT if kind == StockMovement.Kind.COUNTED else TAKE if kind in _TAKES else ADD
            entries[key, base].append(Entry(on, at, what, quantity))
    return told - {None}


def parts_in_store() -> list[StoredPart]:
    """Serialised parts that lie in a store: received or moved there, not scrapped, not fitted since. One
    query. A part that was removed from an aircraft is in store once that is entered."""
    newer = StockMovement.objects.standing().filter(part=OuterRef("part"))
    newer = newer.filter(Q(on__gt=OuterRef("on")) | Q(on=OuterRef("on"), pk__gt=OuterRef("pk")))
    fitted = Fitment.objects.filter(part=OuterRef("part"))
    fitted = fitted.filter(Q(removed_on=None) | Q(fitted_on__gte=OuterRef("on")))
    latest = StockMovement.objects.standing().filter(part__isnull=False)
    latest = latest.exclude(kind__in=_TAKES).filter(~Exists(newer), ~Exists(fitted))
    found = latest.select_related("part").order_by("part__part_number", "part__serial_number")
    return [StoredPart(row.part, row.to_base_id or row.base_id, row.on) for row in found]


def spares_by_position(aircraft_ids: Iterable[int] | None = None) -> dict[tuple[int, int], Spares]:
    """(aircraft, position) -> parts in store that could take the place of the one fitted there. Two queries.

    Compared by part number alone: whether a part may be fitted is for the approved parts catalogue to say.
    """
    fitted = Fitment.objects.current()
    if aircraft_ids is not None:
        fitted = fitted.filter(aircraft__in=list(aircraft_ids))
    stored = defaultdict(list)
    for one in parts_in_store():
        stored[one.part.part_number].append(one)
    found = {}
    for aircraft, position, base, number in fitted.values_list(
        "aircraft_id", "position_id", "aircraft__base_id", "part__part_number"
    ):
        here = tuple(one for one in stored[number] if one.base_id == base)
        there = tuple(one for one in stored[number] if one.base_id != base)
        found[aircraft, position] = Spares(here, there)
    return found


def mixes() -> dict[tuple[str, str], FluidMix]:
    """The newest entry for each pair of fluids, kinds in order of the alphabet. One query."""
    entries = FluidMix.objects.select_related("entered_by").order_by("pk")
    return {(one.kind_a, one.kind_b): one for one in entries}


def mix_of(known: dict[tuple[str, str], FluidMix], one: str, other: str) -> FluidMix | None:
    """What is on record of two kinds; None: nothing, and nothing is assumed. No query."""
    return known.get((min(one, other), max(one, other)))
