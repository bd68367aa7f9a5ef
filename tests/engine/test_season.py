"""Seasons and the pace towards one: dates in both hemispheres, moves, and the range against SciPy and chance.

The negative binomial distribution is compared with scipy.stats.nbinom (another implementation, pinned in
requirements.txt). How often the range holds is counted in simulation with a seed.
"""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import nbinom

from checks.engine.season import (
    FARTHEST_DAYS,
    LEAST_DAYS,
    RECENT_DAYS,
    Meeting,
    Season,
    at_least,
    first_meeting,
    forecast,
    further,
)

NORTH, SOUTH = Season(10, 1), Season(4, 10)
SEASONS = {"north": NORTH, "south": SOUTH, "outer": Season(9, 20)}
DAYS = st.dates(date(2020, 1, 1), date(2040, 12, 31))


@pytest.mark.parametrize(
    ("season", "day", "wanted"),
    [
        (NORTH, date(2025, 3, 12), date(2025, 10, 1)),
        (NORTH, date(2025, 10, 1), date(2025, 10, 1)),
        (NORTH, date(2025, 10, 2), date(2026, 10, 1)),
        (SOUTH, date(2025, 3, 12), date(2025, 4, 10)),
        (SOUTH, date(2025, 4, 11), date(2026, 4, 10)),
    ],
)
def test_the_next_season_date_in_both_hemispheres(season: Season, day: date, wanted: date) -> None:
    assert season.next_from(day) == wanted


@pytest.mark.parametrize(
    ("day", "wanted"),
    [
        (date(2025, 9, 30), None),
        (date(2025, 10, 1), date(2025, 10, 1)),
        (date(2026, 3, 29), date(2025, 10, 1)),  # the 180th day
        (date(2026, 3, 30), None),
    ],
)
def test_a_season_runs_for_its_days_and_over_new_year(day: date, wanted: date | None) -> None:
    assert NORTH.running_on(day) == wanted


@given(day=DAYS, month=st.integers(1, 12), number=st.integers(1, 28), length=st.integers(1, 365))
def test_a_running_season_began_at_most_its_length_ago(
    day: date, month: int, number: int, length: int
) -> None:
    season = Season(month, number, length)
    began = season.running_on(day)
    assert season.next_from(day) >= day
    if began:
        assert began <= day < began + timedelta(days=length)


def meeting(today: date, place: str, *moves: tuple[date, str]) -> Meeting:
    return first_meeting(today, place, SEASONS, moves)


def test_an_aircraft_that_stays_meets_the_season_at_home() -> None:
    met = meeting(date(2025, 11, 25), "north")
    assert met == Meeting("north", date(2026, 10, 1), date(2026, 10, 1))


def test_going_south_meets_the_southern_season_first() -> None:
    met = meeting(date(2025, 11, 25), "north", (date(2026, 1, 9), "south"))
    assert met == Meeting("south", date(2026, 4, 10), date(2026, 4, 10))


def test_coming_into_a_running_season_the_checks_are_wanted_by_the_move() -> None:
    met = meeting(date(2025, 11, 25), "south", (date(2025, 12, 15), "outer"))
    assert met == Meeting("outer", date(2025, 9, 20), date(2025, 12, 15), running=True)


def test_a_stay_that_ends_before_its_season_meets_none_there() -> None:
    moves = (date(2026, 1, 9), "south"), (date(2026, 4, 1), "north")
    assert meeting(date(2025, 11, 25), "north", *moves).season == date(2026, 10, 1)


def test_a_move_after_the_season_at_home_changes_nothing() -> None:
    assert meeting(date(2025, 5, 1), "north", (date(2026, 1, 9), "south")).place == "north"


def test_a_move_whose_day_has_passed_counts_from_today() -> None:
    met = meeting(date(2026, 2, 1), "north", (date(2026, 1, 9), "south"))
    assert met == Meeting("south", date(2026, 4, 10), date(2026, 4, 10))


