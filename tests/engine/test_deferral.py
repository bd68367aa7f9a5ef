"""Expiry of deferrals."""

from datetime import date, timedelta

import pytest

from checks.engine.deferral import deferral_expired, deferral_expiry
from tests.reference.tables import rows


@pytest.mark.parametrize("row", rows("deferrals.csv"), ids=lambda row: f"{row['category']} {row['recorded']}")
def test_published_and_computed_last_days(row):
    last = deferral_expiry(row["category"], date.fromisoformat(row["recorded"]))
    assert last == date.fromisoformat(row["last_day"])


def test_it_holds_through_its_last_day():
    last = deferral_expiry("C", date(2002, 9, 10))
    assert not deferral_expired(last, last)
    assert deferral_expired(last, last + timedelta(days=1))


def test_category_a_runs_as_stated():
    assert deferral_expiry("A", date(2026, 1, 30), stated_days=2) == date(2026, 2, 1)
    assert deferral_expiry("A", date(2026, 1, 30), stated_days=0) == date(2026, 1, 30)


@pytest.mark.parametrize(
    ("category", "days", "says"),
    [
        ("A", None, "state them"),
        ("A", -1, "state them"),
        ("B", 5, "category A only"),
        ("E", None, "use A, B, C or D"),
    ],
)
def test_refusals(category, days, says):
    with pytest.raises(ValueError, match=says):
        deferral_expiry(category, date(2026, 1, 1), stated_days=days)
