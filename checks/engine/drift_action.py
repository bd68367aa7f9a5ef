"""What to do about a series: said as advice, the manual and the operator's programme decide."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from checks.engine.drift_data import CLOSING, DRIFTING, OVER_LIMIT, SeriesScore

NOTHING = "nothing"
LOOK = "look at the next check"
PURGE_BEFORE = "purge before"
REPLACE = "replace"
FEWEST_LIVES = 3
SHORTER_BY = 0.75


@dataclass(frozen=True)
class Action:
    """kind: 'nothing', 'look at the next check', 'purge before' or 'replace'; day: by when, if there is a day."""

    kind: str
    day: float | None = None


def action(score: SeriesScore, next_check_day: float) -> Action:
    """What to do: purge before the limit is met, replace where purges help for ever shorter times, else look.

    The day is the early end (10 %) of the crossing date, not before the moment of the score and, for a series
    that is closing, not after the next check.
    """
    if score.state == OVER_LIMIT:
        return Action(REPLACE if score.shortening else PURGE_BEFORE, score.now)
    early = score.crossing_low if score.crossing_low is not None else score.crossing_day
    if score.state == CLOSING:
        day = next_check_day if early is None else min(early, next_check_day)
        return Action(REPLACE if score.shortening else PURGE_BEFORE, max(day, score.now))
    if score.state == DRIFTING and score.crossing_day is not None and score.crossing_day <= next_check_day:
        return Action(REPLACE if score.shortening else PURGE_BEFORE, max(early or 0.0, score.now))
    if score.state == DRIFTING or score.whole_aircraft_notice or score.shortening:
        return Action(LOOK, next_check_day)
    return Action(NOTHING)


def shortening(lives: Sequence[float]) -> bool:
    """True if the last three completed lives between purges (days, oldest first) each got shorter, by a quarter
    or more in all. Fewer than three lives say nothing."""
    if len(lives) < FEWEST_LIVES:
        return False
    last = list(lives)[-FEWEST_LIVES:]
    falling = all(later < earlier for earlier, later in zip(last, last[1:], strict=False))
    return falling and last[-1] <= SHORTER_BY * last[0]
