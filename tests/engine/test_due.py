"""Due points, whichever limb occurs first, and the states of a due list."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal as D

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.engine.due import (
    DAYS,
    DUE_SOON,
    EXCESS_COUNTS,
    HOURS,
    IN_TOLERANCE,
    KEEP_GRID,
    LANDINGS,
    MONTHS,
    NO_RECORD,
    OVERDUE,
    PLANNED,
    SEASON,
    Done,
    Due,
    Interval,
    Limb,
    SeasonDate,
    add_months,
    next_due,
    project,
    state,
)
from tests.reference.tables import rows

ISO = date.fromisoformat
NOW = date(2026, 3, 10)


def due_at(kind, at):
    return Due((Limb(kind, at, at),))


@pytest.mark.parametrize("row", rows("month_arithmetic.csv"), ids=lambda r: f"{r['anchor']}+{r['months']}")
def test_month_arithmetic(row):
    found = add_months(ISO(row["anchor"]), int(row["months"]), to_month_end=row["month_end"] == "1")
    assert found == ISO(row["result"])


@given(st.dates(date(1990, 1, 1), date(2100, 1, 1)), st.integers(1, 120))
def test_months_agree_with_pandas(anchor, months):
    assert add_months(anchor, months) == (pd.Timestamp(anchor) + pd.DateOffset(months=months)).date()


WINDOWS = pytest.mark.parametrize(
    "row", rows("due_windows.csv"), ids=lambda r: f"{r['interval']} {r['kind']}"
)


def window(row):
    """Kind, interval and a reader of the row's cells."""
    read = D if row["kind"] == HOURS else ISO
    tolerance = read(row["latest"]) - read(row["due"])
    assert tolerance == read(row["due"]) - read(row["earliest"])
    if row["kind"] == HOURS:
        interval = Interval(hours=D(row["interval"]), tolerance_hours=tolerance, counting=KEEP_GRID)
    else:
        interval = Interval(months=int(row["interval"]), tolerance_days=tolerance.days, counting=KEEP_GRID)
    return row["kind"], interval, read


def after(kind, interval, at, previous=None):
    """The due point that follows a check done at so many hours, or on a day."""
    done = Done(NOW, hours=at) if kind == HOURS else Done(at)
    return next_due(interval, done, due_at(kind, previous) if previous else None).limb(kind).at


@WINDOWS
def test_published_due_points(row):
    kind, interval, read = window(row)
    if row["done"]:
        assert after(kind, interval, read(row["done"]), read(row["due"])) == read(row["next"])


@WINDOWS
def test_published_windows_hold_to_their_edges(row):
    kind, interval, read = window(row)
    due, step = read(row["due"]), D("0.1") if kind == HOURS else timedelta(days=1)
    for edge, outside in (("earliest", -step), ("latest", step)):
        at = read(row[edge])
        assert after(kind, interval, at, due) == after(kind, interval, due)
        assert after(kind, interval, at + outside, due) == after(kind, interval, at + outside)


def test_dual_interval_counts_each_side_by_itself():
    # Same manual: every 14 days or 10 h, done 22 May 1997 at 1709 h -> 5 Jun 1997 or 1719 h.
    found = next_due(Interval(days=14, hours=D(10)), Done(date(1997, 5, 22), D(1709)))
    assert [(limb.kind, limb.at) for limb in found.limbs] == [(DAYS, date(1997, 6, 5)), (HOURS, D(1719))]


@pytest.mark.parametrize(
    ("done", "expected"), [("2806.0", "2900.0"), ("2800.0", "2900.0"), ("2790.0", "2890.0")]
)
def test_excess_counts_in_the_next_hundred_hours(done, expected):
    # 14 CFR 91.409(b) as quoted by others: due 2800.0, done 2806.0 -> next due 2900.0, 94.0 h left.
    interval = Interval(hours=D(100), tolerance_hours=D(10), counting=EXCESS_COUNTS)
    found = next_due(interval, Done(NOW, D(done)), due_at(HOURS, D("2800.0")))
    assert found.limb(HOURS).at == D(expected)
    projected = project(found, now=NOW, hours_now=D(done))
    assert projected.limbs[0].remaining == D(expected) - D(done)


def test_from_done_and_first_time():
    late = Done(date(2026, 4, 2), D(110), 60)
    interval = Interval(days=30, hours=D(100), landings=50, tolerance_landings=5)
    previous = Due((Limb(DAYS, NOW, NOW), Limb(HOURS, D(100), D(100)), Limb(LANDINGS, 50, 50)))
    for before in (None, previous):
        found = next_due(interval, late, before)
        assert [limb.at for limb in found.limbs] == [date(2026, 5, 2), D(210), 110]
    assert found.limb(LANDINGS).latest == 115
    for counting in (EXCESS_COUNTS, KEEP_GRID):
        assert next_due(replace(interval, counting=counting), late) == next_due(interval, late)


