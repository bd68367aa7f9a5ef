"""A season planned in a browser: the base's plan, who is open, a check signed, the plan moved on."""

import datetime as dt
import re

import pytest
from playwright.sync_api import expect

from checks.services.due import refresh_due
from fleet.models import Base, PlannedMove
from tests.browser.fits import fits
from tests.world import World, build_world


@pytest.fixture
def world(transactional_db: None) -> World:
    """Today, three weeks before a season at North Skerry: whatever the day, its season is near."""
    today = dt.date.today()
    near = (today + dt.timedelta(days=21)).replace(day=min((today + dt.timedelta(days=21)).day, 28))
    world = build_world(today=today, aircraft=4)
    Base.objects.filter(code="north").update(season_month=near.month, season_day=near.day)
    world.near = near
    for one in world.fleet:
        world.signed(one, today - dt.timedelta(days=3), code="windshield")
    refresh_due()
    return world


def test_a_season_is_planned_and_a_signed_check_moves_the_plan(browser_page, sign_in, world: World) -> None:
    page = browser_page
    sign_in(world.person("controller1"))
    page.goto("/season/")
    fits(page)
    page.get_by_role("link", name=re.compile(r"North Skerry\s*, season of")).first.click()
    expect(page.get_by_text("0 of 4 aircraft complete")).to_be_visible()
    expect(page.locator("figure.chart svg:visible")).to_contain_text("season date")
    row = page.locator("tr", has=page.get_by_role("link", name=world.forward.registration, exact=True))
    expect(row.get_by_role("link", name="Pressure and flow check")).to_have_count(1)
    expect(row).to_contain_text("to do")
    fits(page)
    row.get_by_role("link", name="Pressure and flow check").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Pressure and flow check")

    world.signed(world.forward, dt.date.today() - dt.timedelta(days=1))
    refresh_due()
    page.goto("/season/bases/north/")
    expect(page.get_by_text("1 of 4 aircraft complete")).to_be_visible()
    row = page.locator("tr", has=page.get_by_role("link", name=world.forward.registration, exact=True))
    expect(row).to_contain_text("done")
    expect(page.locator("[data-readout]").first).to_be_attached()
    page.get_by_text("The same figures as a table").click()
    expect(page.get_by_role("region", name="as a table")).to_contain_text(world.forward.registration)


def test_a_move_is_planned_warned_of_and_withdrawn(browser_page, sign_in, world: World) -> None:
    page = browser_page
    outer = Base.objects.get(code="outer")
    soon = dt.date.today() + dt.timedelta(days=10)
    met = soon + dt.timedelta(days=2)
    Base.objects.filter(pk=outer.pk).update(season_month=met.month, season_day=min(met.day, 28))
    sign_in(world.person("controller1"))
    page.goto("/season/moves/plan/")
    fits(page)
    page.get_by_label("Aircraft").select_option(world.forward.registration)
    page.get_by_label("To base").select_option("Outer Skerry")
    page.get_by_label("first day").fill(soon.isoformat())
    page.get_by_role("button", name="Plan the move").click()
    expect(page.get_by_role("heading", name="Planned moves")).to_be_visible()
    expect(page.get_by_role("note")).to_contain_text(world.forward.registration)
    fits(page)
    page.get_by_role("button", name="Withdraw").click()
    expect(page.get_by_text("No move is planned.")).to_be_visible()
    assert PlannedMove.objects.get().end == "withdrawn"


def test_the_pages_fit_and_break_no_rule(browser_page, sign_in, world: World) -> None:
    page = browser_page
    sign_in(world.person("controller1"))
    for path in (
        "/season/",
        "/season/bases/north/",
        "/season/dry/",
        "/stock/",
        "/stock/entries/",
        "/stock/entries/add/",
        "/stock/mixes/add/",
    ):
        assert page.goto(path).status == 200
        fits(page, path)
