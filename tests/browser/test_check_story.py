"""The whole story at a phone's width: a check over its limit, purge, test again, rectified, released.

On the way: what is seen at once without reloading, what stays typed, and that the pages fit and can be used.
"""

import datetime as dt
import re

import pytest
from django.urls import reverse

from checks.models import CheckEvent
from tests.browser.fits import fits
from tests.world import PASSWORD, World, build_world

PHONE = pytest.mark.parametrize("browser_page", [390], ids=["390px"], indirect=True)


@pytest.fixture
def world(transactional_db: None) -> World:
    return build_world(today=dt.date.today())


def whole_form(page) -> None:
    """The page of a draft as one form; a phone shows one step at a time until it is asked for."""
    page.wait_for_selector("#check[data-running]", state="attached")
    button = page.get_by_role("button", name="Whole form")
    if button.is_visible():  # remembered from then on
        button.click()


def work(page, *, series: tuple[str, ...] = (), volume: str = "170") -> None:
    """Carry out what the page asks for, step by step as a person would."""
    for box in page.locator("input[type=checkbox][name^=caution]").all():
        box.check()
    for select in page.locator("select[data-sets]").all():
        select.select_option(index=1)
    for minute, value in enumerate(series, start=1):
        page.locator(".series-row").nth(minute).locator("input[inputmode=decimal]").fill(value)
    if series:
        for field in page.get_by_label("Temperature", exact=True).all():
            field.fill("20")
        page.get_by_label("Collection began").fill(f"{len(series)}:10")
        page.get_by_label("Volume collected").fill(volume)
    for look in page.locator(".look").all():
        look.get_by_role("radio", name="Yes").check()


def sign(page, button: str) -> str:
    """Type the password, press the button; the address of the record."""
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name=button).click()
    page.wait_for_url(re.compile(r"/checks/[0-9a-f-]{36}/$"))
    return page.url


def go_to_signing(page) -> None:
    page.get_by_role("button", name="Go to signing").click()
    page.wait_for_url("**/sign/")


@PHONE
def test_the_same_gauge_at_every_port_is_one_tap_each(browser_page, sign_in, world: World) -> None:
    page = browser_page
    sign_in(world.person("technician1"))
    page.goto(f"/checks/new/?aircraft={world.underfloor.registration}")
    page.get_by_role("button", name="Pressure and flow check").click()
    whole_form(page)
    gauges = page.locator("select[data-sets]:has(option:has-text('gauge-3'))")
    assert gauges.count() == 9  # the system test port and eight panel ports
    # Its own unit comes with it: gauge-3 reads in psi.
    gauges.first.select_option(value=str(world.instrument("gauge-3").pk))
    same = page.get_by_role("button", name="Same instrument as above")
    for place in range(same.count()):
        same.nth(place).click()
    key = str(world.instrument("gauge-3").pk)
    assert [one.input_value() for one in gauges.all()] == [key] * 9
    psi = page.locator("select[name$=unit]").evaluate_all(
        "all => all.filter(s => s.value === '[psi]').length"
    )
    assert psi == 9
    fits(page)


@PHONE
def test_over_limit_purge_retest_and_release(browser_page, sign_in, world: World) -> None:
    page = browser_page
    sign_in(world.person("technician1"))
    page.goto("/checks/new/")
    page.get_by_role("link", name=world.forward.registration).click()
    page.get_by_role("button", name="Pressure and flow check").click()
    whole_form(page)
    fits(page)

    # One value, 'Same' for the rest: over the limit is said without reloading the page.
    work(page, series=("310",), volume="170")
    for _ in range(3):
        button = page.locator("[data-same]").nth(1)
        row = button.locator("xpath=..")
        button.click()
        assert row.locator("input[inputmode=decimal]").input_value() == "310"
        page.evaluate("document.querySelectorAll('[data-same]')[1].remove()")
    page.get_by_label("Collection began").fill("4:10")
    page.get_by_label("Remarks").fill("Cold morning")
    page.get_by_label("Remarks").blur()
    page.locator("#outcome").get_by_text("outside by 172.5 kPa").first.wait_for()
    line = page.locator("#outcome-line")
    assert "over limit" in line.inner_text()
    assert page.get_by_label("Unit").nth(1).input_value() == "kPa"  # as the gauge reads
    fits(page)
    go_to_signing(page)
    fits(page)
    first = sign(page, "Sign as performed")
    assert page.get_by_text("A defect is on record").is_visible()
    fits(page)
    see_it_in_the_icing_status(page, world, "recorded against")

    page.goto(first)
    page.get_by_role("button", name="Panel purge, then test again").click()
    whole_form(page)
    work(page)
    go_to_signing(page)
    sign(page, "Sign as performed")
    page.get_by_role("button", name="Test again: Pressure and flow check").click()
    whole_form(page)
    work(page, series=("90", "96", "96", "96"))
    go_to_signing(page)
    retest = sign(page, "Sign as performed")
    assert page.locator(".attempts li").count() == 3

    release(page, sign_in, world, retest)


def see_it_in_the_icing_status(page, world: World, words: str) -> None:
    """The list of icing status names the aircraft with what is recorded."""
    page.goto(reverse("checks:icing_status"))
    text = page.locator("main").inner_text()
    assert world.forward.registration in text and words in text.lower()


def release(page, sign_in, world: World, retest: str) -> None:
    """The releaser is told what stands against it, signs the defect as rectified, then the release."""
    sign_in(world.person("releaser1"))
    page.goto(retest)
    page.get_by_role("link", name="Go to the release").click()
    assert page.get_by_role("heading", name="Recorded against this release").is_visible()
    fits(page)
    page.get_by_role("link", name="The defect of this work").click()
    page.get_by_role("link", name="Sign as rectified").click()
    page.get_by_label("What was done").fill("Panels purged, tested again.")
    page.get_by_role("radio", name="within limit").check()
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Sign as rectified").click()
    page.wait_for_url(re.compile(r"/defects/\d+/$"))

    page.goto(retest)
    page.get_by_role("link", name="Go to the release").click()
    fits(page)
    sign(page, "Sign the release")
    assert page.locator(".headline .state").inner_text() == "released"
    event = CheckEvent.objects.get(pk=retest.rstrip("/").rsplit("/", 1)[1])
    assert set(event.signatures.values_list("act", flat=True)) == {"performed", "released"}
    assert event.follows.follows.defect.rectification.retest == event
