"""What is asked about totals that are odd beside those before."""

import datetime as dt
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.engine.use_questions import Before, use_questions

DAY = dt.date(2025, 3, 1)
USUAL = Before(DAY, Decimal("2000.00"), 1500, Decimal("3"), Decimal("4"))


def asked(days: int, flown: str, landed: int, before: Before = USUAL, gap_days: int = 14) -> list[str]:
    return [
        question.field
        for question in use_questions(
            before,
            before.on + dt.timedelta(days=days),
            before.hours + Decimal(flown),
            before.landings + landed,
            gap_days=gap_days,
        )
    ]


@pytest.mark.parametrize(
    ("days", "flown", "landed", "fields"),
    [
        (7, "21", 28, []),
        (1, "0", 0, []),
        (14, "42", 56, []),
        (15, "42", 56, ["on"]),
        (7, "168.01", 28, ["hours"]),  # more than the day has
        (7, "63", 28, []),  # three times the usual is a busy week
        (7, "63.1", 28, ["hours"]),
        (1, "13", 4, []),  # three times the usual day, but not ten hours above it
        (1, "13.1", 4, ["hours"]),
        (7, "21", 84, []),
        (7, "21", 85, ["landings"]),
        (7, "21", 0, ["landings"]),
        (7, "12", 0, []),
        (7, "0", 1, ["hours"]),
        (30, "2100", 3000, ["on", "hours", "landings"]),  # slipped digits after a gap
    ],
)
def test_what_is_odd(days: int, flown: str, landed: int, fields: list[str]) -> None:
    assert asked(days, flown, landed) == fields


def test_without_a_usual_use_only_the_impossible_is_asked() -> None:
    before = Before(DAY, Decimal("0"), 0)
    assert asked(7, "160", 400, before) == []
    assert asked(7, "169", 400, before) == ["hours"]


def test_the_words_name_the_figures() -> None:
    (question,) = use_questions(USUAL, dt.date(2025, 3, 8), Decimal("2100.00"), 1528, gap_days=14)
    assert question.text == "100.00 h since 01 Mar 2025, where about 21.0 h would be usual."


@given(
    days=st.integers(-30, 400),
    hours=st.decimals(0, 9999, places=2),
    landings=st.integers(0, 9999),
)
def test_what_is_refused_elsewhere_is_not_asked_and_nothing_fails(
    days: int, hours: Decimal, landings: int
) -> None:
    found = use_questions(USUAL, DAY + dt.timedelta(days=days), hours, landings, gap_days=14)
    backwards = days <= 0 or hours < USUAL.hours or landings < USUAL.landings
    assert not (backwards and found)
    assert {question.field for question in found} <= {"on", "hours", "landings"}
