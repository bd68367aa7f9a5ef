"""The range of an aircraft's use, and the dates it leads to."""

from datetime import date, timedelta
from decimal import Decimal as D

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.engine.use_range import UseRange, dates_between, use_range
from checks.engine.use_rate import use_per_day

NOW = date(2026, 3, 10)


def weekly(rates):
    """Days and totals of weeks flown at the rates, up to today."""
    days = [NOW - timedelta(days=7 * n) for n in range(len(rates), -1, -1)]
    return days, [D(str(round(total, 4))) for total in np.cumsum([1000, *(7 * rate for rate in rates)])]


def test_even_use_has_no_width():
    found = use_range(*weekly([2.0] * 12), now=NOW)
    assert found == UseRange(D("2.0000"), D("2.0000"))


def test_it_holds_what_was_seen():
    """Six weeks at 1 h a day, then six at 3 h: spans of two weeks and more lie between the two."""
    found = use_range(*weekly([1.0] * 6 + [3.0] * 6), now=NOW)
    assert D("0.9") <= found.low < D("1.2") and D("2.8") < found.high <= D("3.0")


@pytest.mark.parametrize("weeks", [0, 1, 2])
def test_too_few_spans_make_no_range(weeks):
    assert use_range(*weekly([2.0] * weeks), now=NOW) is None


def test_lists_of_two_lengths_are_refused():
    with pytest.raises(ValueError, match="1 days but 0 totals"):
        use_range([NOW], [], now=NOW)


@given(st.lists(st.floats(0, 8), min_size=5, max_size=12))
def test_low_is_never_above_high_and_the_usual_rate_is_not_far(rates):
    days, totals = weekly(rates)
    found = use_range(days, totals, now=NOW)
    assert 0 <= found.low <= found.high
    spans = [
        float(later - earlier) / (late - early).days
        for early, earlier in zip(days, totals, strict=True)
        for late, later in zip(days, totals, strict=True)
        if (late - early).days >= 14
    ]
    assert min(spans) - 1e-3 <= found.low and found.high <= max(spans) + 1e-3
    assert use_per_day(days, totals, now=NOW) is not None


def test_dates_between():
    used = UseRange(D(1), D(4))
    assert dates_between(D(40), used, since=NOW) == (NOW + timedelta(days=10), NOW + timedelta(days=40))
    assert dates_between(D(0), used, since=NOW) == (None, None)
    assert dates_between(D(40), None, since=NOW) == (None, None)
    assert dates_between(D(40), UseRange(D(0), D(4)), since=NOW) == (NOW + timedelta(days=10), None)
