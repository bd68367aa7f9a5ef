"""The drift pages in a real browser: nothing over the edge, no rule broken, a readout without a mouse."""

import datetime as dt

import pytest
from playwright.sync_api import expect

from checks.models import SeriesState
from checks.services.drift import refresh_drift
from checks.services.drift_card import refresh_report_card
from checks.services.drift_records import followed
from tests.browser.fits import fits
from tests.checks.drift_history import read_check, reset, series
from tests.world import World, build_world


@pytest.fixture
def world(transactional_db: None) -> World:
    """Read with two gauges, one purge, one limit crossed; all of it before today."""
    world = build_world(today=dt.date.today())
    today = dt.date.today()
    for aircraft in (world.forward, world.underfloor):
        codes = list(aircraft.variant.points.filter(pk__in=followed()).values_list("code", flat=True))
        for n, days in enumerate((700, 560, 420, 280, 140)):
            levels = dict.fromkeys(codes, 0.1 * n * (aircraft == world.forward))
            on = today - dt.timedelta(days=days)
            read_check(world, aircraft, on, levels, gauge=f"gauge-{1 + n % 2}", signed_at=_noon(on))
    on = today - dt.timedelta(days=100)
    reset(world, world.underfloor, on, ["port"], signed_at=_noon(on))
    on = today - dt.timedelta(days=40)
    read_check(world, world.forward, on, {"port": 0.9, "nozzle": 0.1}, signed_at=_noon(on))
    refresh_drift()
    refresh_report_card()
    return world


def _noon(on: dt.date) -> dt.datetime:
    return dt.datetime.combine(on, dt.time(12), tzinfo=dt.UTC)


def test_drift_pages_fit_the_screen_and_break_no_rule(browser_page, sign_in, world: World) -> None:
    SeriesState.objects.filter(aircraft=world.underfloor).update(facts={"whole_aircraft": True, "lives": []})
    sign_in(world.person("director1"))
    for path in (
        "/",
        "/drift/",
        f"/drift/aircraft/{world.forward.registration}/",
        f"/drift/aircraft/{world.underfloor.registration}/",
        f"/drift/{series(world.forward).pk}/",
        "/drift/report-card/",
        "/drift/gauges/",
        "/causes/",
    ):
        assert browser_page.goto(path).status == 200
        fits(browser_page, path)


def test_the_course_is_read_without_a_mouse(browser_page, sign_in, world: World) -> None:
    """Tab reaches the chart, the arrow keys walk it, End goes to its end; a tap reads the nearest point."""
    sign_in(world.person("director1"))
    browser_page.goto(f"/drift/{series(world.forward).pk}/")
    readout = browser_page.locator("#course .readout")
    drawn = browser_page.locator("#course svg:visible")
    expect(readout).to_be_empty()
    drawn.locator('.c-stop[tabindex="0"]').focus()
    first = readout.inner_text()
    assert "compensated" in first and "as read" in first
    browser_page.keyboard.press("ArrowRight")
    second = readout.inner_text()
    assert second != first
    browser_page.keyboard.press("End")
    last = readout.inner_text()
    assert last not in (first, second)
    browser_page.keyboard.press("Home")
    assert readout.inner_text() == first
    box = drawn.bounding_box()
    browser_page.mouse.click(box["x"] + box["width"] * 0.5, box["y"] + box["height"] * 0.6)
    assert readout.inner_text() != first


def test_the_toggle_keeps_the_readout(browser_page, sign_in, world: World) -> None:
    sign_in(world.person("director1"))
    browser_page.goto(f"/drift/{series(world.forward).pk}/")
    browser_page.locator("#course a", has_text="As read").focus()
    browser_page.keyboard.press("Enter")
    browser_page.wait_for_url("**?show=as-read")
    expect(browser_page.locator('#course a[aria-current="true"]')).to_have_text("As read")
    expect(browser_page.locator("#course .c-limit")).to_have_count(0)
    browser_page.locator('#course svg:visible .c-stop[tabindex="0"]').focus()
    expect(browser_page.locator("#course .readout")).to_contain_text("as read")


def test_a_small_chart_leads_to_its_series_and_back(browser_page, sign_in, world: World) -> None:
    sign_in(world.person("director1"))
    browser_page.goto(f"/drift/aircraft/{world.underfloor.registration}/")
    browser_page.locator("article.small a").first.click()
    browser_page.wait_for_url("**/drift/*/")
    browser_page.get_by_role("link", name="All its points").click()
    expect(browser_page.locator("h1")).to_have_text(f"Drift of {world.underfloor.registration}")
