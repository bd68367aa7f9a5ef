"""A real browser (Debian's chromium) against a live server, at a phone's and a desk's width."""

import os
import shutil
from collections.abc import Callable, Iterator
from urllib.parse import urlsplit

import pytest
from django.conf import settings
from django.test import Client

from fleet.models import User

CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
WIDTHS = (390, 1280)
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if "browser" in getattr(item, "fixturenames", ()):
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="package")
def browser() -> Iterator[object]:
    """One chromium for the folder.

    Playwright keeps an event loop in this thread, which Django's guard takes for asynchronous code;
    the guard is lifted for as long as the browser lives and no longer.
    """
    if not os.access(CHROMIUM, os.X_OK):
        pytest.skip("no browser: Debian's chromium is not installed")
    sync_api = pytest.importorskip("playwright.sync_api")
    before = os.environ.get("DJANGO_ALLOW_ASYNC_UNSAFE")
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    try:
        with sync_api.sync_playwright() as playwright:
            chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
            yield chromium
            chromium.close()
    finally:
        if before is None:
            del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]
        else:
            os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = before


@pytest.fixture(params=WIDTHS, ids=[f"{width}px" for width in WIDTHS])
def browser_page(request: pytest.FixtureRequest, browser, live_server) -> Iterator[object]:
    """A page of each width; paths are relative to the live server.

    The test fails at its end if the page raised a script error, broke the Content-Security-Policy
    or asked any other host for anything.
    """
    context = browser.new_context(
        base_url=live_server.url,
        viewport={"width": request.param, "height": 844 if request.param < 600 else 900},
        has_touch=request.param < 600,
    )
    context.set_default_timeout(15_000)
    page = context.new_page()
    problems: list[str] = []
    page.problems = problems  # a test that provokes one takes it out again
    page.on("pageerror", lambda error: problems.append(f"script error: {error}"))
    page.on(
        "console",
        lambda message: "Content Security Policy" in message.text and problems.append(message.text),
    )
    home = urlsplit(live_server.url).netloc
    page.on(
        "request",
        lambda asked: (
            urlsplit(asked.url).scheme in ("http", "https", "ws", "wss")
            and urlsplit(asked.url).netloc != home
            and problems.append(f"asked another host: {asked.url}")
        ),
    )
    yield page
    context.close()
    assert not problems, "\n".join(problems)


@pytest.fixture
def sign_in(browser_page, live_server) -> Callable[[User], None]:
    """Log a person in without typing: the session cookie is put into the browser."""

    def put_cookie(user: User) -> None:
        client = Client()
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        value = client.cookies[settings.SESSION_COOKIE_NAME].value
        browser_page.context.add_cookies(
            [{"name": settings.SESSION_COOKIE_NAME, "value": value, "url": live_server.url}]
        )

    return put_cookie
