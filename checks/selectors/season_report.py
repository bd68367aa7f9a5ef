"""Everything that the page and the sheet of a season plan say of a base, so that both say the same."""

import datetime as dt
from dataclasses import dataclass

from checks.charts.scene import Scene
from checks.charts.season import season_scene
from checks.charts.wording import day_words
from checks.engine.season import RECENT_DAYS
from checks.models import StockItem
from checks.selectors.season import Facts, Plan, plans_of
from checks.selectors.season_moves import Earlier, earlier_seasons
from checks.selectors.season_need import (
    FluidNeed,
    ItemNeed,
    fluid_need,
    item_needs,
    other_needs,
    replacements,
)
from checks.selectors.stock import BatchStock, fluid_stock, item_stock
from fleet.models import Base

#: said wherever a pace is shown
PACE = (
    f"Pace: aircraft completed in the last {RECENT_DAYS} days, or since the first day that counts, as if "
    "they came by chance at an even rate; the range holds 8 of 10. Work planned in groups comes otherwise: "
    "look at the open aircraft, not at the line alone."
)
FIRST_EXPIRY = (
    "Fluid is counted as used on the due days of the open checks, from the batch that expires first, a "
    "check that falls due before its first day that counts is counted again for the season. Whether "
    "batches may share a tank is told by the entries of what mixes with what, and by nothing else."
)


@dataclass(frozen=True)
class SeasonReport:
    """The plan of a base, its fluid and items against the need, and moves that meet a season earlier."""

    plan: Plan
    fluid: FluidNeed
    batches: tuple[BatchStock, ...]
    items: tuple[ItemNeed, ...]
    earlier: tuple[Earlier, ...]


def season_reports(
    *, today: dt.date, base: Base | None = None, year: int | None = None
) -> list[SeasonReport]:
    """One for each plan of every base, or of one: the running season first where it has one open. A fixed
    number of queries for any number of aircraft and bases."""
    facts = Facts.read(today)
    plans = plans_of(facts, [base] if base else list(Base.objects.all()), year)
    until = max((max(plan.date, today) for plan in plans), default=today)
    others, stock, pieces = other_needs(until=until), fluid_stock(), item_stock()
    items, wanted = list(StockItem.objects.all()), replacements()
    warned = earlier_seasons(facts)
    return [
        SeasonReport(
            plan,
            fluid_need(plan, others.get(plan.base.pk, ()), stock),
            tuple(row for row in stock if row.base_id == plan.base.pk and row.litres),
            tuple(item_needs(plan.base.pk, max(plan.date, today), items, pieces, wanted)),
            tuple(one for one in warned if plan.base.pk in (one.aircraft.base_id, one.move.base_id)),
        )
        for plan in plans
    ]


def course(plan: Plan) -> Scene:
    """The chart of a plan: aircraft complete against the date."""
    done = [(line.complete_on, line.aircraft.registration) for line in plan.lines if line.complete_on]
    return season_scene(
        [(day, name) for day, name in done if day],
        len(plan.lines),
        opened=plan.opens,
        today=plan.today,
        by=plan.date,
        outlook=plan.outlook if plan.open_lines else None,
    )


def outlook_words(plan: Plan) -> str:
    """How it goes, in one or two sentences."""
    look = plan.outlook
    if not plan.lines:
        return "No aircraft in service counts at this base."
    if not plan.open_lines:
        return "Every aircraft is complete."
    needed = f" Needed: {look.needed:.1f} a week." if look.needed else ""
    if plan.today < plan.opens:
        return f"The first day that counts is {day_words(plan.opens)}; nothing can be done for it before."
    if look.a_week is None:
        return f"{look.why_not[:1].upper()}{look.why_not[1:]}.{needed}"
    pace = f"{look.number} complete in {look.days} days, {look.a_week:.1f} a week.{needed}"
    if look.on is None:
        return f"{pace} At that pace not within two years."
    early, late = (day_words(day) if day else "later than in two years" for day in (look.early, look.late))
    return f"{pace} At that pace all by about {day_words(look.on)} ({early} to {late} in 8 of 10 cases)."


def fluid_words(report: SeasonReport) -> str:
    """Whether the fluid lasts, in one sentence after the word 'short' or 'enough'."""
    fluid = report.fluid
    if not fluid.cover.needed:
        return "No fluid is needed until then by what the procedures state."
    total = f"{fluid.cover.needed:f} L needed, {fluid.in_date:f} L in date on hand."
    if fluid.cover.short_on:
        return f"by {fluid.cover.short:f} L from {day_words(fluid.cover.short_on)}: {total}"
    return total
