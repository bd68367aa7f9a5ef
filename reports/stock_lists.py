"""Stock as files: what is there at every base, and the entries."""

from collections.abc import Iterator, Sequence

from django.http import QueryDict
from django.utils import timezone

from checks.models import StockItem, StockMovement
from checks.selectors.season_need import item_needs, replacements
from checks.selectors.stock import fluid_stock, item_stock, parts_in_store
from checks.views.stock import batch_state, found_entries
from fleet.models import Base, Operator
from reports.tables.csv import Cell

STOCK = ("Base", "Kind", "What", "On hand", "Unit", "Last day", "State", "Due for replacement")
ENTRIES = (
    "Date",
    "What",
    "Entry",
    "How much",
    "Unit",
    "Base",
    "To base",
    "Aircraft",
    "Remark",
    "By",
    "Entered at",
    "Corrected by entry",
    "In the place of entry",
    "Number",
)


def stock_rows(query: QueryDict) -> Iterator[Sequence[Cell]]:
    """Fluid, items and serialised parts of every base, or of the one asked for."""
    today, soon = timezone.localdate(), Operator.current().due_soon_days
    fluid, pieces, parts = fluid_stock(), item_stock(), parts_in_store()
    items, wanted = list(StockItem.objects.all()), replacements()
    asked = query.get("base", "")
    bases = list(Base.objects.all())
    for base in [one for one in bases if one.code == asked] or bases:
        for row in fluid:
            if row.base_id == base.pk and row.litres:
                batch, state = row.batch, batch_state(row, today, soon)
                what = f"{batch.code} ({batch.kind})"
                yield (base.name, "fluid", what, row.litres, "L", batch.expires_on, state, None)
        for need in item_needs(base.pk, today, items, pieces, wanted):
            state = "short" if need.short else "enough"
            kind = need.item.get_kind_display()
            yield (base.name, kind, str(need.item), need.pieces, "", None, state, need.due)
        for stored in parts:
            if stored.base_id == base.pk:
                yield (base.name, stored.part.get_kind_display(), str(stored.part), 1, "", None, "", None)


def entry_rows(query: QueryDict) -> Iterator[Sequence[Cell]] | None:
    """The entries that the page shows for the same query."""
    found = found_entries(query)
    return map(_entry, found.qs) if found.is_valid() else None


def _entry(entry: StockMovement) -> Sequence[Cell]:
    later = getattr(entry, "corrected_by", None)
    return (
        entry.on,
        str(entry.thing),
        entry.get_kind_display(),
        entry.quantity,
        entry.unit,
        entry.base.name,
        entry.to_base.name if entry.to_base else "",
        entry.aircraft.registration if entry.aircraft else "",
        entry.remark,
        str(entry.entered_by),
        entry.entered_at,
        later.pk if later else None,
        entry.corrects_id,
        entry.pk,
    )
