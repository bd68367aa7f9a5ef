"""Outcome of a whole check and the next action. All figures invented."""

from dataclasses import replace
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.engine.limits import LimitRow, LimitTable
from checks.engine.outcome import (
    BORDERLINE,
    DECIDE_IN_WRITING,
    ESCALATE,
    FIND_CAUSE,
    NOT_VALID,
    OVER,
    PURGE_AND_TEST,
    RELEASE_MAY_BE_ASKED,
    WITHIN,
    Observation,
    PointInput,
    judge_check,
)

TABLE = LimitTable((LimitRow(D(20), upper=D(110)),))
BOTH = LimitTable((LimitRow(D(20), D(80), D(110)),), "both")
PORT = PointInput("test port", D(96), table=TABLE, temperature=D(20), standard_u=D(2), baseline=D(96))
NOZZLE = replace(PORT, name="nozzle", value=D(100), baseline=D(100))
CLOSE = replace(NOZZLE, value=D(109))
HIGH = replace(NOZZLE, value=D(120))
LOW = replace(PORT, table=BOTH, value=D(60))
BLIND = replace(PORT, temperature=None)
FAINT = replace(PORT, value=D(8))
WET = (Observation("left wing inboard", True), Observation("right wing inboard", True))
DRY = Observation("fin", False, "lower third stays dry")


@pytest.mark.parametrize(
    ("points", "observations", "outcome", "action"),
    [
        ((PORT, NOZZLE), WET, WITHIN, RELEASE_MAY_BE_ASKED),
        ((PORT, CLOSE), WET, BORDERLINE, RELEASE_MAY_BE_ASKED),
        ((PORT, HIGH), WET, OVER, PURGE_AND_TEST),
        ((LOW, NOZZLE), WET, OVER, FIND_CAUSE),
        ((LOW, HIGH), WET, OVER, PURGE_AND_TEST),
        ((PORT, NOZZLE), (*WET, DRY), OVER, PURGE_AND_TEST),
        ((LOW, NOZZLE), (*WET, DRY), OVER, PURGE_AND_TEST),
        ((BLIND, HIGH), WET, OVER, PURGE_AND_TEST),  # what is over stays over beside what cannot be judged
        ((BLIND, NOZZLE), WET, NOT_VALID, "not valid: test port: no fluid temperature"),
        (
            (BLIND, replace(BLIND, name="fin port"), replace(NOZZLE, table=None)),
            WET,
            NOT_VALID,
            "not valid: no fluid temperature at 2 points: test port, fin port; nozzle: no limit table",
        ),
        ((FAINT, NOZZLE), WET, NOT_VALID, DECIDE_IN_WRITING),
        ((replace(FAINT, low_decided=True), NOZZLE), WET, WITHIN, RELEASE_MAY_BE_ASKED),
        ((FAINT, replace(NOZZLE, table=None)), WET, NOT_VALID, "not valid: nozzle: no limit table"),
        ((PORT,), (Observation("fin", None),), NOT_VALID, "not valid: observation missing: fin"),
        ((), WET, WITHIN, RELEASE_MAY_BE_ASKED),
        ((), (), NOT_VALID, "not valid: nothing is recorded"),
    ],
)
def test_outcome_and_next_action(points, observations, outcome, action):
    found = judge_check(points, observations)
    assert (found.outcome, found.next_action) == (outcome, action)
    assert [p.name for p in found.points] == [p.name for p in points]


def test_a_dead_pump_is_not_released_without_a_decision():
    # A settled 8 kPa with 2 mL where the aircraft's baseline is 96 kPa and 170 mL.
    flow = replace(NOZZLE, value=D(2), baseline=D(170))
    assert judge_check((FAINT, flow), WET).next_action == DECIDE_IN_WRITING
    one = judge_check((replace(FAINT, low_decided=True), flow), WET)
    assert one.next_action == DECIDE_IN_WRITING  # each point needs its own
    both = judge_check((replace(FAINT, low_decided=True), replace(flow, low_decided=True)), WET)
    assert both.next_action == RELEASE_MAY_BE_ASKED
    assert sum("decided in writing" in reason for reason in both.reasons) == 2


@pytest.mark.parametrize(
    ("purges", "action"), [(0, PURGE_AND_TEST), (2, PURGE_AND_TEST), (3, ESCALATE), (4, ESCALATE)]
)
def test_purges_on_one_occasion_escalate(purges, action):
    assert judge_check((HIGH,), purges=purges, retests=purges).next_action == action
    assert judge_check((PORT,), purges=purges, retests=purges).next_action == RELEASE_MAY_BE_ASKED


def test_the_number_of_purges_before_escalation_is_an_argument():
    assert judge_check((HIGH,), purges=1, escalate_after=1).next_action == ESCALATE


def test_readings_older_than_the_last_purge_say_nothing_of_it():
    found = judge_check((PORT,), purges=1, retests=0)
    assert found.outcome == NOT_VALID
    assert found.next_action == "not valid: no test since the last purge; test again"
    still_over = judge_check((HIGH,), purges=3, retests=2)
    assert (still_over.outcome, still_over.next_action) == (OVER, found.next_action)


def test_reasons_name_point_and_observation_once():
    found = judge_check((BLIND, HIGH), (DRY, Observation("left wing", None)))
    assert len(set(found.reasons)) == len(found.reasons)
    assert "not satisfactory: fin: lower third stays dry" in found.reasons
    assert "observation missing: left wing" in found.reasons
    assert any(reason.startswith("nozzle: 120 against upper limit 110") for reason in found.reasons)


POINTS = st.lists(st.sampled_from([PORT, NOZZLE, CLOSE, HIGH, LOW, BLIND, FAINT]), max_size=4)
LOOKS = st.lists(st.sampled_from([*WET, DRY, Observation("tail", None)]), max_size=3)


@given(POINTS, LOOKS, st.integers(0, 4))
def test_release_may_be_asked_for_only_where_everything_is_inside(points, looks, purges):
    found = judge_check(points, looks, purges=purges)
    inside = all(p.outcome in (WITHIN, BORDERLINE) for p in found.points)
    clean = inside and all(look.satisfactory for look in looks) and bool(points or looks)
    assert (found.next_action == RELEASE_MAY_BE_ASKED) == clean
    assert (found.outcome in (WITHIN, BORDERLINE)) == clean


@given(POINTS, LOOKS)
def test_the_order_of_points_does_not_change_the_outcome(points, looks):
    first, second = judge_check(points, looks), judge_check(points[::-1], looks[::-1])
    assert first.outcome == second.outcome
    assert sorted(first.reasons) == sorted(second.reasons)


RANK = [WITHIN, BORDERLINE, NOT_VALID, OVER]


@given(POINTS, LOOKS, st.sampled_from([PORT, CLOSE, HIGH, BLIND, FAINT]))
def test_one_more_point_never_makes_it_better(points, looks, more):
    if not points and not looks:
        return
    before, after = judge_check(points, looks).outcome, judge_check([*points, more], looks).outcome
    assert RANK.index(after) >= RANK.index(before)
