"""How past forecasts did against what came: a plain count, so that anybody can count it again.

A forecast is what was said of one series after a reading, from nothing that became known later. What came is
the next reading of the same life. No arithmetic of the model is in here.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median

from checks.engine.drift_data import CLOSING, DRIFTING

WARNED = (DRIFTING, CLOSING)
YEAR = 365.25
#: names of the periods beside the calendar years, and days of the first
LAST_YEAR, ALL = "last year", "all"
LAST_DAYS = 365
#: a warning is false where so many days were watched after it and the limit was not crossed
PATIENCE = 540.0
#: edges of the chances by which the forecasts are sorted: what was said against how often it came
CHANCES = (0.0, 0.02, 0.1, 0.3, 0.6, 1.0)


@dataclass(frozen=True)
class Past:
    """One forecast with the reading that came. Days on one epoch, values at 20 °C in canonical units.

    life: names the life it belongs to; ended: whether that life was ended by a purge or a new part since
    made, came: days of forecast and reading; state: as it was called; chance: of being over the limit on the
    day of that reading, None where nothing could be said; low, high: 90 % interval for it; value: what came
    was_over, over: whether the reading before and the reading that came were over their limits
    dated: crossing day foretold, if any; crossed: the day on which a straight line between the two readings
    meets the limit, where they lie on either side of it.
    """

    life: tuple[int, ...]
    ended: bool
    made: float
    came: float
    state: str
    chance: float | None
    low: float
    high: float
    value: float
    was_over: bool
    over: bool
    dated: float | None = None
    crossed: float | None = None

    @property
    def crosses(self) -> bool:
        """Whether the limit was crossed between the two readings."""
        return self.over and not self.was_over

    @property
    def warned(self) -> bool:
        return self.state in WARNED

    @property
    def date_error(self) -> float | None:
        """Days by which the foretold date was late (early below zero), where it was foretold and came."""
        if not self.crosses or self.dated is None or self.crossed is None:
            return None
        return self.dated - self.crossed


@dataclass(frozen=True)
class Grade:
    """What a set of forecasts came to.

    forecasts: with an interval; within, above, under: where the readings fell
    crossings; warned_before: called drifting or closing at the check before; warned_ever: at any before
    warnings: lives first warned; came_true; renewed: purged or replaced before it could be seen; open_still
    taken_back: steady again without a crossing; not_come: no crossing in PATIENCE days; years: panel-years
    expected: sum of the chances given; chances: (from, to, forecasts, mean chance said, crossings)
    date_errors: days, late above zero.
    """

    forecasts: int
    within: int
    above: int
    under: int
    crossings: int
    warned_before: int
    warned_ever: int
    warnings: int
    came_true: int
    renewed: int
    open_still: int
    taken_back: int
    not_come: int
    years: float
    expected: float
    chances: tuple[tuple[float, float, int, float, int], ...]
    date_errors: tuple[float, ...]

    @property
    def median_date_error(self) -> float | None:
        """Median of the errors without their sign, days."""
        return median(map(abs, self.date_errors)) if self.date_errors else None

    @property
    def false_alarms(self) -> int:
        return self.taken_back + self.not_come

    @property
    def false_alarms_per_100_years(self) -> float | None:
        """By panel-years watched."""
        return 100 * self.false_alarms / self.years if self.years else None


def grade(pasts: Iterable[Past], since: float, until: float) -> Grade:
    """The grade of what came after `since` and by `until`; warnings count by the day of the first one.

    Give all forecasts: what was said before `since` tells whether a warning is the first of its life.
    """
    lives: dict[tuple[int, ...], list[Past]] = defaultdict(list)
    for one in sorted(pasts, key=lambda one: (one.came, one.made)):
        lives[one.life].append(one)
    everything = [one for life in lives.values() for one in life]
    came = [one for one in everything if since < one.came <= until]
    ends = [_end(life) for life in lives.values() if _first_warned_within(life, since, until)]
    crossings = [one for one in came if one.crosses]
    judged = [one for one in came if one.chance is not None and not one.was_over]
    return Grade(
        forecasts=len(came),
        within=sum(one.low <= one.value <= one.high for one in came),
        above=sum(one.value > one.high for one in came),
        under=sum(one.value < one.low for one in came),
        crossings=len(crossings),
        warned_before=sum(one.warned for one in crossings),
        warned_ever=sum(_was_warned(one, lives[one.life]) for one in crossings),
        warnings=len(ends),
        came_true=ends.count("crossed"),
        renewed=ends.count("renewed"),
        open_still=ends.count("open"),
        taken_back=ends.count("taken back"),
        not_come=ends.count("not come"),
        years=sum(one.came - one.made for one in came) / YEAR,
        expected=sum(one.chance for one in judged),
        chances=_by_chance(judged),
        date_errors=tuple(one.date_error for one in crossings if one.date_error is not None),
    )


def _was_warned(crossing: Past, life: Sequence[Past]) -> bool:
    return any(one.warned for one in life if one.came <= crossing.came)


def _first_warned_within(life: Sequence[Past], since: float, until: float) -> bool:
    first = next((one for one in life if one.warned), None)
    return first is not None and since < first.made <= until


def _end(life: Sequence[Past]) -> str:
    """What became of a life that was warned: crossed, taken back, not come, renewed or open."""
    warned = [k for k, one in enumerate(life) if one.warned]
    after = life[warned[0] :]
    if any(one.crosses for one in after):
        return "crossed"
    if not after[-1].warned:
        return "taken back"
    if after[-1].came - after[0].made > PATIENCE:
        return "not come"
    return "renewed" if after[-1].ended else "open"


def _by_chance(judged: Sequence[Past]) -> tuple[tuple[float, float, int, float, int], ...]:
    found = []
    for low, high in itertools.pairwise(CHANCES):
        some = [one for one in judged if low <= one.chance < high or one.chance == high == 1.0]
        if some:
            said = sum(one.chance for one in some) / len(some)
            found.append((low, high, len(some), said, sum(one.over for one in some)))
    return tuple(found)
