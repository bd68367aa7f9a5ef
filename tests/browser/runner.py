"""Driving the runner in a browser: a person with a phone at the aircraft, step by step."""

import re
import time
from collections.abc import Callable

from tests.browser.fits import fits as fits
from tests.world import PASSWORD, World


def start(page, world: World, task: str = "Pressure and flow check") -> str:
    """Start a check of the first aircraft; the address of its page."""
    page.goto(f"/checks/new/?aircraft={world.forward.registration}")
    page.get_by_role("button", name=task).click()
    ready(page)
    return page.url


def ready(page) -> None:
    """The runner is at work."""
    page.wait_for_url(re.compile(r"/checks/[0-9a-f-]{36}/"))
    page.wait_for_selector("#check[data-running]", state="attached")


def place(page) -> str:
    return page.locator("[data-run-place]").inner_text()


def onward(page) -> None:
    page.locator("[data-run-next]").click()


def to(page, where: str) -> None:
    """Go on, step by step, until the heading says where."""
    for _ in range(40):
        if place(page) == where:
            return
        onward(page)
    raise AssertionError(f"no screen says {where!r}")


def wait_sent(page) -> None:
    page.locator("[data-is=sent]").wait_for(state="visible")


def state(page) -> str:
    return page.locator("[data-run-state]").inner_text().strip()


def words(page) -> str:
    """What the runner says above the step."""
    return page.locator("#run-words").inner_text() if page.locator("#run-words").is_visible() else ""


def wait_for_words(page, said: str) -> None:
    page.locator("#run-words").get_by_text(said).first.wait_for()


def choose_instrument(page) -> None:
    page.locator("select[data-sets]:visible").first.select_option(index=1)


def enter(page, value: str | None = None) -> None:
    """One value of the series; without one, the last value again: a single tap."""
    if value is not None:
        page.locator("[data-value]:visible").fill(value)
    page.locator("[data-take]:visible").click()


def clock_to(page, seconds: int) -> None:
    """Move the page's clock on until so many seconds have passed since the pump was switched on."""
    minutes, rest = page.locator("[data-series] [data-shows]").inner_text().split(":")
    page.clock.fast_forward((seconds - int(minutes) * 60 - int(rest)) * 1000)


def temperature(page):
    """The field of the fluid temperature on the screen."""
    return page.get_by_label("Temperature", exact=True).locator("visible=true")


def saw_all(page) -> None:
    for look in page.locator(".look:visible").all():
        look.get_by_role("radio", name="Yes").check()


def log_in(page, person: str, password: str = PASSWORD) -> None:
    """Through the log-in page, as a person does."""
    page.get_by_label("User name").or_(page.get_by_label("Username")).fill(person)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in").click()


def until(true: Callable[[], bool], tries: int = 100) -> None:
    """Wait, up to five seconds, for something that no element shows."""
    for _ in range(tries):
        if true():
            return
        time.sleep(0.05)
    raise AssertionError("it did not become true")
