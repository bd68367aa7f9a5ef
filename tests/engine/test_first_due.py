"""The first due point, one-time checks, and what each way of counting keeps to over many occasions."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal as D

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from checks.engine.first_due import FROM_ENTRY, GIVEN, First, due_after, first_due
from checks.engine.intervals import (
    COUNTINGS,
    DAYS,
    EXCESS_COUNTS,
    HOURS,
    KEEP_GRID,
    LANDINGS,
    MONTHS,
    SEASON,
    Done,
    Interval,
    SeasonDate,
    add_months,
    next_due,
)

ENTRY = date(2020, 5, 31)
GIVEN_AT = First(GIVEN, on=date(2026, 3, 31), hours=D(5000), landings=4000)


def at(due, kind):
    return due.limb(kind).at


def test_from_entry_into_service_an_aircraft_counts_as_new():
    interval = Interval(days=90, months=6, hours=D(400), landings=300, season=SeasonDate(10, 1))
    due = first_due(First(FROM_ENTRY), interval, entry=ENTRY)
    assert (at(due, DAYS), at(due, MONTHS)) == (ENTRY + timedelta(days=90), date(2020, 11, 30))
    assert (at(due, HOURS), at(due, LANDINGS), at(due, SEASON)) == (400, 300, date(2020, 10, 1))


def test_without_a_first_due_point_nothing_is_told():
    assert first_due(First(), Interval(days=90), entry=ENTRY).limbs == ()


def test_a_given_point_takes_the_place_of_the_interval():
    interval = Interval(months=12, hours=D(600), tolerance_days=10, tolerance_hours=D(20))
    due = first_due(GIVEN_AT, interval, entry=ENTRY)
    assert [limb.kind for limb in due.limbs] == [HOURS, LANDINGS, MONTHS]
    assert (at(due, MONTHS), due.limb(MONTHS).latest) == (date(2026, 3, 31), date(2026, 4, 10))
    assert (at(due, HOURS), due.limb(HOURS).latest, at(due, LANDINGS)) == (5000, 5020, 4000)


@pytest.mark.parametrize(("done", "expected"), [("2026-03-25", "2026-09-30"), ("2026-02-01", "2026-08-01")])
def test_a_grid_begins_at_the_given_date(done, expected):
    """Inside the window the grid is kept and goes on from its first date, 31 March; outside, from done."""
    interval = Interval(months=6, tolerance_days=10, counting=KEEP_GRID)
    due = due_after(interval, GIVEN_AT, [Done(date.fromisoformat(done))], entry=ENTRY)
    assert at(due, MONTHS) == date.fromisoformat(expected)


def test_excess_over_the_first_point_counts():
    interval = Interval(hours=D(600), counting=EXCESS_COUNTS)
    done = [Done(date(2026, 3, 1), hours=D(5012))]
    assert at(due_after(interval, GIVEN_AT, done, entry=ENTRY), HOURS) == 5600


def test_a_one_time_check_has_no_next_one():
    interval = Interval(once=True, tolerance_days=5)
    due = first_due(GIVEN_AT, interval, entry=ENTRY)
    assert at(due, DAYS) == date(2026, 3, 31) and due.limb(DAYS).latest == date(2026, 4, 5)
    assert due_after(interval, GIVEN_AT, [Done(date(2026, 1, 1))], entry=ENTRY).limbs == ()
    timed = Interval(once=True, months=6)
    assert at(first_due(First(FROM_ENTRY), timed, entry=ENTRY), MONTHS) == date(2020, 11, 30)


@pytest.mark.parametrize(("arguments", "words"), [(("given",), "give the date"), (("someday",), "not known")])
def test_first_due_points_that_make_no_sense(arguments, words):
    with pytest.raises(ValueError, match=words):
        First(*arguments)


# --- what each way of counting keeps to -----------------------------------------------------------

DAYS_IN = st.dates(date(2000, 1, 1), date(2040, 1, 1))
OFFS = st.lists(st.integers(-30, 30), min_size=1, max_size=12)


@given(DAYS_IN, st.integers(1, 600), st.integers(0, 30), OFFS)
def test_a_grid_of_days_never_drifts_while_it_is_done_inside_its_window(start, days, tolerance, offs):
    """Condition: every carrying out lies within the tolerance of its due point."""
    assume(days > 2 * tolerance)
    interval = Interval(days=days, tolerance_days=tolerance, counting=KEEP_GRID)
    due = next_due(interval, Done(start))
    for n, off in enumerate(offs, start=2):
        inside = max(-tolerance, min(off, tolerance))
        due = next_due(interval, Done(at(due, DAYS) + timedelta(days=inside)), due)
        assert at(due, DAYS) == start + timedelta(days=n * days)


@given(DAYS_IN, st.integers(1, 24), st.booleans(), OFFS)
def test_a_grid_of_months_never_drifts_either(start, months, to_end, offs):
    """Short months clip single points; the grid goes on from its anchor."""
    interval = Interval(months=months, tolerance_days=13, counting=KEEP_GRID, to_month_end=to_end)
    due = next_due(interval, Done(start))
    for n, off in enumerate(offs, start=2):
        inside = max(-13, min(off, 13))
        due = next_due(interval, Done(at(due, MONTHS) + timedelta(days=inside)), due)
        assert at(due, MONTHS) == add_months(start, n * months, to_month_end=to_end)


@given(st.integers(1, 90_000), st.integers(0, 500), OFFS)
def test_a_grid_of_hours_never_drifts_while_it_is_done_inside_its_window(interval, tolerance, offs):
    every, window = D(interval) / 100, D(tolerance) / 100
    assume(every > 2 * window)
    terms = Interval(hours=every, tolerance_hours=window, counting=KEEP_GRID)
    due = next_due(terms, Done(ENTRY, D(1000)))
    for n, off in enumerate(offs, start=2):
        inside = max(-window, min(D(off) / 10, window))
        due = next_due(terms, Done(ENTRY, at(due, HOURS) + inside), due)
        assert at(due, HOURS) == 1000 + n * every


@given(DAYS_IN, st.integers(1, 600), st.integers(1, 24), st.integers(1, 9000), st.booleans())
def test_counted_from_done_the_next_always_comes_after_it(done_on, days, months, hours, to_end):
    interval = Interval(days=days, months=months, hours=D(hours) / 100, to_month_end=to_end)
    due = next_due(interval, Done(done_on, D(500)), first_due(First(FROM_ENTRY), interval, entry=ENTRY))
    assert at(due, DAYS) > done_on and at(due, MONTHS) > done_on and at(due, HOURS) > 500


@given(DAYS_IN, st.integers(1, 400), st.integers(0, 60), st.integers(-400, 400))
def test_the_excess_never_gives_a_longer_interval_than_the_task_has(due_on, days, tolerance, off):
    interval = Interval(days=days, tolerance_days=tolerance, counting=EXCESS_COUNTS)
    first = first_due(First(GIVEN, on=due_on), interval, entry=ENTRY)
    done_on = due_on + timedelta(days=off)
    found = at(next_due(interval, Done(done_on), first), DAYS)
    assert found == min(done_on, due_on) + timedelta(days=days)


@given(DAYS_IN, st.integers(1, 24), st.sampled_from(COUNTINGS))
def test_done_on_its_due_point_every_way_of_counting_agrees(start, months, counting):
    """The three differ only in what was early or late (days and hours; months may clip apart)."""
    interval = Interval(days=30 * months, counting=counting)
    due = next_due(interval, Done(start))
    on_time = next_due(interval, Done(at(due, DAYS)), due)
    plain = next_due(replace(interval, counting=COUNTINGS[0]), Done(at(due, DAYS)))
    assert at(on_time, DAYS) == at(plain, DAYS)
