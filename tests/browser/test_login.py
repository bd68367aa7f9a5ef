"""The log-in page in a real browser, at a phone's and a desk's width."""

import pytest
from axe_playwright_python.sync_playwright import Axe

from fleet.models import User
from tests.conftest import PASSWORD


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_log_in_page_fits_and_is_accessible(browser_page, scheme: str) -> None:
    """No sideways scrolling, and no finding of axe-core (its WCAG 2 A and AA rules)."""
    browser_page.emulate_media(color_scheme=scheme)
    browser_page.goto("/login/")
    assert browser_page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    rules = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]}}
    found = Axe().run(browser_page, options=rules)
    assert found.violations_count == 0, found.generate_report()


def test_wrong_then_right_password(browser_page, auditor: User) -> None:
    browser_page.goto("/login/")
    browser_page.fill("input[name=username]", "auditor-1")
    browser_page.fill("input[name=password]", "wrong")
    browser_page.click("button[type=submit]")
    assert browser_page.get_by_role("alert").count() >= 1
    browser_page.fill("input[name=username]", "auditor-1")
    browser_page.fill("input[name=password]", PASSWORD)
    browser_page.click("button[type=submit]")
    browser_page.wait_for_url(lambda address: "/login/" not in address)
    assert any(cookie["name"] == "sessionid" for cookie in browser_page.context.cookies())


def test_a_signed_in_browser_stays_signed_in(browser_page, sign_in, auditor: User) -> None:
    sign_in(auditor)
    browser_page.goto("/login/")
    assert "/login/" not in browser_page.url


def test_the_browser_blocks_and_we_notice(browser_page) -> None:
    """The policy is in force in the browser itself: an inline style does nothing, and says so."""
    browser_page.goto("/login/")
    browser_page.evaluate("""() => {
        window.blocked = [];
        document.addEventListener("securitypolicyviolation", e => window.blocked.push(e.effectiveDirective));
    }""")
    browser_page.evaluate("document.body.insertAdjacentHTML('beforeend', '<p style=\"color:red\">x</p>')")
    browser_page.wait_for_function("window.blocked.length > 0")
    assert browser_page.evaluate("window.blocked[0]").startswith("style-src")
    assert browser_page.problems  # what ends any other test
    browser_page.problems.clear()