@pytest.mark.parametrize(("number", "days", "ahead"), [(3, 14, 1), (4, 56, 30), (20, 56, 200), (9, 40, 365)])
def test_the_chances_are_those_of_the_negative_binomial(number: int, days: int, ahead: int) -> None:
    other = nbinom(number + 0.5, days / (days + ahead))
    for wanted in (0, 1, 5, 30):
        assert at_least(number, days, ahead, wanted) == pytest.approx(other.sf(wanted - 1), abs=1e-9)
    for share in (0.1, 0.5, 0.9):
        assert further(number, days, ahead, share) == other.ppf(share)


def test_the_range_holds_8_of_10_where_work_comes_by_chance() -> None:
    """Poisson work at a known rate: 10 wanted, seen for 56 days. The range must hold about 8 in 10."""
    rng, today, opened = np.random.default_rng(11), date(2025, 9, 1), date(2025, 6, 1)
    held = told = 0
    for _ in range(600):
        gaps = rng.exponential(5.0, 80)
        days = np.floor(np.cumsum(gaps)).astype(int)
        past = [today - timedelta(days=RECENT_DAYS - int(day) - 1) for day in days if day < RECENT_DAYS]
        look = forecast(past, 10, opened=opened, today=today, by=date(2025, 12, 1))
        if look.a_week is None:
            continue
        told += 1
        true = int(days[days >= RECENT_DAYS][9]) - RECENT_DAYS + 1
        held += (look.early - today).days <= true <= (look.late - today).days
    assert told > 590
    assert 0.75 < held / told < 0.87


def test_the_pace_is_told_with_its_date_and_range() -> None:
    today = date(2025, 9, 1)
    done = [today - timedelta(days=n * 7) for n in range(8)]  # eight in 56 days: one a week
    look = forecast(done, 4, opened=date(2025, 7, 1), today=today, by=date(2025, 10, 1))
    assert (look.number, look.days, look.a_week) == (8, 56, 1.0)
    assert look.on == date(2025, 9, 29)
    assert look.early < look.on < look.late
    assert look.needed == pytest.approx(4 / (30 / 7))


@pytest.mark.parametrize(
    ("done", "opened", "said"),
    [
        ([], date(2025, 7, 1), "too few to tell a pace: 0 done in 56 days"),
        ([date(2025, 8, 20), date(2025, 8, 21)], date(2025, 7, 1), "too few to tell a pace: 2 done"),
        ([date(2025, 8, 31)] * 5, date(2025, 8, 25), "too early to tell a pace"),
    ],
)
def test_too_little_is_said_and_no_date_is_given(done: list[date], opened: date, said: str) -> None:
    look = forecast(done, 4, opened=opened, today=date(2025, 9, 1), by=date(2025, 10, 1))
    assert said in look.why_not
    assert (look.a_week, look.on, look.early, look.late) == (None, None, None, None)
    assert look.needed is not None


def test_everything_done_needs_no_pace() -> None:
    look = forecast(
        [date(2025, 8, 1)], 0, opened=date(2025, 7, 1), today=date(2025, 9, 1), by=date(2025, 10, 1)
    )
    assert (look.needed, look.on) == (None, None)


def test_before_the_first_day_that_counts_there_is_no_pace() -> None:
    look = forecast([], 4, opened=date(2025, 9, 20), today=date(2025, 9, 1), by=date(2025, 10, 1))
    assert look.days == 0 and look.a_week is None


@given(number=st.integers(3, 60), days=st.integers(LEAST_DAYS, RECENT_DAYS), left=st.integers(1, 250))
def test_the_range_is_in_order_and_grows_with_what_is_left(number: int, days: int, left: int) -> None:
    today = date(2025, 9, 1)
    done = [today] * number
    opened = today - timedelta(days=days)
    look, more = (
        forecast(done, n, opened=opened, today=today, by=date(2025, 10, 1)) for n in (left, left + 5)
    )
    never = today + timedelta(days=FARTHEST_DAYS + 1)
    early, late = look.early or never, look.late or never
    assert early <= late
    assert (more.early or never) >= early and (more.late or never) >= late
