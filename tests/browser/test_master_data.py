"""Django's admin under our policy: the page fixture ends a test that anything was blocked in."""

import pytest

from fleet.models import User
from tests.conftest import PASSWORD


@pytest.mark.parametrize(
    "path", ["", "fleet/user/", "fleet/user/add/", "fleet/base/add/", "fleet/variant/add/"]
)
def test_admin_needs_nothing_that_is_blocked(browser_page, sign_in, transactional_db, path: str) -> None:
    sign_in(User.objects.create_superuser("superuser-1", password=PASSWORD))
    answer = browser_page.goto(f"/admin/{path}")
    assert answer.status == 200 and "/login/" not in browser_page.url
    browser_page.wait_for_load_state("networkidle")
