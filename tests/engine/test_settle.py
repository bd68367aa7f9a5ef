"""Settled series and the ceiling after a stated time.

The rules (one value a minute until three in a row agree; above 25 psi two minutes into the test: purge
again) are common practice, no source. Other figures are invented.
"""

from decimal import Decimal as D

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from checks.engine.settle import (
    AFTER,
    COUNTED,
    DEPARTS,
    NEW_RUN,
    NOT_JUDGED,
    SETTLED,
    TIME_ZERO,
    Sample,
    ceiling,
    settle,
)
from checks.engine.units import difference_to_canonical, to_canonical


def series(*pairs):
    return [Sample(D(t), D(str(v))) for t, v in pairs]


def settled(*pairs, resolution="1", **options):
    return settle(series(*pairs), resolution=D(resolution), **options)


def test_three_in_a_row_a_minute_apart():
    found = settled((0, 20), (60, 20), (120, 20), (180, 20))
    assert (found.settled, found.value, found.index, found.elapsed_s) == (True, 20, 3, 180)
    assert found.marks == (TIME_ZERO, COUNTED, COUNTED, SETTLED)


def test_time_zero_does_not_count():
    found = settled((0, 20), (60, 20), (120, 20))
    assert not found.settled
    assert found.reason == "not settled: 3 readings in a row must agree, the present run has 2"


def test_rising_then_settled_gives_the_third_value():
    found = settled((60, 14), (120, 18), (180, 20), (240, 20.5), (300, 20.5))
    assert (found.value, found.elapsed_s) == (D("20.5"), 300)


@pytest.mark.parametrize(("last", "agrees"), [("20.5", True), ("20.51", False)])
def test_agreement_is_half_the_resolution_inclusive(last, agrees):
    assert settled((60, 20), (120, 20), (180, last)).settled is agrees


def test_disagreement_names_the_spread():
    found = settled((60, 20), (120, 21), (180, 20))
    assert found.reason == "not settled: the last 3 readings differ by 1, more than half the resolution, 0.5"


@pytest.mark.parametrize(("second", "counts"), [(50, True), (70, True), (49, False), (71, False)])
def test_ten_seconds_off_cadence_counts_and_more_does_not(second, counts):
    # The pump starts at 0, the first reading comes at 60; the second lies `second` after it.
    found = settled((60, 20), (60 + second, 20), (120 + second, 20))
    assert found.settled is counts
    assert found.marks[1] == (COUNTED if counts else NEW_RUN)


def test_off_cadence_starts_a_new_run_at_that_reading():
    found = settled((0, 20), (60, 20), (120, 20), (200, 20), (260, 20), (320, 20))
    assert found.marks == (TIME_ZERO, COUNTED, COUNTED, NEW_RUN, COUNTED, SETTLED)
    assert found.elapsed_s == 320


def test_cadence_runs_from_the_previous_reading_not_from_the_clock():
    # Nine seconds late each time: far off the minute at the end, never off cadence.
    found = settled((69, 20), (138, 20), (207, 20))
    assert found.settled


def test_a_late_first_reading_after_time_zero_is_the_first_of_a_run():
    found = settled((0, 20), (90, 20), (150, 20), (210, 20))
    assert found.marks == (TIME_ZERO, COUNTED, COUNTED, SETTLED)


def test_a_reading_that_departs_later_is_marked_and_never_unsettles():
    found = settled((60, 20), (120, 20), (180, 20), (240, 20), (300, 24))
    assert found.settled and found.elapsed_s == 180
    assert found.marks[3:] == (AFTER, DEPARTS)
    assert "a later reading departs" in found.reason


@pytest.mark.parametrize("times", [(60, 60, 120), (120, 60, 180), (-5, 60, 120)])
def test_times_out_of_order_are_not_judged(times):
    found = settled(*((t, 20) for t in times))
    assert not found.settled
    assert "correct" in found.reason
    assert set(found.marks) == {NOT_JUDGED}


def test_no_readings():
    assert settle([], resolution=D(1)).marks == ()


@pytest.mark.parametrize(
    "options", [{"resolution": "0"}, {"cadence_s": 0}, {"needed": 1}, {"tolerance_s": -1}]
)
def test_senseless_arguments(options):
    with pytest.raises(ValueError, match="must be more than 0"):
        settled((60, 20), **options)


def test_other_cadence_and_count():
    assert settled((30, 5), (60, 5), cadence_s=30, needed=2, tolerance_s=0).settled


def test_conversion_does_not_unsettle():
    # Half a psi apart on a gauge of 1 psi, in kPa on the rounded grid.
    readings = [Sample(D(60 * i), to_canonical(D(v), "[psi]")) for i, v in enumerate(("24", "24.5", "24"), 1)]
    assert settle(readings, resolution=difference_to_canonical(D(1), "[psi]")).settled


values = st.lists(st.integers(0, 6), min_size=0, max_size=10)


few = st.lists(st.integers(0, 1), min_size=3, max_size=10)


@given(few, values)
def test_adding_a_tail_never_unsettles_or_moves_it(head, tail):
    def read(found):
        return settled(*((60 * (i + 1), v) for i, v in enumerate(found)))

    before, after = read(head), read(head + tail)
    assume(before.settled)
    assert (after.settled, after.value, after.index) == (True, before.value, before.index)
    assert len(after.marks) == len(head + tail)


@given(values, st.integers(-5, 5))
def test_a_shift_of_all_values_changes_nothing(found, shift):
    first = settled(*((60 * (i + 1), v) for i, v in enumerate(found)))
    second = settled(*((60 * (i + 1), v + shift) for i, v in enumerate(found)))
    assert (first.settled, first.index, first.marks) == (second.settled, second.index, second.marks)


def look(*pairs):
    return ceiling(series(*pairs), after_s=120, limit=D(25))


def test_ceiling_above_at_two_minutes():
    found = look((60, 20), (120, "25.1"), (180, 24))
    assert found.judged and found.breached
    assert found.first_breach == Sample(D(120), D("25.1"))
    assert [s.elapsed_s for s in found.looked_at] == [120, 180]


def test_ceiling_met_is_not_passed():
    found = look((120, 25), (180, 25))
    assert found.judged and not found.breached


def test_ceiling_looks_at_the_first_past_the_time_and_every_later_one():
    assert not look((60, 40), (119, 40), (125, 24)).breached
    assert look((60, 20), (125, 24), (185, 26)).first_breach.elapsed_s == 185


def test_ceiling_without_a_reading_that_late_is_not_judged():
    found = look((0, 30), (119, 30))
    assert (found.judged, found.breached) == (False, False)
    assert found.reason == "no reading at or past 120 s: not judged"


@given(st.lists(st.tuples(st.integers(0, 400), st.integers(0, 50)), unique_by=lambda p: p[0]))
def test_ceiling_does_not_depend_on_order_and_more_readings_never_heal(pairs):
    found = look(*pairs)
    assert found == look(*reversed(pairs))
    assert found.breached == any(t >= 120 and v > 25 for t, v in pairs)
    if found.breached:
        assert look(*pairs, (500, 0)).breached
