"""How drift is worded: chances, dates, what to do, and what no reading can tell."""

import datetime as dt

import pytest

from checks.charts.wording import day_words
from checks.models import SeriesState
from checks.selectors.drift_words import (
    NO_PORTS,
    PORTS_TELL,
    SHORTER,
    TOGETHER,
    advice,
    chance_words,
    crossing_words,
    share_words,
    which_panel,
)
from fleet.models import Aircraft, MeasuringPoint, Position, Variant

NOW = dt.datetime(2025, 3, 12, 12, tzinfo=dt.UTC)
TODAY = NOW.date()
STATE = SeriesState.State


def a_series(*, ports: bool = False, kind: str = "test_port", position: str = "", **values: object):
    """An unsaved series: closing, three readings, purge advised within two months."""
    defaults = {
        "state": STATE.CLOSING,
        "readings_in_life": 3,
        "action": "purge before",
        "action_by": TODAY + dt.timedelta(days=60),
        "scored_at": NOW,
        "facts": {},
    }
    place = Position(name=position) if position else None
    return SeriesState(
        aircraft=Aircraft(variant=Variant(has_panel_ports=ports)),
        point=MeasuringPoint(kind=kind, position=place),
        **(defaults | values),
    )


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (None, ""),
        (0.001, "under 1 in 100, <\u00a01\u00a0%"),
        (0.01, "about 1 in 100, 1 %"),
        (0.34, "about 1 in 3, 34 %"),
        (0.4, "about 2 in 5, 40 %"),
        (0.5, "about 1 in 2, 50 %"),
        (0.66, "about 2 in 3, 66 %"),
        (0.76, "about 3 in 4, 76 %"),
        (0.9, "about 9 in 10, 90 %"),
        (0.97, "about 19 in 20, 97 %"),
        (0.999, "over 99 in 100, >\u00a099\u00a0%"),
    ],
)
def test_a_chance_in_words_and_number(chance: float | None, words: str) -> None:
    assert chance_words(chance) == words


def test_odds_never_stray_far_from_the_number() -> None:
    for percent in range(1, 100):
        words = chance_words(percent / 100)
        part, of = words.removeprefix("about ").split(",")[0].split(" in ")
        assert int(part) / int(of) == pytest.approx(percent / 100, abs=0.06)


def test_shares_have_a_true_minus() -> None:
    assert (share_words(0.124), share_words(-0.13), share_words(None)) == ("12 %", "−13 %", "")


def day(ahead: int) -> dt.date:
    return TODAY + dt.timedelta(days=ahead)


@pytest.mark.parametrize(
    ("on", "low", "high", "words"),
    [
        (None, None, None, ("", "")),
        (200, 90, 400, (f"about {day_words(day(200))}", f"{day_words(day(90))} to {day_words(day(400))}")),
        (200, 0, 400, (f"about {day_words(day(200))}", f"now to {day_words(day(400))}")),
        (200, 90, None, (f"about {day_words(day(200))}", f"{day_words(day(90))} to perhaps never")),
        (None, 900, None, ("perhaps never", f"as early as {day_words(day(900))}")),
        (None, 0, None, ("perhaps never", "as early as now")),
        (0, 0, 0, ("about now", "")),
    ],
)
def test_the_crossing_date_with_its_range(on, low, high, words) -> None:
    dates = [None if ahead is None else day(ahead) for ahead in (on, low, high)]
    series = a_series(crossing_on=dates[0], crossing_low=dates[1], crossing_high=dates[2])
    assert crossing_words(series) == words


def test_over_limit_has_no_date_to_come() -> None:
    assert crossing_words(a_series(state=STATE.OVER)) == ("over now", "")


@pytest.mark.parametrize(
    ("values", "what"),
    [
        ({}, f"purge before {day_words(day(60))}"),
        ({"action": "replace"}, f"replace before {day_words(day(60))}"),
        ({"action_by": TODAY}, "purge now"),
        ({"state": STATE.OVER, "action_by": TODAY}, "purge, then test again"),
        (
            {"action": "look at the next check", "action_by": day(9)},
            f"look at the next check, due {day_words(day(9))}",
        ),
        (
            {"action": "look at the next check", "action_by": day(-9)},
            f"look at the next check, which was due on {day_words(day(-9))}",
        ),
        ({"action": "look at the next check", "action_by": None}, "look at the next check"),
        ({"action": "nothing", "state": STATE.STEADY}, "nothing"),
        ({"action": "nothing", "state": STATE.TOO_FEW, "readings_in_life": 1}, "nothing yet"),
    ],
)
def test_what_to_do(values: dict, what: str) -> None:
    assert advice(a_series(**values)).what == what


def test_without_panel_ports_no_panel_is_named_and_the_words_say_why() -> None:
    assert which_panel(a_series(ports=False)) == NO_PORTS and NO_PORTS in advice(a_series()).why
    assert which_panel(a_series(ports=True)) == PORTS_TELL
    port = a_series(ports=True, kind="panel_port", position="left wing inboard")
    assert advice(port).why == ("Panel: left wing inboard.",)


def test_notices_are_said() -> None:
    facts = {"shortening": True, "whole_aircraft": True, "left_out": 2}
    why = advice(a_series(state=STATE.STEADY, action="nothing", facts=facts)).why
    assert SHORTER in why and TOGETHER in why and any("Left out: 2" in line for line in why)


def test_what_is_in_doubt_is_told_with_the_day_up_to_which_the_rest_reaches() -> None:
    facts = {"in_doubt": ["a", "b"], "last_on": day(-400).isoformat()}
    (words,) = advice(a_series(state=STATE.STEADY, action="nothing", facts=facts)).why
    assert words.startswith("Left out: 2 readings in doubt") and f"{day(-400).year}" in words
    (words,) = advice(a_series(state=STATE.STEADY, action="nothing", facts={"in_doubt": ["a"]})).why
    assert words.startswith("Left out: 1 reading in doubt") and words.endswith("says nothing of it.")


def test_a_life_without_a_reading_says_so() -> None:
    series = a_series(
        state=STATE.TOO_FEW, action="look at the next check", readings_in_life=0, life_began_on=day(-3)
    )
    assert advice(series).why == (f"New life since {day_words(day(-3))}, not read since.",)
