"""The demo's stock: which batch a check took, items and spare parts, what mixes, and two planned moves."""

import datetime as dt
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from checks.models import FluidMix, StockItem, StockMovement
from fleet.models import Aircraft, FluidBatch, PlannedMove
from reports.demo.aircraft import new_part
from reports.demo.master import Master, read
from reports.demo.procedures import TYPED_BY

KEPT_SHARE = Decimal("0.6")  # of a delivery: checks of the demo take no more, so that something is left
AT = dt.time(15, tzinfo=dt.UTC)


class Batches:
    """Hands out fluid to the checks of the history: from the batch of the base that expires first."""

    def __init__(self, master: Master) -> None:
        self.master = master
        order = sorted(master.batches.values(), key=lambda batch: (batch.expires_on, batch.code))
        self.left = {batch: batch.litres * KEPT_SHARE for batch in order}

    def take(self, variant: str, code: str, base_id: int, day: dt.date) -> FluidBatch | None:
        """The batch that a check takes its litres from; None: it takes none, or none is left."""
        litres = self.master.procedures[variant, code].fluid_litres
        for batch, left in self.left.items():
            served = batch.base_id == base_id and batch.received_on <= day <= batch.expires_on
            if litres and served and left >= litres:
                self.left[batch] -= litres
                return batch
        return None


def load_stock(master: Master, fleet: Iterable[Aircraft]) -> None:
    """Everything of fixtures/demo/stock.json, dated as it says."""
    data, loader = read("stock"), _Loader(master)
    items = loader.items(data["items"])
    for row in data["received"]:
        for number, pieces in row["pieces"].items():
            loader.add(row, "received", item=items[number], quantity=pieces)
    for number, when in data["replaced"].items():
        serving = [one for one in fleet if one.registration not in data["without_record"]]
        for n, one in enumerate(serving):
            ago = {"base": one.base.code, "days_ago": when["first"] + n * when["step"]}
            loader.add(ago, "used", item=items[number], quantity=1, aircraft=one)
    for kind in ("counted", "scrapped"):
        for row in data[kind]:
            batch = master.batches[row["batch"]]
            loader.add(row, kind, batch=batch, quantity=row["litres"], remark=row["remark"])
    for n, row in enumerate(data["spares"], start=1):
        part = new_part(master.positions[row["variant"], row["position"]], f"SPARE-{n:03}")
        part.save()
        loader.add(row, "received", part=part, quantity=1)
    StockMovement.objects.bulk_create(loader.rows)
    loader.mixes(data["mixes"])
    loader.moves(data["moves"], {one.registration: one for one in fleet})


class _Loader:
    """Makes the rows; the times of entry are those of the story, not of the loading."""

    def __init__(self, master: Master) -> None:
        self.master, self.by = master, master.people[TYPED_BY]
        self.rows: list[StockMovement] = []

    def items(self, rows: list[dict[str, Any]]) -> dict[str, StockItem]:
        return {row["part_number"]: StockItem.objects.create(**row) for row in rows}

    def add(self, row: dict[str, Any], kind: str, **what: Any) -> None:
        on = self.master.days_ago(row["days_ago"])
        what["quantity"] = Decimal(what["quantity"])
        self.rows.append(
            StockMovement(
                kind=kind,
                on=on,
                base=self.master.bases[row["base"]],
                entered_by=self.by,
                entered_at=dt.datetime.combine(on, AT),
                **what,
            )
        )

    def mixes(self, rows: list[dict[str, Any]]) -> None:
        at = dt.datetime.combine(self.master.days_ago(300), AT)
        for row in rows:
            first, second = sorted(row["kinds"])
            FluidMix.objects.create(
                kind_a=first,
                kind_b=second,
                allowed=row["allowed"],
                source_reference=row["source"],
                entered_by=self.by,
                entered_at=at,
            )

    def moves(self, rows: list[dict[str, Any]], fleet: dict[str, Aircraft]) -> None:
        at = dt.datetime.combine(self.master.days_ago(3), AT)
        for row in rows:
            if row["aircraft"] in fleet:
                PlannedMove.objects.create(
                    aircraft=fleet[row["aircraft"]],
                    base=self.master.bases[row["base"]],
                    on=self.master.days_ago(-row["in_days"]),
                    remark=row["remark"],
                    planned_by=self.by,
                    planned_at=at,
                )
