"""Every screen of the runner, by day and in the dark; the outline of a panel under a thumb and under keys."""

import datetime as dt
from urllib.parse import urlsplit

import pytest

from checks.models import CheckEvent, Step
from tests.browser import runner as run
from tests.browser.fits import fits
from tests.checks.work import performed, started
from tests.world import World, build_world

pytestmark = pytest.mark.parametrize("browser_page", [390], ids=["390px"], indirect=True)
LOOK = "Step 17 of 20"


@pytest.fixture
def world(transactional_db: None) -> World:
    return build_world(today=dt.date.today())


def test_every_screen_can_be_read_and_used(browser_page, sign_in, world: World) -> None:
    page = browser_page
    sign_in(world.person("technician1"))
    run.start(page, world)
    page.locator("[data-run-list] summary").click()
    fits(page, "the list of steps")
    screens = []
    while True:
        screens.append(run.place(page))
        fits(page, screens[-1])
        if not page.locator("[data-run-next]").is_visible():
            break
        run.onward(page)
    steps = CheckEvent.objects.get().revision.steps
    assert set(steps.values_list("kind", flat=True)) == set(Step.Kind.values)  # each kind has its screen
    around = ["Place and totals", "Put back", "Conditions", "Remarks and outcome"]
    of_steps = [f"Step {number} of {steps.count()}" for number in range(1, steps.count() + 1)]
    assert screens == [around[0], *of_steps, *around[1:]]
    page.locator("#photos summary").click()
    page.get_by_text("Throw this draft away").click()
    fits(page, "photos, throwing away")
    page.get_by_role("button", name="Whole form").click()
    fits(page, "whole form")


def test_on_a_retest_of_the_same_day_a_warning_is_shown_and_not_asked(
    browser_page, sign_in, world: World
) -> None:
    first = performed(world, world.forward, series=("300", "310", "310", "310"))
    retest = started(world, world.forward, follows=first)
    page = browser_page
    sign_in(world.person("technician1"))
    page.goto(f"/checks/{retest.pk}/")
    run.ready(page)
    run.to(page, "Step 3 of 20")
    shown = page.locator(".heed-list li:visible")
    assert shown.get_by_text("Acknowledged by you earlier today").is_visible()
    words = shown.locator("p:not(.kind, .note)")
    assert words.bounding_box()["width"] > 200  # as wide as any other warning
    assert page.locator("[data-run-next-words]").inner_text() == "Next"
    fits(page, "shown again")


def at_the_look(page, world: World):
    """A look at all panels, the first of them not satisfactory: the screen, and that panel on it."""
    run.start(page, world)
    run.to(page, "Step 13 of 20")
    run.onward(page)
    run.to(page, LOOK)
    look = page.locator(".look:visible").first
    assert look.locator(".areas").is_hidden()
    look.get_by_role("radio", name="No").check()
    return look


def test_dry_areas_are_tapped_on_the_outline(browser_page, sign_in, world: World) -> None:
    page = browser_page
    sign_in(world.person("technician1"))
    look = at_the_look(page, world)
    areas = look.locator(".areas label")
    assert areas.count() == 15 and page.locator(".areas:visible").count() == 1
    for box in (areas.nth(0).bounding_box(), areas.nth(14).bounding_box()):
        assert box["width"] >= 44 and box["height"] >= 56  # 44 x 44 CSS pixels: WCAG 2.2, 2.5.5 (from memory)
    areas.filter(has_text="tip").first.tap()
    run.wait_sent(page)
    page.context.set_offline(True)
    look.get_by_placeholder("remark").fill("a hand wide")
    areas.filter(has_text="outer").first.tap()
    page.locator("[data-is=kept]").wait_for(state="visible")
    page.reload()  # from what this phone keeps
    run.ready(page)
    assert run.place(page) == LOOK
    assert look.locator(".areas :checked").count() == 2
    fits(page, "areas marked")
    page.context.set_offline(False)
    run.wait_sent(page)
    seen = CheckEvent.objects.get().observations.get(satisfactory=False)
    assert seen.remark == "at upper outer, tip. a hand wide"

    # Meant otherwise: the marks stay in sight until they are taken away, and the server says so.
    look.get_by_role("radio", name="Yes").check()
    assert look.locator(".areas").is_visible()
    for _ in range(2):
        look.locator(".areas :checked").first.tap()
    assert look.locator(".areas").is_hidden()
    run.saw_all(page)  # unmarked outlines leave nothing open
    step = page.locator("[data-run-list] li").filter(has_text="Step 17: observe")
    assert step.locator("em").text_content() == "done"
    run.until(lambda: not CheckEvent.objects.get().observations.filter(satisfactory=False).exists())


def test_dry_areas_are_marked_with_keys_alone(browser_page, sign_in, world: World) -> None:
    page = browser_page
    sign_in(world.person("technician1"))
    look = at_the_look(page, world)
    look.get_by_role("radio", name="No").focus()
    page.keyboard.press("Tab")  # the remark
    page.keyboard.press("Tab")
    focus = "document.activeElement.closest('[role=group]')?.getAttribute('aria-label')"
    assert page.evaluate(focus) == "upper"
    page.keyboard.press("Space")
    for _ in range(5):
        page.keyboard.press("Tab")
    assert page.evaluate(focus) == "edge"
    page.keyboard.press("Space")
    group = look.get_by_role("group", name="edge")
    assert group.get_by_role("checkbox", name="root").is_checked()
    assert look.get_by_role("group", name="Where on the left wing outboard?").is_visible()
    run.wait_sent(page)
    seen = CheckEvent.objects.get().observations.get(satisfactory=False)
    assert seen.remark == "at upper root; edge root"


def test_dry_areas_are_marked_without_script(browser_page, sign_in, world: World, browser) -> None:
    sign_in(world.person("technician1"))
    address = run.start(browser_page, world)
    home = urlsplit(address)
    bare = browser.new_context(base_url=f"{home.scheme}://{home.netloc}", java_script_enabled=False)
    bare.add_cookies(browser_page.context.cookies())
    page = bare.new_page()
    page.goto(address)
    look = page.locator(".look").filter(has_text="Fin upper")
    look.get_by_role("radio", name="No").check()
    look.get_by_role("group", name="left").get_by_label("tip").check()
    page.get_by_role("button", name="Save draft").click()
    page.get_by_text("Draft saved.").wait_for()
    assert CheckEvent.objects.get().observations.get().remark == "at left tip"
    assert look.locator(".areas :checked").count() == 1
    bare.close()
