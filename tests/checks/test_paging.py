"""Pages by where they begin: from the first to the last and back nothing is missed or shown twice."""

import datetime as dt
import random
from urllib.parse import urlencode

import pytest
from django.db import connection
from django.db.models import F, QuerySet
from django.test import RequestFactory
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from checks.models import DuePoint
from checks.views.paging import KeyPage, page_of, page_of_list
from tests.world import TODAY, build_world

pytestmark = pytest.mark.django_db
ORDERS: dict[str, tuple] = {
    "nulls first": (F("due_on").asc(nulls_first=True), "pk"),
    "nulls last": (F("due_on").asc(nulls_last=True), "pk"),
    "downwards": (F("due_on").desc(nulls_last=True), "-pk"),
    "as strings": ("due_on", "aircraft__registration"),
    "downwards as a string": ("-hours_left", "pk"),
    "over a relation": ("-aircraft__base__name", F("due_on").asc(nulls_first=True)),
    "the model's own": (),
}


@pytest.fixture
def points() -> QuerySet[DuePoint]:
    """Due points of 6 aircraft and 7 tasks, many alike and a third without a date."""
    world, rng = build_world(aircraft=6), random.Random(5)
    tasks = list(world.master.recurring.values())[:7]
    DuePoint.objects.bulk_create(
        DuePoint(
            aircraft=aircraft,
            check_due=task,
            due_on=rng.choice((None, TODAY, TODAY + dt.timedelta(days=rng.randrange(3)))),
            hours_left=rng.choice((None, 1, 2)),
            computed_at=timezone.now(),
        )
        for aircraft in world.fleet
        for task in tasks
    )
    return DuePoint.objects.all()


def ask(rows: QuerySet, page: str, per_page: int = 5, **more: object) -> KeyPage:
    return page_of(RequestFactory().get(f"/due/?{urlencode({'page': page})}"), rows, per_page, **more)


def walk(rows: QuerySet, start: str, step: str) -> list[int]:
    """Primary keys page by page from the start, by 'after' or 'before'."""
    keys: list[int] = []
    page = ask(rows, start)
    while True:
        here = [row.pk for row in page]
        keys = keys + here if step == "after" else here + keys
        word = getattr(page, step)
        if not word:
            return keys
        page = ask(rows, word)


@pytest.mark.parametrize("order", ORDERS)
def test_every_row_comes_once_in_its_order(points: QuerySet[DuePoint], order: str) -> None:
    rows = points.order_by(*ORDERS[order])
    forwards = walk(rows, "", "after")
    assert sorted(forwards) == sorted(points.values_list("pk", flat=True))
    if ORDERS[order] and order not in ("as strings", "downwards as a string", "over a relation"):
        assert forwards == list(rows.values_list("pk", flat=True))
    last = ask(rows, "last")
    assert [row.pk for row in last] == forwards[-5:] and (last.after, bool(last.before)) == ("", True)


@pytest.mark.parametrize("order", ORDERS)
def test_going_back_meets_the_same_rows(points: QuerySet[DuePoint], order: str) -> None:
    rows = points.order_by(*ORDERS[order])
    forwards = walk(rows, "", "after")
    second = ask(rows, ask(rows, "").after)
    assert [row.pk for row in ask(rows, second.before)] == forwards[:5]
    back = walk(rows, "last", "before")
    # The first page is always full, so that going back to it may show some of the second again.
    assert back[5:] == forwards[-len(back) + 5 :] and back[:5] == forwards[:5]


@pytest.mark.parametrize("page", ["after-0", "before-99999999", "after-x", "after-", "7", "first"])
def test_what_is_not_understood_or_gone_is_the_first_page(points: QuerySet[DuePoint], page: str) -> None:
    rows = points.order_by("due_on", "pk")
    assert [row.pk for row in ask(rows, page)] == [row.pk for row in ask(rows, "")]
    assert ask(rows, page).before == ""


def test_one_page_has_no_neighbours(points: QuerySet[DuePoint]) -> None:
    for page in ("", "last"):
        found = ask(points, page, per_page=100)
        assert (found.before, found.after, found.has_other_pages, found.whole) == ("", "", False, 42)
    assert list(ask(points.none(), "last")) == []


def test_keys_alone_and_a_known_number(points: QuerySet[DuePoint]) -> None:
    rows = points.order_by("pk")
    found = ask(rows, "", only_keys=True, whole=7)
    assert list(found) == [row.pk for row in ask(rows, "")] and found.whole == 7


def test_the_last_page_asks_as_little_as_the_first(points: QuerySet[DuePoint]) -> None:
    counts = []
    for page in ("", "last", ask(points, "").after):
        with CaptureQueriesContext(connection) as caught:
            ask(points, page)
        counts.append(len(caught))
    assert counts == [2, 2, 3]


def test_rows_in_memory_are_paged_alike() -> None:
    rows, get = list(range(12)), RequestFactory().get
    pages = {
        word: page_of_list(get(f"/?page={word}"), rows, 5, key=lambda row: row * 10)
        for word in ("", "after-40", "last")
    }
    assert [list(page) for page in pages.values()] == [rows[:5], rows[5:10], rows[7:]]
    assert [(page.before, page.after) for page in pages.values()] == [
        ("", "after-40"),
        ("before-50", "after-90"),
        ("before-70", ""),
    ]
    assert list(page_of_list(get("/?page=before-50"), rows, 5, key=lambda row: row * 10)) == rows[:5]
