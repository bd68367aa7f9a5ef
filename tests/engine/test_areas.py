"""Areas of a panel's outline in words and back again."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.engine.areas import FLAT, PARTS, UPRIGHT, Areas, areas_of, joined, split

UPPER_TIP = ("upper", "tip")


def test_words_and_the_rest_of_a_remark() -> None:
    areas, rest = split("at upper outer, tip; edge all. Comes slowly, streaks")
    assert areas.marked == {("upper", "outer"), UPPER_TIP, *(("edge", part) for part in PARTS)}
    assert areas.words == "upper outer, tip; edge all" and rest == "Comes slowly, streaks"
    assert areas.sides == FLAT


def test_a_fin_has_a_left_and_a_right_side() -> None:
    areas, rest = split("at left root, inner; right tip")
    assert areas.sides == UPRIGHT and areas.words == "left root, inner; right tip" and rest == ""


@pytest.mark.parametrize(
    "remark",
    [
        "",
        "dry area near the end",
        "at the upper tip",
        "at upper",
        "at upper tips",
        "at upper tip, and wide",
        "at upper tip;",
        "seen at upper tip",
        "at upper tip; left root",
    ],
)
def test_what_a_person_wrote_otherwise_stays_as_it_is(remark: str) -> None:
    assert split(remark) == (Areas(), remark) and not split(remark)[0]
    assert joined((), FLAT, remark) == remark


def test_typed_words_of_an_outline_are_marks_too() -> None:
    assert joined([UPPER_TIP], FLAT, " At upper root. wide ") == "at upper root, tip. wide"


def test_words_of_another_kind_of_panel_are_words_only() -> None:
    kept = joined([UPPER_TIP], FLAT, "at left tip")
    assert kept == "at upper tip. at left tip"
    assert split(kept) == (Areas(frozenset([UPPER_TIP])), "at left tip")


@given(
    st.sampled_from([FLAT, UPRIGHT]).flatmap(
        lambda sides: st.tuples(st.just(sides), st.sets(st.sampled_from(areas_of(sides)), min_size=1))
    ),
    st.text(max_size=40),
)
def test_marks_come_back_whatever_is_remarked(drawn: tuple[tuple[str, ...], set], remark: str) -> None:
    sides, marked = drawn
    kept = joined(marked, sides, remark)
    areas, rest = split(kept)
    assert areas.marked >= marked
    assert joined(areas.marked, sides, rest) == kept  # saved again, nothing changes
    if not split(remark.strip())[0]:
        assert areas.marked == marked and rest == remark.strip()
