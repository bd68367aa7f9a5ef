"""Scanning labels with a phone: into the check at hand with one tap, and nothing on the phone is lost."""

import datetime as dt

import pytest

from checks.models import CheckEvent
from tests.browser import runner as run
from tests.world import World, build_world

pytestmark = pytest.mark.parametrize("browser_page", [390], ids=["390px"], indirect=True)


@pytest.fixture
def world(transactional_db: None) -> World:
    return build_world(today=dt.date.today())


def gauge_of(page) -> str:
    """What stands chosen at the timed series, in words."""
    return page.locator("select[name^=series-][data-sets]").evaluate(
        "one => one.selectedOptions[0].textContent"
    )


def scan(page, code: str) -> None:
    page.goto(f"/l/instrument/{code}/")


def test_scan_tap_and_the_gauge_is_in_the_check(browser_page, sign_in, world: World) -> None:
    page = browser_page
    sign_in(world.person("technician1"))
    run.start(page, world)
    assert gauge_of(page).startswith("Choose")
    scan(page, "gauge-1")
    run.fits(page)
    page.get_by_role("link", name="Use in this check").click()
    run.ready(page)
    run.fits(page)
    assert gauge_of(page).startswith("gauge-1, due")
    assert "gauge-1 (pressure gauge) is chosen at step 14." in page.get_by_role("status").first.inner_text()
    typed = page.locator("[name^=reading-][name$='-1-typed']")
    typed.evaluate("one => { one.value = '96'; one.dispatchEvent(new Event('change', {bubbles: true})) }")
    event = CheckEvent.objects.get()
    run.until(lambda: event.readings.filter(instrument__code="gauge-1").exists())


def test_a_scan_leaves_what_the_phone_has_not_sent(browser_page, sign_in, world: World) -> None:
    page = browser_page
    sign_in(world.person("technician1"))
    check = run.start(page, world)
    page.context.set_offline(True)
    page.locator("#check [name=remarks]").evaluate(
        "one => { one.value = 'typed in the dark'; one.dispatchEvent(new Event('change', {bubbles: true})) }"
    )
    page.locator("[data-is=kept]").wait_for(state="visible")
    page.context.set_offline(False)
    page.goto(f"{check}?instrument=gauge-1")
    run.ready(page)
    assert page.locator("#check [name=remarks]").input_value() == "typed in the dark"
    assert gauge_of(page).startswith("gauge-1, due")
    run.until(lambda: CheckEvent.objects.get().remarks == "typed in the dark")


def test_another_gauge_is_not_put_under_values_that_were_read(browser_page, sign_in, world: World) -> None:
    page = browser_page
    sign_in(world.person("technician1"))
    check = run.start(page, world)
    page.goto(f"{check}?instrument=gauge-1")
    run.ready(page)
    page.context.set_offline(True)
    typed = page.locator("[name^=reading-][name$='-1-typed']")
    typed.evaluate("one => { one.value = '96'; one.dispatchEvent(new Event('change', {bubbles: true})) }")
    page.locator("[data-is=kept]").wait_for(state="visible")
    page.route("**/run/", lambda route: route.abort())  # what was read stays on the phone alone
    page.context.set_offline(False)
    page.goto(f"{check}?instrument=gauge-2")
    run.ready(page)
    assert typed.input_value() == "96" and gauge_of(page).startswith("gauge-1, due")


def test_pages_of_labels_and_of_a_part_on_the_shelf(browser_page, sign_in, world: World) -> None:
    page = browser_page
    sign_in(world.person("controller1"))
    for where in ("/reports/labels/parts/?aircraft=Q-0000", "/reports/labels/aircraft/?base=x"):
        page.goto(where)
        run.fits(page)
    part = world.fleet[0].fitments.first()
    page.goto(f"/l/part/{part.part_id}/")
    assert page.url.endswith(f"/aircraft/Q-0000/#position-{part.position.code}")
    part.removed_on = world.today
    part.save()
    page.goto(f"/l/part/{part.part_id}/")
    assert page.get_by_text("fitted to no aircraft").is_visible()
    run.fits(page)


def test_a_code_is_typed_instead_without_a_network_too(browser_page, sign_in, world: World) -> None:
    page = browser_page
    sign_in(world.person("technician1"))
    run.start(page, world)
    run.to(page, "Step 14 of 20")
    page.context.set_offline(True)
    code = page.get_by_label("or its code").locator("visible=true")
    code.fill("thermo-1")
    code.press("Enter")
    page.get_by_text("Not offered here: thermo-1.").wait_for()
    assert gauge_of(page).startswith("Choose")
    run.fits(page)
    code.fill("Gauge-2")
    code.press("Enter")
    assert gauge_of(page).startswith("gauge-2, due")
    assert not code.is_visible()  # one is chosen: nothing more to ask
    assert page.evaluate("document.activeElement.matches('[data-sets]')")
    page.locator("[data-is=kept]").wait_for(state="visible")
