"""A base a month before its season: what is open, what was done, fluid, and people who keep the stock."""

import datetime as dt

from checks.models import Procedure, StockItem
from checks.services.due import refresh_due
from fleet.models import Aircraft, Operator, UtilisationEntry
from tests.world import World, build_world

TODAY = dt.date(2025, 9, 1)
NOON = dt.datetime(2025, 9, 1, 12, tzinfo=dt.UTC)
SEASON = dt.date(2025, 10, 1)  # of North Skerry
TASKS = ("pressure-flow", "windshield")  # what the programme wants before a season


def season_world(aircraft: int = 2) -> World:
    """Aircraft at North Skerry, nothing done yet, a month before the season; due points are counted."""
    world = build_world(today=TODAY, aircraft=aircraft)
    refresh_due(today=TODAY)
    return world


def done(world: World, aircraft: Aircraft, on: dt.date, *codes: str) -> None:
    """The tasks (by default all that a season wants) signed on their day; due points are counted anew."""
    for code in codes or TASKS:
        world.signed(aircraft, on, code=code)
    refresh_due(today=world.today)


def takes(code: str, litres: str) -> None:
    """What a procedure takes, on every variant."""
    Procedure.objects.filter(code=code).update(fluid_litres=litres)


def prompt_after(days: int) -> None:
    Operator.objects.update(dry_days=days)


def filter_element(**more: object) -> StockItem:
    kept = {"replace_months": 12, "source_reference": "Invented.", "least": 0} | more
    return StockItem.objects.create(part_number="DF-1", name="Filter", kind="filter", **kept)


def flown(world: World, aircraft: Aircraft, on: dt.date, hours: str) -> None:
    """One more entry of utilisation."""
    UtilisationEntry.objects.create(
        aircraft=aircraft, on=on, hours=hours, landings=1600, entered_by=world.person("controller1")
    )
