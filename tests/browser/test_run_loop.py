"""Over limit, purge, test again, release: the whole story on a phone, one step a screen from end to end."""

import datetime as dt
import re

import pytest

from checks.models import CheckEvent
from tests.browser import runner as run
from tests.browser.test_check_story import release
from tests.world import PASSWORD, World, build_world

pytestmark = pytest.mark.parametrize("browser_page", [390], ids=["390px"], indirect=True)


@pytest.fixture
def world(transactional_db: None) -> World:
    return build_world(today=dt.date.today())


def screens(page, **at: str) -> list[str]:
    """Every screen in turn, as a person meets it; at: what is read at the screens that ask for a value.

    Where each screen was, in order.
    """
    seen = []
    while True:
        seen.append(run.place(page))
        assert page.locator("section.step:visible, .heed-list > li:visible").count() <= 1
        carry_out(page, **at)
        run.fits(page)
        if not page.locator("[data-run-next]").is_visible():
            return seen
        run.onward(page)


def carry_out(page, *, series: str = "96", volume: str = "170") -> None:
    """What the one screen that is shown asks for."""
    if page.locator("select[data-sets]:visible").count():
        run.choose_instrument(page)
    if run.temperature(page).count():
        run.temperature(page).fill("20")
    if page.locator("[data-series]:visible").count():
        for minute in (1, 2, 3, 4):
            run.clock_to(page, 60 * minute)
            run.enter(page, series if minute == 1 else None)
    if page.locator("[data-collection]:visible").count():
        page.locator("[data-begin]").click()
        page.clock.fast_forward(60_000)
        page.get_by_text("Time is up: take the vessel away, then tap.").wait_for()
        page.locator("[data-end]").click()
        page.get_by_label("Volume collected").fill(volume)
    run.saw_all(page)
    for box in page.locator("[data-card='Put back']:visible input").all():
        box.check()


def sign(page) -> str:
    """From the last screen to the record; its address."""
    run.wait_sent(page)
    page.get_by_role("button", name="Go to signing").click()
    page.wait_for_url("**/sign/")
    run.fits(page)
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Sign as performed").click()
    page.wait_for_url(re.compile(r"/checks/[0-9a-f-]{36}/$"))
    return page.url


def test_over_limit_purge_retest_and_release_one_step_a_screen(browser_page, sign_in, world: World) -> None:
    page = browser_page
    sign_in(world.person("technician1"))
    run.start(page, world)
    page.clock.install()
    page.clock.resume()
    seen = screens(page, series="310")
    assert [place for place in seen if place.startswith("Step")] == [f"Step {n} of 20" for n in range(1, 21)]
    page.locator("#outcome-line").get_by_text("over limit").wait_for()
    first = sign(page)
    assert page.get_by_text("A defect is on record").is_visible()
    page.goto(first)
    page.get_by_role("button", name="Panel purge, then test again").click()
    run.ready(page)
    seen = screens(page)
    assert (
        "Put back" in seen
        and f"Step 16 of {CheckEvent.objects.get(state='draft').revision.steps.count()}" in seen
    )
    sign(page)
    page.get_by_role("button", name="Test again: Pressure and flow check").click()
    run.ready(page)
    run.to(page, "Step 2 of 20")
    assert (
        page.locator(".heed-list > li:visible").get_by_text("Acknowledged by you earlier today").is_visible()
    )
    screens(page, series="96")
    page.locator("#outcome-line").get_by_text("within limit").wait_for()
    retest = sign(page)
    assert page.locator(".attempts li").count() == 3
    attempts = CheckEvent.objects.order_by("signed_at")
    assert [(one.revision.procedure.kind, one.outcome) for one in attempts] == [
        ("check", "over limit"),
        ("purge", "done"),
        ("check", "within limit"),
    ]
    assert all(one.cautions_followed.filter(restored=True).exists() for one in attempts)
    release(page, sign_in, world, retest)
