"""The clock and the small world of the checks tests, for reports of what was signed in it; the whole demo."""

from collections.abc import Iterator

import pytest
from django.db import transaction

from reports.demo.history import generate
from reports.demo.plan import Truth
from tests.checks.conftest import clock, world
from tests.snapshot import once
from tests.world import TODAY

__all__ = ["clock", "world"]


@pytest.fixture(scope="module")
def truth(django_db_setup: None, django_db_blocker) -> Iterator[Truth]:
    """The loaded demo, for tests that only read: in the database while the tests of one file run.

    Give such a file `pytest.mark.xdist_group("demo")`, so that one worker loads it for all of them, and
    `pytest.mark.django_db`, so that the database is made before this fills it.
    """
    with django_db_blocker.unblock(), transaction.atomic():
        yield once(("demo", TODAY), lambda: generate(today=TODAY))
        transaction.set_rollback(True)
