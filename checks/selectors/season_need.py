"""What the season plan needs from stock: fluid against batches by day, items by replacement intervals."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import OuterRef, Subquery

from checks.engine.due import add_months
from checks.engine.stock import Cover, Need, cover
from checks.models import DuePoint, StockItem, StockMovement
from checks.selectors.season import Plan
from checks.selectors.stock import BatchStock, ItemStock
from fleet.models import Aircraft, UtilisationEntry


@dataclass(frozen=True)
class FluidNeed:
    """Litres wanted at a base up to its season date, and how far its batches serve.

    for_season: by the open tasks of the plan; for_others: by other checks that fall due until then;
    in_date: what is there today of batches that have not expired.
    """

    for_season: Decimal
    for_others: Decimal
    in_date: Decimal
    cover: Cover


def other_needs(*, until: dt.date) -> dict[int, list[Need]]:
    """Base -> litres of checks without a season date that fall due by then, on their due days. One query."""
    points = DuePoint.objects.filter(
        check_due__active=True,
        check_due__before_season=False,
        check_due__procedure__fluid_litres__gt=0,
        aircraft__state=Aircraft.State.IN_SERVICE,
        due_on__lte=until,
    )
    found = defaultdict(list)
    for base, on, litres in points.values_list(
        "aircraft__base_id", "due_on", "check_due__procedure__fluid_litres"
    ):
        found[base].append(Need(on, litres))
    return found


def fluid_need(plan: Plan, others: Iterable[Need], stock: Iterable[BatchStock]) -> FluidNeed:
    """The need of one plan against the batches at its base. No query. What is past its day is wanted today.

    A task is wanted on its due day where that comes before the day by which the aircraft is to be ready. One
    that falls due before the first day that counts is done twice: then, and for the season.
    """
    end = max(plan.date, plan.today)
    season, rest = [], [need for need in others if need.on <= end]
    for line in plan.lines:
        for task in line.open_tasks:
            if task.litres and task.due_on and task.due_on < task.opens:
                rest.append(Need(task.due_on, task.litres))
                season.append(Need(line.by, task.litres))
            elif task.litres:
                season.append(Need(min(task.due_on or line.by, line.by), task.litres))
    season, rest = ([Need(max(need.on, plan.today), need.amount) for need in some] for some in (season, rest))
    lots = [row.lot() for row in stock if row.base_id == plan.base.pk]
    return FluidNeed(
        _sum(season),
        _sum(rest),
        sum((lot.amount for lot in lots if lot.expires >= plan.today), Decimal(0)),
        cover(lots, [*season, *rest]),
    )


@dataclass(frozen=True)
class Replacement:
    """When one item is to be replaced on one aircraft. last_on None: no replacement on record.

    due_on: by the calendar; hours_left: by flight hours; None where the interval has no such limb or the
    hours of one of the two days are not on record.
    """

    item: StockItem
    aircraft: Aircraft
    last_on: dt.date | None
    due_on: dt.date | None
    hours_left: Decimal | None

    def due_by(self, day: dt.date) -> bool:
        """Whether a replacement falls due by the calendar up to a day, or its hours are used up already."""
        by_date = self.due_on is not None and self.due_on <= day
        return by_date or (self.hours_left is not None and self.hours_left <= 0)


def replacements() -> list[Replacement]:
    """Every item with an interval on every aircraft in service that it serves. Four queries."""
    items = [
        item
        for item in StockItem.objects.prefetch_related("variants")
        if item.replace_months or item.replace_hours
    ]
    entries = UtilisationEntry.objects.standing().order_by("-on", "-pk")
    latest = entries.filter(aircraft=OuterRef("pk")).values("hours")[:1]
    fleet = list(
        Aircraft.objects.filter(state=Aircraft.State.IN_SERVICE)
        .select_related("base")
        .annotate(hours_now=Subquery(latest))
    )
    then = entries.filter(aircraft=OuterRef("aircraft"), on__lte=OuterRef("on")).values("hours")[:1]
    used = StockMovement.objects.standing().filter(
        kind=StockMovement.Kind.USED, item__in=items, aircraft__isnull=False, quantity__gt=0
    )
    last = {}
    for item, aircraft, on, hours in (
        used.annotate(hours_then=Subquery(then))
        .order_by("on", "pk")
        .values_list("item_id", "aircraft_id", "on", "hours_then")
    ):
        last[item, aircraft] = (on, hours)
    return [
        _replacement(item, one, *last.get((item.pk, one.pk), (None, None)))
        for item in items
        for one in fleet
        if _serves(item, one)
    ]


def _serves(item: StockItem, aircraft: Aircraft) -> bool:
    variants = [variant.pk for variant in item.variants.all()]
    return not variants or aircraft.variant_id in variants


def _replacement(
    item: StockItem, aircraft: Aircraft, on: dt.date | None, hours: Decimal | None
) -> Replacement:
    due_on = add_months(on, item.replace_months) if on and item.replace_months else None
    left = None
    if item.replace_hours and hours is not None and aircraft.hours_now is not None:
        left = item.replace_hours - (aircraft.hours_now - hours)
    return Replacement(item, aircraft, on, due_on, left)


@dataclass(frozen=True)
class ItemNeed:
    """One item at one base: pieces there, replacements due by a day, and those without any record."""

    item: StockItem
    pieces: int
    due: int
    without_record: int

    @property
    def short(self) -> int:
        return max(self.due - self.pieces, self.item.least - self.pieces, 0)


def item_needs(
    base_id: int,
    until: dt.date,
    items: Iterable[StockItem],
    stock: Iterable[ItemStock],
    wanted: Iterable[Replacement],
) -> list[ItemNeed]:
    """Every item at a base up to a day. No query."""
    pieces = {row.item.pk: row.pieces for row in stock if row.base_id == base_id}
    here = [one for one in wanted if one.aircraft.base_id == base_id]
    return [
        ItemNeed(
            item,
            pieces.get(item.pk, 0),
            sum(one.item == item and one.due_by(until) for one in here),
            sum(one.item == item and one.last_on is None for one in here),
        )
        for item in items
    ]


def _sum(needs: Iterable[Need]) -> Decimal:
    return sum((need.amount for need in needs), Decimal(0))
