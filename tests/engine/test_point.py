"""Outcome of one measuring point. All figures invented, canonical units."""

from dataclasses import replace
from datetime import date
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.engine.conformity import BORDERLINE, OVER, UNDER, WITHIN, InstrumentAccuracy
from checks.engine.limits import LimitRow, LimitTable
from checks.engine.point import FROM_MEMORY, NOT_VALID, Collection, InstrumentUse, PointInput, judge_point
from checks.engine.settle import Sample, ceiling, settle

TABLE = LimitTable(
    (LimitRow(D(0), upper=D(260)), LimitRow(D(10), upper=D(160)), LimitRow(D(20), upper=D(110)))
)
GAUGE = InstrumentAccuracy("full_scale_percent", D(1), D(400), D(2))
DAY = date(2026, 3, 10)
USE = InstrumentUse("gauge PG-03", DAY, date(2026, 9, 1), D(96), D(0), D(400))


def run(*values, resolution="2"):
    return settle([Sample(D(60 * i), D(v)) for i, v in enumerate(values, 1)], resolution=D(resolution))


SETTLED = run(96, 96, 96)
PORT = PointInput(
    "system test port",
    D(96),
    table=TABLE,
    temperature=D(20),
    accuracy=GAUGE,
    instruments=(USE,),
    needs_settled=True,
    settled=SETTLED,
    baseline=D(96),
)


def judged(**changes):
    return judge_point(replace(PORT, **changes))


def not_valid(says, **changes):
    found = judged(**changes)
    assert found.outcome == NOT_VALID
    assert any(says in reason for reason in found.reasons), found.reasons


def test_within_with_limit_margin_and_uncertainty():
    found = judged()
    assert (found.outcome, found.limit.upper, found.judgement.margin) == (WITHIN, 110, 14)
    # u^2 = 4^2/3 + 2^2/12 = 5.666667, U = 4.760952 (no thermometer uncertainty given)
    assert found.uncertainty == D("4.760953")
    assert found.reasons == ("96 against upper limit 110 at 20 °C: inside by 14",)


def test_thermometer_enters_by_the_slope_of_the_table():
    # 5 kPa/°C between 10 and 20 °C; 2 sqrt(5.666667 + (5 * 1.5)^2) = 15.737428 > 14
    found = judged(temperature_u=D("1.5"))
    assert found.outcome == BORDERLINE
    assert float(found.uncertainty) == pytest.approx(15.737428, abs=2e-6)


def test_over_and_borderline():
    assert judged(value=D("110.1")).outcome == OVER
    assert judged(value=D(110)).outcome == BORDERLINE


def test_a_broken_lower_limit_is_under():
    table = LimitTable((LimitRow(D(20), D(80), D(110)),), "both")
    assert judged(table=table, value=D(79)).outcome == UNDER


@pytest.mark.parametrize(
    ("says", "changes"),
    [
        ("no value", {"value": None}),
        ("no limit table", {"table": None}),
        ("no fluid temperature", {"temperature": None}),
        ("not measured (from memory)", {"temperature_source": FROM_MEMORY}),
        ("serves fluid temperatures from 0 to 20 °C", {"temperature": D("20.5")}),
        ("no series of readings", {"settled": None}),
        ("the last 3 readings differ by 6", {"settled": run(90, 92, 96)}),
        ("the ceiling was not judged", {"needs_ceiling": True}),
        (
            "no reading at or past 240 s",
            {"ceiling": ceiling([Sample(D(180), D(9))], after_s=240, limit=D(170))},
        ),
        ("no calibration on file", {"instruments": (replace(USE, calibration_due=None),)}),
        ("above the range of gauge PG-03 (to 90)", {"instruments": (replace(USE, range_upper=D(90)),)}),
        ("below the range of gauge PG-03 (from 100)", {"instruments": (replace(USE, range_lower=D(100)),)}),
    ],
)
def test_what_cannot_be_judged_is_not_valid_and_says_why(says, changes):
    not_valid(says, **changes)


def test_calibration_holds_through_its_due_day():
    assert judged(instruments=(replace(USE, calibration_due=DAY),)).outcome == WITHIN
    late = replace(USE, calibration_due=date(2026, 3, 9))
    not_valid("gauge PG-03 was out of calibration on 2026-03-10 (due 2026-03-09)", instruments=(late,))


def test_all_faults_are_told_at_once():
    found = judged(settled=None, temperature=None, instruments=(replace(USE, calibration_due=None),))
    assert len(found.reasons) == 3


def test_over_read_on_a_bad_gauge_is_not_valid():
    not_valid("no calibration", value=D(300), instruments=(replace(USE, calibration_due=None),))


BREACH = ceiling([Sample(D(120), D(180))], after_s=120, limit=D("172.368932"))


