"""A defect deferred, extended, rectified and released on its pages, while the icing status follows."""

import datetime as dt

import pytest
from playwright.sync_api import expect

from checks.models import RecurringCheck
from checks.services.defects import raise_defect
from tests.browser.fits import fits
from tests.world import PASSWORD, World, build_world

MINUTE, WALL_SECONDS = 60_000, 20_000


@pytest.fixture
def world(transactional_db: None) -> World:
    """Nothing recurs, so that the status tells of the defect alone."""
    world = build_world(today=dt.date.today())
    RecurringCheck.objects.update(active=False)
    return world


def beside(page, path: str):
    """Another tab whose clock the test moves, with a mark that a reload would take away."""
    tab = page.context.new_page()
    tab.clock.install()
    tab.goto(path)
    tab.evaluate("window.notReloaded = true")
    return tab


def after(tab, milliseconds: int) -> None:
    with tab.expect_response("**/icing/**"):
        tab.clock.run_for(milliseconds + 1000)


def sign(page, button: str) -> None:
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name=button).click()


def test_the_icing_status_follows_each_act_without_a_reload(browser_page, sign_in, world: World) -> None:
    defect = raise_defect(aircraft=world.forward, by=world.person("technician1"), description="Pump is slow.")
    page, address = browser_page, f"/defects/{defect.pk}/"
    today = dt.datetime.now(dt.UTC).date()

    sign_in(world.person("controller1"))
    status = beside(page, "/icing/")
    row = status.locator("tbody tr", has_text=world.forward.registration)
    expect(row).to_contain_text("Open defect since")

    page.goto(address)
    page.get_by_role("link", name="Defer", exact=True).click()
    page.get_by_label("30-10-03").check()
    page.get_by_role("button", name="Go on with this item").click()
    fits(page, page.url)
    for box in ("The (M) steps are done", "The crew has the (O) steps", "The placard is in place"):
        page.get_by_label(box).check()
    sign(page, "Sign the deferral")
    expect(page.get_by_text("Deferred.", exact=True)).to_be_visible()
    after(status, MINUTE)
    last = today + dt.timedelta(days=3)
    expect(row).to_contain_text(f"Deferred under 30-10-03 until {last:%d %b %Y}")

    page.get_by_role("link", name="Ask for an extension").click()
    page.get_by_label("Justification").fill("The pump is at sea.")
    sign(page, "Ask for it")
    expect(page.get_by_text("awaiting approval")).to_be_visible()
    sign_in(world.person("director1"))
    page.goto("/")
    page.get_by_role("link", name="extension to").click()
    fits(page, page.url)
    page.get_by_label("Approve it").check()
    page.get_by_label("Reason").fill("Once.")
    sign(page, "Sign the answer")
    expect(page.get_by_text("extended from")).to_be_visible()
    fits(page, address)
    after(status, MINUTE)
    expect(row).to_contain_text(f"until {last + dt.timedelta(days=3):%d %b %Y}")

    sign_in(world.person("releaser1"))
    page.goto(address)
    page.get_by_role("link", name="Sign as rectified").click()
    fits(page, page.url)
    page.get_by_label("What was done").fill("Pump changed.")
    sign(page, "Sign as rectified")
    after(status, MINUTE)
    expect(row).to_contain_text("nothing recorded against")

    page.get_by_role("link", name="Sign the release").click()
    sign(page, "Sign the release")
    expect(page.get_by_text("I approve the aircraft for return to service")).to_be_visible()
    assert status.evaluate("window.notReloaded"), "the status was never loaded anew as a page"


def test_the_wall_refreshes_itself_and_says_when_the_server_is_silent(
    browser_page, sign_in, world: World
) -> None:
    sign_in(world.person("auditor1"))
    wall = beside(browser_page, "/icing/wall/")
    fits(wall, "/icing/wall/")
    expect(wall.get_by_role("navigation", name="Places")).to_have_count(0)
    expect(wall.locator(".chips")).to_contain_text(world.forward.registration)
    raise_defect(aircraft=world.forward, by=world.person("technician1"), description="Drip.")
    after(wall, WALL_SECONDS)
    expect(wall.locator(".rows")).to_contain_text("Drip.")
    notice = wall.get_by_text("No answer from the server.")
    expect(notice).to_be_hidden()
    wall.route("**/icing/wall/**", lambda route: route.abort())
    wall.clock.run_for(WALL_SECONDS + 1000)
    expect(notice).to_be_visible()
    expect(notice).to_contain_text("Last answer")
    wall.unroute("**/icing/wall/**")
    after(wall, WALL_SECONDS)
    expect(notice).to_be_hidden()
    wall.context.clear_cookies()  # signed out: the page to sign in is no answer
    after(wall, WALL_SECONDS)
    expect(notice).to_be_visible()
    expect(wall.locator(".rows")).to_contain_text("Drip.")
    assert wall.evaluate("window.notReloaded")


def test_the_pages_beside_a_defect_and_the_mel_can_be_read_and_used(
    browser_page, sign_in, world: World
) -> None:
    by = world.person("technician1")
    defect = raise_defect(aircraft=world.forward, by=by, description="Pump is slow.")
    sign_in(world.person("controller1"))
    item = world.item().pk
    for path in (
        f"/defects/{defect.pk}/part/",
        f"/defects/{defect.pk}/ferry-permit/",
        f"/defects/{defect.pk}/defer/",
        "/defects/raise/?aircraft=" + world.forward.registration,
        "/mel/",
        "/mel/type/",
        f"/mel/{item}/",
    ):
        assert browser_page.goto(path).status == 200
        fits(browser_page, path)
