"""What is expected of a reading, and what is asked where it is not: by hand and as properties.

The interval of 3.5 standard deviations and the rule of asking once are assumptions of ours, tried in
simulation; no outside source gives them. The tables at other temperatures are held to the fluid's own curve
(tests/reference/glycol_viscosity.csv by way of test_fluid).
"""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.engine.drift_data import GroupFit
from checks.engine.drift_entry import expected_rows, follows_fluid
from checks.engine.drift_reference import Reference
from checks.engine.entry import Expected, Taken, ask, expected_at, reading_words
from checks.engine.fluid import viscosity_ratio

D = Decimal
PLAIN = GroupFit(0, 0, 0, 0, 0, 0.1, 6)
BAND = (90.0, 100.0, 112.0)  # 5, 50 and 95 % at 20 °C
WHOLE = {"min_value": 1, "max_value": 10**9}


def row(t: str, low: int, middle: int, high: int) -> Expected:
    return Expected(D(t), D(low), D(middle), D(high))


def pressure(exponent: float = 1.0) -> Reference:
    return Reference((20.0,), (150.0,), 100.0, exponent)


def test_at_twenty_degrees_the_band_stretched_to_so_many_standard_deviations() -> None:
    """5 and 95 % of a normal distribution lie 1.645 sd off: by hand, ln 100/90 / 1.645 x 3.5 below."""
    at = expected_at(expected_rows(BAND, pressure(), PLAIN, 3.5), D(20))
    assert float(at.middle) == pytest.approx(100)
    assert float(at.low) == pytest.approx(100 * (90 / 100) ** (3.5 / 1.645), rel=1e-6)
    assert float(at.high) == pytest.approx(100 * (112 / 100) ** (3.5 / 1.645), rel=1e-6)


@pytest.mark.parametrize("t", [-9.3, 0.0, 6.2, 11.9, 27.4, 34.9])
def test_between_rows_it_follows_the_fluid_to_a_third_of_a_percent(t: float) -> None:
    at = expected_at(expected_rows(BAND, pressure(), PLAIN, 3.5), D(str(t)))
    assert float(at.middle) == pytest.approx(100 * float(viscosity_ratio(np.array(t), 20.0)), rel=0.0033)


def test_the_fleets_own_correction_is_on_top_of_the_table() -> None:
    """b1 = 0.05 ln per 10 K: at 30 °C five in a hundred more than by the table alone."""
    by_table, corrected = (
        expected_at(expected_rows(BAND, pressure(), group, 3.5), D(30)).middle
        for group in (PLAIN, GroupFit(0.05, 0, 0, 0, 0, 0.1, 6))
    )
    assert float(corrected / by_table) == pytest.approx(np.exp(0.05), rel=1e-6)


def test_a_flow_does_not_follow_the_fluid() -> None:
    assert follows_fluid(pressure()) and not follows_fluid(pressure(0.1))


def test_beyond_the_fluids_curve_nothing_is_expected() -> None:
    rows = expected_rows(BAND, pressure(), PLAIN, 3.5)
    assert expected_at(rows, D("-10.1")) is None and expected_at(rows, D("35.1")) is None
    assert expected_at(rows, D("-10")) and expected_at(rows, D("35"))


def test_words_are_rounded_so_that_what_is_outside_looks_outside() -> None:
    e = Expected(D("12"), D("92.7"), D("100"), D("107.2"))
    assert reading_words(Taken(D("131"), e, True), "kPa") == (
        "expected 93 to 107 kPa at 12 °C on this aircraft; read 131"
    )
    assert reading_words(Taken(D("107.5"), e, True), "kPa").endswith(
        "93 to 107 kPa at 12 °C on this aircraft; read 107.5"
    )
    assert "13.5 to 15.5 psi" in reading_words(Taken(D("131"), e, True), "[psi]")


def test_words_need_something_expected() -> None:
    with pytest.raises(ValueError, match="nothing is expected"):
        reading_words(Taken(D(1), None, True), "kPa")


sides = st.lists(st.integers(**WHOLE), min_size=3, max_size=3, unique=True).map(sorted)
rows_of = st.lists(
    st.tuples(st.integers(-10, 35), sides), min_size=2, max_size=6, unique_by=lambda one: one[0]
).map(lambda found: [row(str(t), *numbers) for t, numbers in found])


@given(rows_of, st.decimals(-12, 37, places=2))
def test_between_two_rows_it_lies_between_them_and_keeps_its_order(rows: list[Expected], t: Decimal) -> None:
    found = expected_at(rows, t)
    inside = min(r.temperature for r in rows) <= t <= max(r.temperature for r in rows)
    assert (found is not None) == inside
    if found:
        assert found.low <= found.middle <= found.high
        assert min(r.low for r in rows) <= found.low and found.high <= max(r.high for r in rows)


taken = st.builds(
    Taken,
    st.integers(**WHOLE).map(D),
    st.none() | sides.map(lambda numbers: row("20", *numbers)),
    st.booleans(),
)


@given(st.lists(taken, max_size=9))
def test_nobody_is_asked_twice_about_one_thing(read: list[Taken]) -> None:
    """What is asked is implausible; the temperature is asked about for points that follow the fluid only, and
    then none of them is asked about by itself."""
    asked = ask(read)
    assert not set(asked.readings) & set(asked.together)
    assert all(read[n].implausible for n in asked.readings)
    assert all(read[n].follows and read[n].strays == asked.direction for n in asked.together)
    if asked.together:
        assert len(asked.together) >= 2 and any(read[n].implausible for n in asked.together)
        assert not any(read[n].follows for n in asked.readings)
    else:
        assert list(asked.readings) == [n for n, one in enumerate(read) if one.implausible]


@given(st.lists(taken, max_size=9))
def test_what_is_plausible_asks_nothing(read: list[Taken]) -> None:
    if not any(one.implausible for one in read):
        assert ask(read).readings == ask(read).together == ()
