"""A session that ends, an account that is closed or locked, another person: what is unsent waits."""

import datetime as dt
from urllib.parse import urlsplit

import pytest
from axes.models import AccessAttempt
from django.contrib.sessions.models import Session
from django.utils import timezone

from checks.models import CheckEvent, DraftCopy
from fleet.models import User
from tests.browser import runner as run
from tests.world import World, build_world

pytestmark = pytest.mark.parametrize("browser_page", [390], ids=["390px"], indirect=True)


@pytest.fixture
def world(transactional_db: None) -> World:
    return build_world(today=dt.date.today())


def test_signed_out_meanwhile(browser_page, sign_in, world: World) -> None:
    """The session ends in the middle: said in words, kept, and sent after signing in again."""
    page = browser_page
    sign_in(world.person("technician1"))
    run.start(page, world)
    run.wait_sent(page)
    Session.objects.all().delete()
    run.to(page, "Step 5 of 20")
    run.wait_for_words(page, "You are signed out.")
    assert run.state(page) == "Kept on this phone, not sent"
    assert page.locator("[data-run-more] a").inner_text() == "You are signed out."  # within the thumb's reach
    run.fits(page)
    page.get_by_role("link", name="Sign in again").click()
    run.log_in(page, "technician1")
    run.ready(page)
    run.wait_sent(page)
    assert run.place(page) == "Step 5 of 20"
    assert CheckEvent.objects.get().cautions_followed.count() == 3


def test_an_account_closed_meanwhile(browser_page, sign_in, world: World) -> None:
    """Closed by the director, then tried too often: the work waits on the phone until it is open again."""
    page = browser_page
    sign_in(world.person("technician1"))
    address = run.start(page, world)
    run.wait_sent(page)
    User.objects.filter(username="technician1").update(is_active=False)
    run.to(page, "Step 4 of 20")
    run.wait_for_words(page, "You are signed out.")
    page.get_by_role("link", name="Sign in again").click()
    for _ in range(5):
        run.log_in(page, "technician1")
        page.wait_for_load_state()
    assert page.get_by_role("heading", name="Too many tries").is_visible()
    assert not CheckEvent.objects.get().cautions_followed.exists()

    User.objects.filter(username="technician1").update(is_active=True)
    sign_in(world.person("technician1"))
    page.goto(address)
    run.ready(page)
    run.wait_sent(page)
    assert CheckEvent.objects.get().cautions_followed.count() == 2


def test_an_account_locked_by_wrong_passwords(browser_page, sign_in, world: World) -> None:
    """Signed out with work unsent, then a password mistyped with gloves on until the account is locked."""
    page = browser_page
    sign_in(world.person("technician1"))
    address = run.start(page, world)
    run.wait_sent(page)
    Session.objects.all().delete()
    run.to(page, "Step 5 of 20")
    run.wait_for_words(page, "You are signed out.")
    page.get_by_role("link", name="Sign in again").click()
    for _ in range(5):
        run.log_in(page, "technician1", "mistyped")
        page.wait_for_load_state()
    assert page.get_by_role("heading", name="Too many tries").is_visible()
    assert page.get_by_text("15 minutes").is_visible()
    run.fits(page)
    page.goto("/login/")
    run.log_in(page, "technician1")  # the right one, but the lock holds
    page.get_by_role("heading", name="Too many tries").wait_for()
    assert not CheckEvent.objects.get().cautions_followed.exists()

    # The lock ends; what waited on the phone is there and goes.
    earlier = timezone.now() - dt.timedelta(minutes=16)
    assert AccessAttempt.objects.update(attempt_time=earlier)
    page.goto(f"/login/?next={urlsplit(address).path}")
    run.log_in(page, "technician1")
    run.ready(page)
    assert run.place(page) == "Step 5 of 20"
    run.wait_sent(page)
    assert CheckEvent.objects.get().cautions_followed.count() == 3


def test_signed_in_anew_in_another_window(browser_page, sign_in, world: World) -> None:
    """A log-in changes the token of the forms: the run fetches the new one by itself."""
    page = browser_page
    sign_in(world.person("technician1"))
    run.start(page, world)
    page.context.clear_cookies(name="csrftoken")
    other = page.context.new_page()
    other.goto("/checks/new/")
    other.close()
    run.to(page, "Step 4 of 20")
    run.wait_sent(page)
    assert CheckEvent.objects.get().cautions_followed.count() == 2
    assert run.words(page) == ""


def test_another_person_signed_in_on_the_phone_meanwhile(browser_page, sign_in, world: World) -> None:
    page = browser_page
    sign_in(world.person("technician1"))
    run.start(page, world)
    run.wait_sent(page)
    sign_in(world.person("technician2"))
    run.to(page, "Step 4 of 20")
    run.wait_for_words(page, "Another person is signed in on this phone now.")
    assert not CheckEvent.objects.get().cautions_followed.exists()
    assert not DraftCopy.objects.exists()
