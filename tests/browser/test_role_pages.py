"""The pages of the roles in a real browser: nothing is blocked, nothing runs over the edge, parts arrive."""

import datetime as dt

import pytest
from playwright.sync_api import expect

from checks.services.defects import raise_defect
from checks.services.due import refresh_due
from tests.browser.fits import fits
from tests.checks.work import performed
from tests.world import World, build_world

OVER = ("300", "310", "310", "310")


@pytest.fixture
def world(transactional_db: None) -> World:
    return build_world(today=dt.date.today())


def opens(page, path: str) -> None:
    assert page.goto(path).status == 200
    fits(page, path)


@pytest.mark.parametrize("who", ["technician1", "releaser1", "controller1", "director1"])
def test_homes_fit_the_screen_and_break_no_rule(browser_page, sign_in, world: World, who: str) -> None:
    performed(world, world.forward, series=OVER)
    refresh_due()
    sign_in(world.person(who))
    opens(browser_page, "/")


def test_pages_fit_the_screen_and_break_no_rule(browser_page, sign_in, world: World) -> None:
    over = performed(world, world.forward, series=OVER)
    refresh_due()
    sign_in(world.person("auditor1"))
    for path in (
        "/",
        "/icing/",
        "/aircraft/",
        f"/aircraft/{world.forward.registration}/",
        "/defects/",
        f"/defects/{over.defect.pk}/",
        "/procedures/",
        f"/procedures/revisions/{over.revision_id}/",
    ):
        opens(browser_page, path)


def test_a_tap_on_the_home_starts_the_check(browser_page, sign_in, world: World) -> None:
    refresh_due()
    sign_in(world.person("technician1"))
    browser_page.goto("/")
    browser_page.locator("main li button").first.click()
    browser_page.wait_for_url("**/checks/*-*-*-*-*/")
    assert world.forward.events.count() + world.underfloor.events.count() == 1


def test_the_last_day_follows_what_is_chosen(browser_page, sign_in, world: World) -> None:
    defect = raise_defect(aircraft=world.forward, by=world.person("technician1"), description="Drip.")
    sign_in(world.person("controller1"))
    browser_page.goto(f"/defects/{defect.pk}/defer/?item={world.item('30-10-01').pk}")
    last_day = browser_page.locator("#last-day")
    recorded = browser_page.get_by_label("Recorded date")
    for day, last in (("2025-01-26", "5 Feb 2025"), ("2025-01-20", "30 Jan 2025")):
        recorded.fill(day)
        recorded.blur()
        expect(last_day).to_contain_text(last)


def test_filtering_keeps_the_page_and_back_brings_the_whole_of_it(
    browser_page, sign_in, world: World
) -> None:
    raise_defect(aircraft=world.forward, by=world.person("technician1"), description="Drip.")
    sign_in(world.person("auditor1"))
    browser_page.goto("/icing/")
    browser_page.get_by_role("combobox", name="Icing status").select_option("recorded against")
    browser_page.wait_for_url("**/icing/?*icing=recorded*")
    rows = browser_page.locator("#list tbody tr")
    expect(rows).to_have_count(1)
    expect(rows).to_contain_text(world.forward.registration)
    browser_page.go_back()
    expect(rows).to_have_count(2)
    expect(browser_page.locator("h1")).to_have_text("Icing status")
