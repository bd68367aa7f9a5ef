"""The report card counts what anybody can count by hand: every expected figure here was counted so."""

import pytest

from checks.engine.drift_card import PATIENCE, Past, grade


def past(life: int = 1, made: float = 0.0, came: float = 100.0, **more: object) -> Past:
    told = {
        "ended": False,
        "state": "steady",
        "chance": 0.01,
        "low": 90.0,
        "high": 110.0,
        "value": 100.0,
        "was_over": False,
        "over": False,
    }
    return Past(life=(1, 1, life), made=made, came=came, **{**told, **more})


def course(*states: str, life: int = 1, every: float = 100.0, **last: object) -> list[Past]:
    """Forecasts that follow each other in one life; `last` holds for the last of them."""
    made = [past(life, every * n, every * (n + 1), state=state) for n, state in enumerate(states[:-1])]
    n = len(states) - 1
    return [*made, past(life, every * n, every * (n + 1), state=states[-1], **last)]


def test_readings_inside_above_and_under() -> None:
    told = grade([past(n, value=value) for n, value in enumerate((89.9, 90.0, 100.0, 110.0, 110.1))], 0, 1000)
    assert (told.forecasts, told.within, told.above, told.under) == (5, 3, 1, 1)


def test_only_what_came_within_the_time_counts() -> None:
    many = [past(n, came=came) for n, came in enumerate((100.0, 100.1, 200.0, 200.1))]
    assert grade(many, 100, 200).forecasts == 2
    assert grade(many, 0, 1000).forecasts == 4


def test_a_crossing_is_from_under_to_over() -> None:
    stays = past(1, was_over=True, over=True)
    falls = past(2, was_over=True, over=False)
    crosses = past(3, over=True)
    assert grade([stays, falls, crosses], 0, 1000).crossings == 1


def test_warned_before_and_warned_ever() -> None:
    before = course("steady", "closing", life=1, over=True)
    once = course("drifting", "steady", life=2, over=True)
    never = course("steady", "too few readings", life=3, over=True)
    told = grade([*before, *once, *never], 0, 1000)
    assert (told.crossings, told.warned_before, told.warned_ever) == (3, 1, 2)


def test_a_warning_after_the_crossing_came_too_late() -> None:
    late = [past(made=0, came=100, over=True), past(made=101, came=200, state="closing", was_over=True)]
    told = grade(late, 0, 1000)
    assert (told.crossings, told.warned_ever) == (1, 0)


@pytest.mark.parametrize(
    ("states", "last", "end"),
    [
        (("steady", "closing"), {"over": True}, "came_true"),
        (("drifting", "steady"), {}, "taken_back"),
        (("steady", "drifting"), {}, "open_still"),
        (("steady", "drifting"), {"ended": True}, "renewed"),
        (("drifting",) * 6, {}, "not_come"),
        (("drifting",) * 6, {"over": True}, "came_true"),
        (("drifting",) * 6, {"ended": True}, "not_come"),
    ],
)
def test_what_becomes_of_a_warning(states: tuple[str, ...], last: dict, end: str) -> None:
    told = grade(course(*states, **last), -1, 1000)
    ends = ("came_true", "renewed", "open_still", "taken_back", "not_come")
    assert {name: getattr(told, name) for name in ends} == {name: int(name == end) for name in ends}
    assert told.warnings == 1
    assert told.false_alarms == (end in ("taken_back", "not_come"))


def test_patience_is_counted_from_the_warning() -> None:
    told = grade(course("steady", *["drifting"] * 5, every=PATIENCE / 5), -1, 10_000)
    assert (told.not_come, told.open_still) == (0, 1)


def test_a_warning_counts_once_a_life_and_by_its_first_day() -> None:
    many = [*course(*["drifting"] * 3, life=1), *course("steady", "drifting", life=2)]
    assert grade(many, -1, 1000).warnings == 2
    assert grade(many, 50, 150).warnings == 1  # the other was warned of on day 0


def test_false_alarms_by_100_panel_years() -> None:
    """36.525 days a reading, 10 readings of 10 lives: ten panel-years, one false alarm."""
    calm = [one for life in range(9) for one in course(*["steady"] * 10, life=life, every=36.525)]
    alarm = course("drifting", *["steady"] * 9, life=9, every=36.525)
    told = grade([*calm, *alarm], -1, 10_000)
    assert told.years == pytest.approx(10)
    assert told.false_alarms_per_100_years == pytest.approx(10)


def test_chances_add_up_and_are_sorted() -> None:
    many = [past(n, chance=chance, over=chance > 0.5) for n, chance in enumerate((0.0, 0.01, 0.05, 0.7, 1.0))]
    told = grade([*many, past(9, chance=None), past(10, chance=0.9, was_over=True)], 0, 1000)
    assert told.expected == pytest.approx(1.76)
    assert [(low, high, number, over) for low, high, number, _, over in told.chances] == [
        (0.0, 0.02, 2, 0),
        (0.02, 0.1, 1, 0),
        (0.6, 1.0, 2, 2),
    ]
    assert told.chances[-1][3] == pytest.approx(0.85)


def test_date_errors_have_a_sign_and_their_middle_none() -> None:
    errors = ((300.0, 310.0), (330.0, 310.0), (None, 310.0), (300.0, None))
    many = [past(n, over=True, dated=dated, crossed=crossed) for n, (dated, crossed) in enumerate(errors)]
    told = grade([*many, past(9, dated=1.0, crossed=50.0)], 0, 1000)
    assert told.date_errors == (-10.0, 20.0) and told.median_date_error == 15


def test_nothing_comes_to_nothing() -> None:
    told = grade([], 0, 1000)
    assert told.forecasts == told.warnings == told.crossings == 0 and told.years == 0
    assert told.median_date_error is None and told.false_alarms_per_100_years is None
