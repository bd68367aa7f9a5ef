"""Deferrals under flight hours and flight days, and extensions.

No published worked case was found for these. What they rest on: a flight day runs from midnight to midnight,
and category A runs as the item states (FAA PL-25 definition 22 as quoted at
airlinepilotforums.com/technical/57854); the day of recording is excluded (Transport Canada TP 9155 3.11). At
most one extension is TC CASA 2022-02; that only B and C are extended, and no longer than the interval once
more, is from memory (FAA D095), not verified. The cases are worked by hand.
"""

from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.engine.deferral import (
    CATEGORY_DAYS,
    Total,
    count_flight_days,
    count_hours,
    deferral_expiry,
    latest_extension,
)

DAY = date(2025, 1, 26)


def after(days: int) -> date:
    return DAY + timedelta(days=days)


def total(days: int, hours: str, landings: int) -> Total:
    return Total(after(days), Decimal(hours), landings)


# --- flight hours ---------------------------------------------------------------------------------


def hours(totals: list[Total], allowed: int = 25):
    return count_hours(allowed, Decimal("1000.0"), totals, recorded_on=DAY, known_days=14)


def test_hours_are_counted_from_the_total_when_recorded() -> None:
    count = hours([total(0, "1000.0", 500), total(3, "1009.4", 506)])
    assert (count.used, count.left, count.last_on) == (Decimal("9.4"), Decimal("15.6"), None)
    assert (count.counted_to, count.known_until) == (after(3), after(17))


def test_hours_used_up_exactly_hold_through_that_day_and_beyond_not_on_it() -> None:
    assert hours([total(4, "1025.0", 1)]).last_on == after(4)
    assert hours([total(4, "1025.1", 1)]).last_on == after(3)
    later = hours([total(4, "1024.9", 1), total(6, "1025.1", 2), total(9, "1040", 3)])
    assert (later.last_on, later.left, later.known_until) == (after(5), 0, None)


def test_without_any_total_since_the_records_tell_for_so_many_days_only() -> None:
    assert hours([]).known_until == after(14)
    assert hours([total(-30, "990", 1)]).known_until == after(14)
    assert hours([total(-30, "990", 1)]).used == 0, "totals from before never count against it"


# --- flight days ----------------------------------------------------------------------------------


def flight_days(totals: list[Total], allowed: int = 3):
    return count_flight_days(allowed, totals, recorded_on=DAY)


def test_the_day_of_recording_is_no_flight_day_of_the_interval() -> None:
    count = flight_days([total(0, "100", 50)])
    assert (count.used, count.left, count.known_until) == (0, 3, after(3))


def test_days_with_flights_count_and_days_without_do_not() -> None:
    totals = [total(0, "100", 50), total(1, "102", 52), total(2, "102", 52), total(3, "103", 53)]
    count = flight_days(totals)
    assert (count.used, count.left, count.last_on, count.known_until) == (2, 1, None, after(4))
    assert flight_days([*totals, total(6, "104", 54)]).last_on == after(4), "at the earliest the next day"
    assert flight_days([*totals, total(4, "104", 54)]).last_on == after(4)


def test_between_totals_that_lie_apart_the_most_there_may_have_been_count() -> None:
    week = [total(-1, "100", 50), total(6, "110", 52)]
    assert flight_days(week).used == 2, "no more than were landed"
    assert flight_days([total(-1, "100", 50), total(6, "130", 70)]).used == 6, "nor than there were days"
    assert flight_days([total(6, "130", 70)]).used == 6, "where nothing before is known, every day"


def test_an_item_of_no_flight_day_holds_on_the_day_of_recording_alone() -> None:
    assert flight_days([], allowed=0).last_on == DAY


entries = st.lists(
    st.tuples(st.integers(1, 9), st.decimals(0, 12, places=1), st.integers(0, 8)), min_size=1, max_size=12
)


def as_totals(steps: list[tuple[int, Decimal, int]]) -> list[Total]:
    """Each step so many days, hours and landings after the one before; no hours without a landing."""
    found, day, flown, landed = [total(0, "0", 0)], 0, Decimal(0), 0
    for days, more, landings in steps:
        day, landed = day + days, landed + landings
        flown += more if landings else 0
        found.append(Total(after(day), flown, landed))
    return found


@given(entries, st.integers(1, 40))
def test_use_only_grows_and_once_reached_the_last_day_never_moves(steps, allowed: int) -> None:
    totals = as_totals(steps)
    for count in (
        lambda known: flight_days(known, allowed),
        lambda known: count_hours(allowed, Decimal(0), known, recorded_on=DAY, known_days=14),
    ):
        told = [count(totals[: n + 1]) for n in range(len(totals))]
        assert all(a.used <= b.used for a, b in pairwise(told))
        reached = [one.last_on for one in told if one.last_on]
        assert len(set(reached)) <= 1
        assert all((one.last_on is None) == (one.known_until is not None) for one in told)


@given(entries, st.integers(1, 40))
def test_flight_days_are_never_more_than_days_or_landings(steps, allowed: int) -> None:
    totals = as_totals(steps)
    count = flight_days(totals, allowed)
    assert count.used <= min((totals[-1].on - DAY).days, totals[-1].landings)
    if count.last_on:
        assert after(allowed) <= count.last_on <= totals[-1].on


# --- calendar and extension -----------------------------------------------------------------------


@given(st.sampled_from(sorted(CATEGORY_DAYS)), st.dates(date(1990, 1, 1), date(2080, 1, 1)))
def test_the_last_day_is_so_many_days_after_the_recorded_date(category: str, recorded: date) -> None:
    last = deferral_expiry(category, recorded)
    assert (last - recorded).days == CATEGORY_DAYS[category]
    assert deferral_expiry(category, recorded + timedelta(days=1)) == last + timedelta(days=1)


def test_an_extension_is_no_longer_than_the_interval_once_more() -> None:
    assert latest_extension("B", after(3)) == after(6)
    assert latest_extension("C", after(10)) == after(20)
    for category in ("A", "D"):
        with pytest.raises(ValueError, match="only B and C"):
            latest_extension(category, after(5))
