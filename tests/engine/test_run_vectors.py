"""The engine gives the answers to which the browser's rules are held too.

tests/reference/vectors/run_rules.json says where its answers come from; tests/browser/test_run_rules.py asks
the browser.
"""

from collections import Counter

import pytest

from checks.engine.cadence import course
from tests.engine.run_rules import RULES, answer, cases, differences, load_vectors
from tests.engine.run_rules_random import draw

CASES = dict(cases())


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_the_engine_gives_the_answer_of_the_vector(case):
    assert differences(case["expect"], answer(case["rule"], case["args"])) == []


def test_the_generated_part_is_what_its_seed_draws():
    vectors = load_vectors()
    kept = [{"rule": case["rule"], "args": case["args"]} for case in vectors["generated"]]
    assert kept == draw(vectors["seed"], vectors["drawn"])


def test_every_rule_has_cases_by_hand_and_generated_ones():
    vectors = load_vectors()
    for part in ("by_hand", "generated"):
        assert set(Counter(case["rule"] for case in vectors[part])) == set(RULES)
    assert len(CASES) == len(vectors["by_hand"]) + len(vectors["generated"]) >= 60


def test_what_differs_is_found():
    assert differences({"a": 1}, {"a": 1, "b": 2}) == []
    assert differences({"a": None}, {}) == ["a: 'missing' is not None"]
    assert differences({"a": 1}, {"refused": "no"}) == ["a: 'missing' is not 1"]
    assert differences(["x"], []) == ["[] is not ['x']"]


@pytest.mark.parametrize("options", [{"cadence_s": 0}, {"tolerance_s": -1}])
def test_a_cadence_that_makes_no_sense_is_refused(options):
    with pytest.raises(ValueError, match="cadence must be more than 0"):
        course([], now_s=60, **options)


def test_a_tolerance_as_wide_as_the_cadence_leaves_each_reading_its_own_turn():
    found = course([], now_s=60, tolerance_s=60)
    assert (found.missed, found.next_s, found.state) == ((), 60, "due now")
