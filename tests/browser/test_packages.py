"""A plan is asked for, watched, accepted by keyboard, moved and locked; the pages fit and break no rule."""

import datetime as dt
from concurrent.futures import ThreadPoolExecutor

import pytest
from playwright.sync_api import expect

from checks.engine.packages import solve
from checks.models import WorkPackage
from checks.services import plan_runs
from checks.services.due import refresh_due
from tests.browser.fits import fits
from tests.checks.packaging import CONCENTRATION, SKIN, due_in, only, planned, shared
from tests.world import World, build_world

TODAY = dt.date.today()


@pytest.fixture
def world(transactional_db: None) -> World:
    world = build_world(today=TODAY)
    shared()
    due_in(world, world.forward, CONCENTRATION, 14, TODAY)
    due_in(world, world.forward, SKIN, 16, TODAY)
    return world


def test_a_plan_is_watched_until_it_is_there(browser_page, sign_in, world: World, monkeypatch) -> None:
    """The process is played by this test, so that the page is seen waiting and then done."""
    waiting = []
    monkeypatch.setattr("checks.views.packages.launch", lambda run: waiting.append(run.pk) or True)
    refresh_due(today=TODAY)
    sign_in(world.person("controller1"))
    browser_page.goto("/packages/")
    browser_page.get_by_role("button", name="Plan", exact=True).click()
    expect(browser_page.get_by_role("heading", name="The plan is being reckoned")).to_be_visible()
    fits(browser_page, "waiting")
    with ThreadPoolExecutor(1) as pool:
        plan_runs.carry_out(plan_runs.claim(waiting[0]), pool, solve=solve, today=TODAY, seconds=20)
    expect(browser_page.get_by_text("no plan is better")).to_be_visible(timeout=15_000)
    expect(browser_page.get_by_role("heading", name="The plan is being reckoned")).to_have_count(0)
    fits(browser_page, "done")


def test_pages_fit_and_a_package_is_changed_by_keyboard(browser_page, sign_in, world: World) -> None:
    planned(world, today=TODAY)
    package = only(world.forward)
    sign_in(world.person("controller1"))
    browser_page.goto(f"/packages/bases/north/?from={package.on.isoformat()}")
    fits(browser_page, "calendar")
    browser_page.get_by_label("Mark Q-0000").focus()
    browser_page.keyboard.press("Space")
    browser_page.get_by_role("button", name="Accept what is marked").focus()
    browser_page.keyboard.press("Enter")
    expect(browser_page.get_by_text("1 accepted")).to_be_visible()
    browser_page.goto(f"/packages/{package.pk}/")
    fits(browser_page, "package")
    browser_page.get_by_label("Day", exact=True).fill((TODAY + dt.timedelta(days=30)).isoformat())
    browser_page.get_by_role("button", name="Move").press("Enter")
    expect(browser_page.get_by_role("alert")).to_contain_text("never into tolerance")
    fits(browser_page, "refused")
    browser_page.get_by_label("Day", exact=True).fill((TODAY + dt.timedelta(days=3)).isoformat())
    browser_page.get_by_role("button", name="Move").press("Enter")
    expect(browser_page.get_by_text("where it stays")).to_be_visible()
    browser_page.get_by_role("button", name="Lock").press("Enter")
    expect(browser_page.get_by_text("accepted, locked").first).to_be_visible()
    kept = WorkPackage.objects.get(pk=package.pk)
    assert kept.locked and kept.on == TODAY + dt.timedelta(days=3)


def test_notices_fit_and_show_a_secret_once(browser_page, sign_in, world: World) -> None:
    sign_in(world.person("auditor1"))
    browser_page.goto("/notices/")
    fits(browser_page, "notices")
    browser_page.get_by_label("Base", exact=True).select_option(label="North Skerry")
    browser_page.get_by_role("button", name="Make an address").click()
    secret = browser_page.locator(".secret").inner_text()
    assert "/calendar/north.ics?key=" in secret
    fits(browser_page, "secret")
    browser_page.goto("/notices/")
    expect(browser_page.locator(".secret")).to_have_count(0)
