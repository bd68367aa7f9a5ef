"""What to do about a series: said as advice, the manual and the operator's programme decide."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from checks.engine.drift_data import CLOSING, DRIFTING, OVER_LIMIT, SeriesScore

NOTHING = "nothing"
LOOK = "look at the next check"
PURGE_BEFORE = "purge before"
REPLACE = "replace"
FEWEST_LIVES = 3
SHORTER_BY = 0.75


@dataclass(frozen=True)
class Action:
    """kind: 'nothing', 'look at the next check', 'purge before' or 'replace'; day: by when, if known."""

    kind: str
    day: float | None = None


def action(score: SeriesScore, next_check_day: float) -> Action:
    """What to do: purge before the limit is met, replace where purges help for ever shorter times, else look.

    The day is the early end (10 %) of the crossing date, not before the moment of the score and not after the
    next check.
    """
    early = next_check_day if score.crossing_low is None else min(score.crossing_low, next_check_day)
    meets = score.crossing_day is not None and score.crossing_day <= next_check_day
    if score.state == OVER_LIMIT:
        early = score.now
    if score.state in (OVER_LIMIT, CLOSING) or (score.state == DRIFTING and meets):
        return Action(REPLACE if score.shortening else PURGE_BEFORE, max(early, score.now))
    if score.state == DRIFTING or score.whole_aircraft_notice or score.shortening:
        return Action(LOOK, next_check_day)
    return Action(NOTHING)


def shortening(lives: Sequence[float]) -> bool:
    """True if the last three completed lives between purges got shorter, each of them and by a quarter in
    all.

    lives: days, oldest first. Fewer than three say nothing.
    """
    if len(lives) < FEWEST_LIVES:
        return False
    last = list(lives)[-FEWEST_LIVES:]
    falling = all(later < earlier for earlier, later in pairwise(last))
    return falling and last[-1] <= SHORTER_BY * last[0]