def test_a_breached_ceiling_is_over_settled_or_not():
    found = judged(ceiling=BREACH, needs_ceiling=True, settled=run(90, 180), temperature=None)
    assert found.outcome == OVER
    assert found.reasons == ("ceiling: 180 at 120 s is above 172.368932",)


def test_a_breached_ceiling_on_a_bad_gauge_is_not_valid():
    not_valid("no calibration", ceiling=BREACH, instruments=(replace(USE, calibration_due=None),))


def test_a_point_may_be_judged_by_its_ceiling_alone():
    kept = ceiling([Sample(D(120), D(150))], after_s=120, limit=D(170))
    found = judged(table=None, temperature=None, ceiling=kept)
    assert (found.outcome, found.limit) == (WITHIN, None)


COLLECTED = Collection(required_s=D(60), taken_s=D(60), tolerance_s=D(2), started_s=D(190), pressure=SETTLED)


def test_a_collection_as_it_should_be():
    assert judged(collection=COLLECTED).outcome == WITHIN
    assert judged(collection=replace(COLLECTED, taken_s=D(62), started_s=D(180))).outcome == WITHIN


@pytest.mark.parametrize(
    ("says", "changes"),
    [
        ("collected for 63 s, asked for are 60 s (± 2 s)", {"taken_s": D(63)}),
        ("collected for 57 s", {"taken_s": D(57)}),
        ("before the pressure settled at 180 s", {"started_s": D(179)}),
        ("start of the collection was not recorded", {"started_s": None}),
        ("pressure had not settled", {"pressure": run(1, 50)}),
        ("pressure had not settled", {"pressure": None}),
    ],
)
def test_a_collection_that_does_not_count(says, changes):
    not_valid(says, collection=replace(COLLECTED, **changes))


def test_too_low_is_no_pass():
    # A settled 8 kPa where the aircraft's baseline is 96 kPa.
    found = judged(value=D(8), settled=run(8, 8, 8))
    assert (found.outcome, found.too_low) == (NOT_VALID, True)
    assert "too low: 8.3 % of the baseline of this aircraft at this temperature, under 50 %" in found.reasons


def test_too_low_once_decided_in_writing_is_judged_by_the_limit_and_says_so():
    found = judged(value=D(8), low_decided=True)
    assert (found.outcome, found.too_low) == (WITHIN, True)
    assert "decided in writing" in found.reasons


def test_the_share_is_of_the_compensated_baseline():
    assert judged(value=D(48)).outcome == WITHIN  # exactly half
    assert judged(value=D("47.9")).outcome == NOT_VALID
    assert judged(value=D(60), compensation=D("1.3")).outcome == NOT_VALID
    assert judged(value=D(30), low_share=D("0.3")).outcome == WITHIN


def test_without_a_baseline_the_nominal_value_serves():
    found = judged(value=D(8), baseline=None, nominal=D(90))
    assert found.outcome == NOT_VALID
    assert any("nominal value of this point" in reason for reason in found.reasons)


def test_without_either_it_says_that_too_low_was_not_judged():
    found = judged(value=D(8), baseline=None)
    assert found.outcome == WITHIN
    assert any("too low was not judged" in reason for reason in found.reasons)


def test_nothing_at_all_is_never_a_pass():
    found = judged(value=D(0), baseline=None)
    assert (found.outcome, found.too_low) == (NOT_VALID, True)


def test_a_lower_limit_takes_the_place_of_the_share():
    table = LimitTable((LimitRow(D(20), D(5), D(110)),), "both")
    assert judged(table=table, value=D(30)).outcome == WITHIN


def test_unknown_accuracy_is_said():
    found = judged(accuracy=None)
    assert found.outcome == WITHIN
    assert any("no accuracy on file" in reason for reason in found.reasons)
    assert judged(accuracy=None, standard_u=D(8)).outcome == BORDERLINE


@given(st.decimals(-5, 400, places=1), st.booleans())
def test_no_value_over_its_limit_is_ever_anything_else(value, decided):
    found = judged(value=value, low_decided=decided)
    assert (found.outcome == OVER) == (value > 110)
    if found.outcome in (WITHIN, BORDERLINE) and not decided:
        assert value >= 48


def test_reasons_speak_in_the_unit_asked_for():
    found = judged(
        unit="bar", ceiling=ceiling([Sample(D(120), D(200))], after_s=120, limit=D(180), unit="bar")
    )
    assert found.reasons == ("ceiling: 2 bar at 120 s is above 1.8 bar",)
    assert judged(unit="bar").reasons == (
        "0.96 bar against upper limit 1.1 bar at 20 °C: inside by 0.14 bar",
    )
    not_valid("0.96 bar is above the range", instruments=(replace(USE, unit="bar", range_upper=D(90)),))
