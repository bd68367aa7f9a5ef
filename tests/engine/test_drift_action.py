"""What to do about a series, and lives between purges that get shorter."""

from dataclasses import replace

import pytest

from checks.engine.drift import Action, action, fit_fleet, score, shortening
from tests.engine.drift_cases import TABLE, series_readings

NEXT = 1100.0


@pytest.fixture(scope="module")
def calm():
    readings = series_readings([0.0] * 6)
    return score(readings, {0: TABLE}, fit_fleet(readings, {0: TABLE}), 1000.0, charts=False)[0]


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"state": "steady"}, Action("nothing")),
        ({"state": "too few readings"}, Action("nothing")),
        ({"state": "steady", "whole_aircraft_notice": True}, Action("look at the next check", NEXT)),
        ({"state": "steady", "shortening": True}, Action("look at the next check", NEXT)),
        ({"state": "drifting"}, Action("look at the next check", NEXT)),
        (
            {"state": "drifting", "crossing_low": 1050.0, "crossing_day": 1300.0},
            Action("look at the next check", NEXT),
        ),
        (
            {"state": "drifting", "crossing_low": 1050.0, "crossing_day": 1090.0},
            Action("purge before", 1050.0),
        ),
        ({"state": "closing"}, Action("purge before", NEXT)),
        (
            {"state": "closing", "crossing_low": 1040.0, "crossing_day": 1090.0},
            Action("purge before", 1040.0),
        ),
        ({"state": "closing", "crossing_low": 990.0, "crossing_day": 1090.0}, Action("purge before", 1000.0)),
        ({"state": "closing", "crossing_low": 1040.0, "shortening": True}, Action("replace", 1040.0)),
        ({"state": "over limit"}, Action("purge before", 1000.0)),
        ({"state": "over limit", "shortening": True}, Action("replace", 1000.0)),
    ],
)
def test_action(calm, changes, expected):
    assert action(replace(calm, **changes), NEXT) == expected


@pytest.mark.parametrize(
    ("lives", "expected"),
    [
        ([], False),
        ([900, 400], False),
        ([900, 600, 400], True),
        ([300, 900, 600, 400], True),
        ([900, 600, 700], False),
        ([900, 880, 860], False),
        ([900, 600, 600], False),
    ],
)
def test_shortening(lives, expected):
    assert shortening(lives) is expected
