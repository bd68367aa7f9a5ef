"""The writers of stock entries and of what mixes with what. An entry is corrected by another one."""

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from checks.models import CheckEvent, FluidMix, StockItem, StockMovement
from checks.selectors.stock import fluid_stock, item_stock, parts_in_store
from checks.services.errors import Problem, RecordError, from_validation, refuse_if
from checks.services.persons import may
from fleet.models import Aircraft, Base, FluidBatch, Part, User

KEEP = "checks.add_stockmovement"
Kind = StockMovement.Kind
TAKING = (Kind.MOVED, Kind.USED, Kind.SCRAPPED)
Thing = FluidBatch | StockItem | Part


@transaction.atomic
def record_movement(
    *,
    by: User,
    kind: str,
    thing: Thing,
    base: Base,
    quantity: Decimal,
    on: dt.date | None = None,
    to_base: Base | None = None,
    aircraft: Aircraft | None = None,
    event: CheckEvent | None = None,
    remark: str = "",
    corrects: StockMovement | None = None,
) -> StockMovement:
    """Add one entry; with `corrects` it takes the place of a standing one and says why in `remark`.

    RecordError by field where it can't be: not that much there, a day to come, no pieces of a whole thing.
    A correction to 0 takes an entry back. Entries of one base wait for each other.
    """
    may(by, KEEP)
    list(Base.objects.select_for_update(no_key=True).order_by("pk").values_list("pk"))
    entry = StockMovement(
        kind=kind,
        on=on or timezone.localdate(timezone=base.zone),
        base=base,
        to_base=to_base,
        quantity=quantity,
        aircraft=aircraft,
        event=event,
        remark=remark.strip(),
        entered_by=by,
        entered_at=timezone.now(),
        corrects=corrects,
        **{_field(thing): thing},
    )
    refuse_if(_problems(entry))
    try:
        entry.full_clean()
    except ValidationError as error:
        raise RecordError(*from_validation(error)) from error
    entry.save(force_insert=True)
    _not_below_nothing(entry)
    return entry


@transaction.atomic
def record_mix(
    *, by: User, kind_a: str, kind_b: str, allowed: bool, source_reference: str, remark: str = ""
) -> FluidMix:
    """Keep what the operator's source says of two kinds of fluid; the newest entry of a pair holds."""
    may(by, "checks.add_fluidmix")
    first, second = sorted((kind_a.strip(), kind_b.strip()))
    mix = FluidMix(
        kind_a=first,
        kind_b=second,
        allowed=allowed,
        source_reference=source_reference.strip(),
        remark=remark.strip(),
        entered_by=by,
        entered_at=timezone.now(),
    )
    try:
        mix.full_clean()
    except ValidationError as error:
        raise RecordError(*from_validation(error)) from error
    mix.save(force_insert=True)
    return mix


def _field(thing: Thing) -> str:
    return {FluidBatch: "batch", StockItem: "item", Part: "part"}[type(thing)]


def _problems(entry: StockMovement) -> Iterator[Problem]:
    """What is wrong with the entry by itself."""
    today = timezone.localdate(timezone=entry.base.zone)
    if entry.on > today:
        yield Problem(f"{entry.on:%d %b %Y} is still to come at {entry.base}.", "on")
    if entry.quantity <= 0 and entry.kind != Kind.COUNTED and not entry.corrects:
        yield Problem("How much? Write a number above 0.", "quantity")
    if not entry.batch_id and entry.quantity != int(entry.quantity):
        yield Problem("It comes in whole pieces: write a whole number.", "quantity")
    if entry.part_id:
        yield from _part_problems(entry)
    if entry.event_id and entry.event.is_draft:
        yield Problem("That check is not signed yet: it takes nothing before.", "event")
    if entry.corrects:
        yield from _correction_problems(entry)


def _part_problems(entry: StockMovement) -> Iterator[Problem]:
    """A serialised part is one piece; fitting it is entered as a fitment, not as use."""
    if entry.kind in (Kind.USED, Kind.COUNTED):
        yield Problem(
            "A serialised part is received, moved or scrapped; to use it, enter its fitment.", "kind"
        )
    if entry.quantity != 1 and not (entry.corrects and entry.quantity == 0):
        yield Problem("A serialised part is one piece.", "quantity")
    if entry.corrects:
        return
    fitted = entry.part.fitments.current().select_related("aircraft", "position").first()
    if fitted:
        where = f"{fitted.aircraft}, {fitted.position}"
        yield Problem(f"It is fitted to {where}. Enter its removal first.", "thing")
        return
    stored = next((one.base_id for one in parts_in_store() if one.part.pk == entry.part_id), None)
    if entry.kind == Kind.RECEIVED and stored:
        yield Problem("By the records it is in store already. Move it instead.", "kind")
    elif entry.kind != Kind.RECEIVED and stored != entry.base_id:
        yield Problem(f"By the records it is not in store at {entry.base}.", "thing")


def _correction_problems(entry: StockMovement) -> Iterator[Problem]:
    earlier = entry.corrects
    later = StockMovement.objects.filter(corrects=earlier).first()
    if later:
        yield Problem(f"It was corrected already, by entry {later.pk}. Correct that one.")
    if earlier.thing != entry.thing:
        yield Problem(f"The entry is about {earlier.thing}. Correct it to 0 and enter the other thing anew.")
    if not entry.remark:
        yield Problem("Say why it is corrected: both entries stay on record.", "remark")


def _not_below_nothing(entry: StockMovement) -> None:
    """Refuse an entry after which less than nothing would be there; the transaction takes it back.

    Fluid that a signed check took is not refused by anybody: then the page says that the records disagree.
    """
    if entry.part_id or (entry.kind not in TAKING and not entry.corrects):
        return
    if entry.batch_id:
        rows = [(row.base_id, row.litres) for row in fluid_stock(batch_id=entry.batch_id)]
    else:
        rows = [(row.base_id, Decimal(row.pieces)) for row in item_stock(item_id=entry.item_id)]
    for base_id, amount in rows:
        if amount < 0 and base_id in (entry.base_id, entry.to_base_id):
            there = "less than that" if entry.corrects else f"{max(amount + entry.quantity, Decimal(0)):f}"
            raise RecordError(
                f"By the records {' '.join((there, entry.unit)).strip()} was there. Where that is wrong, "
                "enter what you count first.",
                field="quantity",
            )