def test_a_kept_grid_of_months_counts_from_its_anchor():
    interval = Interval(months=1, tolerance_days=5, counting=KEEP_GRID)
    due = next_due(interval, Done(date(2025, 1, 31)))
    seen = [due.limb(MONTHS).at]
    for _ in range(3):
        due = next_due(interval, Done(due.limb(MONTHS).at), due)
        seen.append(due.limb(MONTHS).at)
    assert [str(day) for day in seen] == ["2025-02-28", "2025-03-31", "2025-04-30", "2025-05-31"]
    assert due.limb(MONTHS).anchor == date(2025, 1, 31)


def test_a_changed_interval_starts_a_new_anchor():
    due = next_due(Interval(months=1, tolerance_days=5, counting=KEEP_GRID), Done(date(2025, 1, 31)))
    found = next_due(Interval(months=6, tolerance_days=5, counting=KEEP_GRID), Done(date(2025, 3, 2)), due)
    assert found.limb(MONTHS).at == date(2025, 8, 28)


def test_to_month_end():
    found = next_due(Interval(months=24, to_month_end=True, tolerance_days=10), Done(date(2026, 3, 10)))
    assert (found.limb(MONTHS).at, found.limb(MONTHS).latest) == (date(2028, 3, 31), date(2028, 4, 10))


NORTH = Interval(season=SeasonDate(10, 1), tolerance_days=20)  # invented


@pytest.mark.parametrize(
    ("done", "expected"),
    [
        ("2025-10-02", "2026-10-01"),
        ("2026-05-01", "2026-10-01"),
        ("2026-07-02", "2026-10-01"),  # 91 days before
        ("2026-07-03", "2027-10-01"),  # 90 days before: serves this season
        ("2026-10-01", "2027-10-01"),  # on the date itself
        ("2026-12-31", "2027-10-01"),
    ],
)
def test_before_the_season(done, expected):
    limb = next_due(NORTH, Done(ISO(done))).limb(SEASON)
    assert (limb.at, limb.latest) == (ISO(expected), ISO(expected))  # no tolerance on a season


def test_season_in_the_southern_hemisphere_and_on_a_leap_day():
    assert next_due(Interval(season=SeasonDate(4, 1)), Done(date(2026, 1, 15))).limb(SEASON).at == date(
        2027, 4, 1
    )
    leap = Interval(season=SeasonDate(2, 29), season_window_days=0)
    assert next_due(leap, Done(date(2026, 6, 1))).limb(SEASON).at == date(2027, 2, 28)


def test_not_recorded_hours_make_a_limb_that_cannot_be_told():
    found = next_due(Interval(months=12, hours=D(100)), Done(NOW))
    assert found.limb(HOURS).at is None
    projected = project(found, now=NOW, hours_now=D(50), hours_per_day=D(2))
    assert projected.on == date(2027, 3, 10)
    assert state(projected, now=NOW) == NO_RECORD
    assert state(project(found, now=date(2027, 3, 11)), now=date(2027, 3, 11)) == OVERDUE
    assert "no hours were recorded" in projected.explanation[1] + projected.explanation[0]


def test_never_done():
    projected = project(next_due(NORTH, None), now=NOW)
    assert (projected.on, projected.governing, projected.limbs) == (None, None, ())
    assert state(projected, now=NOW) == NO_RECORD
    assert projected.explanation == ("no record of it being done: the due point cannot be told",)


def test_projection_explains_itself():
    due = next_due(Interval(months=12, hours=D(100)), Done(date(2026, 1, 10), D(1000)))
    found = project(due, now=NOW, hours_now=D("1040.5"), hours_per_day=D("2.5"))
    assert found.on == NOW + timedelta(days=23)  # 59.5 h at 2.5 a day: 23.8 days, rounded to the earlier
    assert found.governing.kind == HOURS
    assert found.explanation == (
        "hours: due at 1100 h, 59.5 h left, about 2026-04-02 at 2.5 a day",
        "months: due on 2027-01-10, 306 days left",
        "whichever occurs first: hours",
    )


def test_a_plan_never_counts_on_tolerance():
    due = next_due(Interval(days=30, tolerance_days=10), Done(NOW))
    found = project(due, now=NOW)
    assert (found.on, found.latest_on) == (NOW + timedelta(days=30), NOW + timedelta(days=40))


@pytest.mark.parametrize("rate", [None, D(0), D("0.0001")])
def test_without_a_rate_of_use_there_is_no_date_but_a_state(rate):
    due = next_due(Interval(hours=D(100)), Done(NOW, D(0)))
    found = project(due, now=NOW, hours_now=D(10), hours_per_day=rate)
    assert (found.on, found.limbs[0].remaining) == (None, 90)
    assert state(found, now=NOW) == PLANNED
    past = project(due, now=NOW, hours_now=D(101), hours_per_day=rate)
    assert (past.on, state(past, now=NOW)) == (NOW, OVERDUE)


