"""Rates per 1,000 flight hours, the alert level that earlier years give, and whether lives get shorter.

Counts are taken as Poisson. An alert level compares what came now with the operator's own earlier years and
counts how little those may say: given both counts together, those of now are binomial (Przyborowski and
Wilenski 1940, Biometrika 31, from memory). Transport Canada's AMA 571.101/1, Appendix A, leaves the method
open as long as the operator's programme defines it in full.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np
from scipy.special import betainc, gammaincinv

CHANCE = 0.05  # of an alert where nothing has changed
PER = 1000  # flight hours
SAME_OCCASION_DAYS = (
    7  # purges so near to each other are one occasion: over limit, purged, tested, purged again
)


@dataclass(frozen=True)
class Count:
    """events in so many flight hours; events may be a sum of days."""

    events: float
    hours: float

    @property
    def rate(self) -> float | None:
        """Per 1,000 flight hours; None without hours."""
        return PER * self.events / self.hours if self.hours > 0 else None


def rate_range(count: Count, share: float = 0.9) -> tuple[float, float] | None:
    """The rates per 1,000 h that so many events (a whole number) fit, at the share given. None without hours.

    The exact interval of a Poisson mean (Garwood 1936, Biometrika 28): quantiles of the gamma distribution.
    """
    if count.hours <= 0:
        return None
    tail, events = (1 - share) / 2, count.events
    low = float(gammaincinv(events, tail)) if events else 0.0
    return PER * low / count.hours, PER * float(gammaincinv(events + 1, 1 - tail)) / count.hours


def alert_level(before: Count, hours: float, chance: float = CHANCE) -> int | None:
    """The least number of events in `hours` that comes with less than the chance at the rate of before.

    None without hours in either time: there is nothing to compare.
    """
    if before.hours <= 0 or hours <= 0:
        return None
    part = hours / (hours + before.hours)
    number = 1
    while betainc(number, before.events + 1, part) >= chance:  # P(number or more of number + before)
        number += 1
    return number


@dataclass(frozen=True)
class Trend:
    """longer: pairs of one aircraft's lives with the later one longer; pairs: all; chance: of so few."""

    longer: int
    pairs: int
    chance: float

    @property
    def shortens(self) -> bool:
        return self.chance < CHANCE


def trend_of(lives: Sequence[Sequence[float]]) -> Trend:
    """Whether lives get shorter, over many aircraft: the reverse arrangement test of each, put together.

    lives: of each aircraft its lives in order of time. Equal ones count as longer, against a finding.
    Exact for any number: of n lives in random order the reversals are distributed as a sum of independent
    uniform numbers 0..k, k < n (Mann 1945, Econometrica 13, from memory; the test is told in the
    NIST/SEMATECH e-Handbook, 8.2.3.4).
    """
    longer = sum(later >= earlier for own in lives for earlier, later in combinations(own, 2))
    weights = np.ones(1)
    for own in lives:
        for k in range(1, len(own)):
            weights = np.convolve(weights, np.full(k + 1, 1 / (k + 1)))
    return Trend(longer, len(weights) - 1, float(weights[: longer + 1].sum()))


def occasions(days: Sequence[int]) -> list[int]:
    """First days of the occasions among days in ascending order; those near the one before belong to it."""
    if not days:
        return []
    return [days[0], *(b for a, b in pairwise(days) if b - a > SAME_OCCASION_DAYS)]
