"""An interval is revised in a browser: what it moves is seen before another person approves it."""

import datetime as dt

import pytest
from playwright.sync_api import expect

from checks.models import DuePoint
from checks.services.due import refresh_due
from tests.browser.fits import fits
from tests.checks.due_history import done
from tests.world import PASSWORD, World, build_world

TODAY = dt.date.today()


@pytest.fixture
def world(transactional_db: None) -> World:
    """Two forward aircraft, skin care of 120 days done 60 and 115 days ago."""
    world = build_world(today=TODAY, aircraft=3)
    revision = world.revision(world.forward, "panel-skin")
    for aircraft, back in ((world.fleet[0], 60), (world.fleet[2], 115)):
        done(world, aircraft, TODAY - dt.timedelta(days=back), revision=revision)
    refresh_due()
    return world


def test_an_interval_is_revised_by_two_people(browser_page, sign_in, world: World) -> None:
    task, page = world.recurring(world.forward, "panel-skin"), browser_page
    sign_in(world.person("controller1"))
    page.goto(f"/programme/{task.pk}/")
    page.get_by_role("link", name="Revise").click()
    fits(page, "terms")
    page.locator("#id_interval_days").fill("90")
    page.get_by_role("button", name="Keep, and show what it moves").click()
    expect(page.locator(".summary")).to_contain_text("Reason")  # nothing typed is lost
    expect(page.locator("#id_interval_days")).to_have_value("90")
    page.get_by_label("Reason").fill("Invented: dirt after two winters.")
    page.get_by_role("button", name="Keep, and show what it moves").click()
    page.wait_for_url("**/programme/revisions/*/")
    fits(page, "effect")
    expect(page.locator("main")).to_contain_text(f"overdue on the day of approval: {world.fleet[2]}")
    rows = page.locator("section[aria-labelledby=effect] tbody tr")
    expect(rows).to_have_count(2)
    expect(rows.nth(1)).to_contain_text("becomes overdue")
    expect(page.get_by_role("link", name="Approve")).to_have_count(0)
    address = page.url
    assert DuePoint.objects.get(aircraft=world.fleet[0], check_due=task).due_on == TODAY + dt.timedelta(60)

    sign_in(world.person("director1"))
    page.goto(address)
    page.get_by_role("link", name="Approve").click()
    fits(page, "approve")
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Approve").click()
    page.wait_for_url(f"**/programme/{task.pk}/")
    expect(page.locator("main")).to_contain_text("90 days")
    expect(page.locator("section[aria-labelledby=history] li")).to_contain_text("approved by")
    assert DuePoint.objects.get(aircraft=world.fleet[0], check_due=task).due_on == TODAY + dt.timedelta(30)


def test_the_pages_fit_and_a_due_point_carries_its_owner(browser_page, sign_in, world: World) -> None:
    task = world.recurring(world.forward, "panel-skin")
    point = DuePoint.objects.get(aircraft=world.forward, check_due=task)
    sign_in(world.person("controller1"))
    for path in ("/programme/", "/programme/new/", f"/programme/{task.pk}/", f"/due/{point.pk}/"):
        assert browser_page.goto(path).status == 200
        fits(browser_page, path)
    browser_page.get_by_role("link", name="Change").click()
    fits(browser_page, "owner")
    browser_page.get_by_label("Owner").select_option(str(world.person("technician1").pk))
    browser_page.get_by_label("Remarks").fill("Slot agreed.")
    browser_page.get_by_role("button", name="Save").click()
    browser_page.wait_for_url(f"**/due/{point.pk}/")
    expect(browser_page.locator("main")).to_contain_text("Slot agreed.")