def test_without_a_total_the_limb_cannot_be_told():
    due = next_due(Interval(landings=100), Done(NOW, landings=0))
    found = project(due, now=NOW)
    assert state(found, now=NOW) == NO_RECORD
    assert "no total of the aircraft is recorded" in found.explanation[0]


@pytest.mark.parametrize(
    ("days_on", "expected"),
    [
        (0, PLANNED),
        (69, PLANNED),
        (70, DUE_SOON),
        (100, DUE_SOON),
        (101, IN_TOLERANCE),
        (110, IN_TOLERANCE),
        (111, OVERDUE),
    ],
)
def test_states_by_date(days_on, expected):
    now = NOW + timedelta(days=days_on)
    due = next_due(Interval(days=100, tolerance_days=10), Done(NOW))
    assert state(project(due, now=now), now=now, soon_days=30) == expected


@pytest.mark.parametrize(
    ("hours", "expected"),
    [
        ("0", PLANNED),
        ("40", DUE_SOON),
        ("100", DUE_SOON),
        ("100.1", IN_TOLERANCE),
        ("105", IN_TOLERANCE),
        ("105.1", OVERDUE),
    ],
)
def test_states_by_hours(hours, expected):
    due = next_due(Interval(hours=D(100), tolerance_hours=D(5)), Done(NOW, D(0)))
    found = project(due, now=NOW, hours_now=D(hours), hours_per_day=D(2))
    assert state(found, now=NOW, soon_days=30) == expected


@pytest.mark.parametrize(
    "arguments",
    [
        {},
        {"days": 0},
        {"hours": D(-1)},
        {"days": 1, "tolerance_days": -1},
        {"days": 1, "tolerance_hours": D(-1)},
        {"days": 1, "counting": "sometimes"},
    ],
)
def test_intervals_that_make_no_sense(arguments):
    with pytest.raises(ValueError, match=r"interval|below 0|counting"):
        Interval(**arguments)


@pytest.mark.parametrize(("month", "day"), [(2, 30), (13, 1), (4, 31)])
def test_season_dates_that_no_year_has(month, day):
    with pytest.raises(ValueError, match=r"day|month"):
        SeasonDate(month, day)


AMOUNTS = st.integers(1, 2000)
COUNTING = st.sampled_from(["from done", EXCESS_COUNTS, KEEP_GRID])
DATES = st.dates(date(2000, 1, 1), date(2050, 1, 1))


@given(DATES, AMOUNTS, st.integers(1, 60), AMOUNTS, AMOUNTS, st.integers(0, 900), st.integers(0, 900))
def test_whichever_first_is_the_earliest_of_the_limbs_alone(on, days, months, hours, landings, flown, landed):
    done, parts = (
        Done(on, D(0), 0),
        ({"days": days}, {"months": months}, {"hours": D(hours)}, {"landings": landings}),
    )
    now = on + timedelta(days=10)

    def projected(**amounts):
        return project(
            next_due(Interval(**amounts), done),
            now=now,
            hours_now=D(flown),
            landings_now=landed,
            hours_per_day=D("1.7"),
            landings_per_day=D("2.3"),
        )

    alone = [projected(**part) for part in parts]
    together = projected(days=days, months=months, hours=D(hours), landings=landings)
    assert together.on == min(p.on for p in alone)
    words = [OVERDUE, IN_TOLERANCE, DUE_SOON, PLANNED]
    assert state(together, now=now) == min((state(p, now=now) for p in alone), key=words.index)


@given(DATES, AMOUNTS, st.integers(-60, 60), st.integers(0, 30), COUNTING)
def test_every_way_of_counting_stays_between_due_point_and_day_done(due_on, days, off, tolerance, counting):
    done_on = due_on + timedelta(days=off)
    interval = Interval(days=days, tolerance_days=tolerance, counting=counting)
    found = next_due(interval, Done(done_on), due_at(DAYS, due_on)).limb(DAYS).at
    assert found - timedelta(days=days) in (due_on, done_on)
    if counting == EXCESS_COUNTS:
        assert found == min(due_on, done_on) + timedelta(days=days)
    if counting == KEEP_GRID and abs(off) > tolerance:
        assert found == done_on + timedelta(days=days)


@given(DATES, st.integers(1, 12), st.integers(1, 28), st.integers(0, 200))
def test_a_season_date_lies_beyond_the_window_and_within_a_year_of_it(done_on, month, day, window):
    at = (
        next_due(Interval(season=SeasonDate(month, day), season_window_days=window), Done(done_on))
        .limb(SEASON)
        .at
    )
    assert (at.month, at.day) == (month, day)
    assert window < (at - done_on).days <= window + 366


@given(DATES, AMOUNTS, st.integers(0, 3000), st.integers(0, 3000))
def test_more_flying_never_makes_it_later(on, hours, flown, more):
    due = next_due(Interval(hours=D(hours)), Done(on, D(0)))
    first, second = (
        project(due, now=on, hours_now=D(total), hours_per_day=D(2)).on for total in (flown, flown + more)
    )
    assert second <= first
