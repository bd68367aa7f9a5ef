"""Limit tables: which limit holds, and where none does. All figures invented."""

from dataclasses import replace
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.engine.limits import Limit, LimitRow, LimitTable, NotServed, check_table, limit_at, slope_at


def upper_table(*pairs, rule="stricter_row"):
    return LimitTable(tuple(LimitRow(D(t), upper=D(u)) for t, u in pairs), "upper", rule)


FALLING = upper_table((0, 250), (10, 160), (20, 110))
BOTH = LimitTable((LimitRow(D(0), D(40), D(250)), LimitRow(D(10), D(30), D(160))), "both")


def test_a_row_is_used_as_it_stands():
    for rule in ("stricter_row", "linear", "rows_only"):
        limit = limit_at(replace(FALLING, rule=rule), D("10.0"))
        assert limit == Limit(None, D(160), D(10), "row 10 °C")


def test_between_rows_the_stricter_of_both_neighbours():
    assert limit_at(FALLING, D(1)).upper == 160
    limit = limit_at(BOTH, D(9))
    assert (limit.lower, limit.upper) == (40, 160)
    assert limit.note == "stricter of rows 0 and 10 °C"


def test_between_rows_on_a_straight_line():
    # By hand: 250 - 0.3 * 90 = 223; 40 - 0.3 * 10 = 37.
    limit = limit_at(replace(BOTH, rule="linear"), D(3))
    assert (limit.lower, limit.upper) == (37, 223)


def test_a_line_is_rounded_to_the_strict_side():
    table = LimitTable((LimitRow(D(0), D(1), D(10)), LimitRow(D(3), D(2), D(11))), "both", "linear")
    limit = limit_at(table, D(1))
    assert (limit.lower, limit.upper) == (D("1.333334"), D("10.333333"))


@pytest.mark.parametrize(("first", "second", "at", "exact"), [(1, 28, 1, 10), (0, 21, 1, 7), (28, 1, 2, 10)])
def test_a_third_of_the_way_is_exact(first, second, at, exact):
    # By hand: 1 + 27 / 3 = 10. A reading of 10 meets that limit; 9.999999 would call it over.
    assert limit_at(upper_table((0, first), (3, second), rule="linear"), D(at)).upper == exact


def test_rows_only_serves_its_rows():
    table = replace(FALLING, rule="rows_only")
    assert limit_at(table, D(5)) == NotServed(
        "no limit at 5 °C: the table serves fluid temperatures of 0, 10, 20 °C only"
    )


@pytest.mark.parametrize("rule", ["stricter_row", "linear", "rows_only"])
@pytest.mark.parametrize("temperature", ["-0.1", "20.000001", "60"])
def test_never_extrapolated(rule, temperature):
    answer = limit_at(replace(FALLING, rule=rule), D(temperature))
    assert isinstance(answer, NotServed)
    assert "0" in answer.reason and "20 °C" in answer.reason


def test_one_row_serves_itself_only():
    table = upper_table((20, 110))
    assert limit_at(table, D(20)).upper == 110
    assert limit_at(table, D(21)).reason.endswith("of 20 °C only")
    assert slope_at(table, D(20)).upper == 0


@pytest.mark.parametrize(
    ("table", "says"),
    [
        (LimitTable(()), "no rows"),
        (upper_table((0, 250), (0, 240)), "two rows for 0 °C"),
        (LimitTable((LimitRow(D(0)),)), "row 0 °C has no upper limit"),
        (LimitTable((LimitRow(D(0), upper=D(9)),), "lower"), "row 0 °C has no lower limit"),
        (LimitTable((LimitRow(D(0), upper=D(9)),), "both"), "row 0 °C has no lower limit"),
        (LimitTable((LimitRow(D(0), D(1), D(9)),), "upper"), "for upper limits only"),
        (LimitTable((LimitRow(D(0), D(9), D(9)),), "both"), "lower limit 9 is not below upper limit 9"),
        (replace(FALLING, kind="middle"), "kind 'middle'"),
        (replace(FALLING, rule="nearest"), "rule 'nearest'"),
    ],
)
def test_a_faulty_table_serves_nowhere_and_says_why(table, says):
    assert any(says in question for question in check_table(table))
    answer = limit_at(table, D(0))
    assert isinstance(answer, NotServed)
    assert says in answer.reason


def test_questions_that_do_not_forbid_use():
    gap = upper_table((0, 250), (5, 200), (10, 160), (30, 90))
    assert check_table(gap) == ["no row between 10 and 30 °C: is one forgotten?"]
    assert limit_at(gap, D(10)).upper == 160
    turn = upper_table((0, 250), (10, 160), (20, 610))
    assert check_table(turn) == ["the upper limits turn round before 20 °C: is a figure mistyped?"]
    assert check_table(upper_table((0, 250), (10, 160), (20, 160), (30, 100))) == []
    assert check_table(FALLING) == []


def test_the_order_of_rows_does_not_matter():
    assert limit_at(replace(FALLING, rows=FALLING.rows[::-1]), D(4)) == limit_at(FALLING, D(4))


def test_slope_is_the_steepest_that_touches():
    assert slope_at(FALLING, D(5)).upper == 9
    assert slope_at(FALLING, D(15)).upper == 5
    assert slope_at(FALLING, D(10)).upper == 9
    assert slope_at(FALLING, D(10)).lower == 0
    assert slope_at(BOTH, D(5)).lower == 1


TEMPERATURES = st.lists(st.integers(-30, 60), min_size=2, max_size=8, unique=True)


@given(st.data(), TEMPERATURES)
def test_stricter_is_never_looser_than_the_line(data, temperatures):
    limits = st.decimals(1, 500, places=3)
    found = [(t, data.draw(limits), data.draw(limits)) for t in temperatures]
    table = LimitTable(
        tuple(LimitRow(D(t), min(a, b), max(a, b) + 1) for t, a, b in found), "both", "stricter_row"
    )
    asked = data.draw(st.decimals(min(temperatures), max(temperatures), places=2))
    strict, line = limit_at(table, asked), limit_at(replace(table, rule="linear"), asked)
    assert strict.upper <= line.upper
    assert strict.lower >= line.lower
    assert line.upper <= max(row.upper for row in table.rows)
