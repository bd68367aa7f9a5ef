"""Repeat defects: the same place within so many days."""

from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from checks.engine.repeats import Found, repeats

DAY = date(2025, 3, 12)


def found(key: int, days: int, *places: str) -> Found:
    return Found(key, DAY + timedelta(days=days), frozenset(places))


def pairs(*defects: Found, within: int = 30) -> set[tuple[int, int, int]]:
    return {(one.of, one.other, one.days) for one in repeats(defects, within_days=within)}


def test_the_same_place_within_the_days_is_a_repeat_both_ways_round() -> None:
    assert pairs(found(1, 0, "wing"), found(2, 30, "wing", "fin")) == {(2, 1, 30), (1, 2, -30)}


def test_another_place_a_day_later_or_no_place_at_all_is_none() -> None:
    assert not pairs(found(1, 0, "wing"), found(2, 31, "wing"))
    assert not pairs(found(1, 0, "wing"), found(2, 3, "fin"))
    assert not pairs(found(1, 0), found(2, 3))


def test_the_nearest_in_time_comes_first_and_names_what_is_shared() -> None:
    listed = repeats([found(1, 0, "a"), found(2, 20, "a", "b"), found(3, 25, "a", "b")], within_days=30)
    assert [(one.of, one.other) for one in listed if one.of == 3] == [(3, 2), (3, 1)]
    assert next(one for one in listed if one.of == 3).places == {"a", "b"}


defects = st.lists(st.tuples(st.integers(0, 200), st.frozensets(st.sampled_from("abcd"))), max_size=8).map(
    lambda rows: [Found(n, DAY + timedelta(days=d), places) for n, (d, places) in enumerate(rows)]
)


@given(defects, st.integers(0, 120))
def test_it_is_mutual_and_grows_with_the_days(listed: list[Found], within: int) -> None:
    told = {(one.of, one.other) for one in repeats(listed, within_days=within)}
    assert {(b, a) for a, b in told} == told and all(a != b for a, b in told)
    assert told <= {(one.of, one.other) for one in repeats(listed, within_days=within + 10)}
