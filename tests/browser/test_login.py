"""The log-in page in a real browser, at a phone's and a desk's width."""

from fleet.models import User
from tests.browser.fits import fits
from tests.conftest import PASSWORD


def test_log_in_page_fits_and_is_accessible(browser_page) -> None:
    browser_page.goto("/login/")
    fits(browser_page)


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
