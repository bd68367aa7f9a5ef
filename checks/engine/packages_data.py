"""Work packages as values: the checks of a base, its minutes of work, a plan and what it costs.

The model that they belong to stands in packages.py. Days count from today, 0 is today; everything that costs
is in minutes of work.
"""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field

Preparations = Mapping[Hashable, float]
LATE_DAYS = 20  # so many open days a late check may be spread over

OPTIMAL, TIME_LIMIT = "optimal", "time limit"


@dataclass(frozen=True)
class Weights:
    """What each thing costs, in minutes of work: choices of ours, shown with every plan.

    stay: for each aircraft and day in work. late: for each late check and day until it is done. over,
    far_over: for each minute over the base's minutes, up to over_share of the day and beyond.
    """

    stay: float = 30
    late: float = 1000
    over: float = 3
    far_over: float = 50
    over_share: float = 0.5


@dataclass(frozen=True)
class Check:
    """One check to be planned. hands: minutes besides its preparations; work: minutes done alone.

    due: the last day, negative where it is late already (`late` says so too where no date tells it).
    interval: days from last done to due; None where doing it early gives nothing away. free_days: done so
    many days early, or fewer, it gives nothing away either (a kept grid). only_on: held to that day,
    whatever else.
    """

    key: Hashable
    aircraft: Hashable
    hands: float
    preparations: tuple[Hashable, ...]
    work: float
    due: int
    earliest: int = 0
    interval: float | None = None
    free_days: int = 0
    late: bool = False
    only_on: int | None = None

    def given_away(self, day: int) -> float:
        """The share of its interval that doing it on the day gives away."""
        if self.late or self.interval is None or self.due - day <= self.free_days:
            return 0.0
        return (self.due - day) / max(self.interval, 1.0)


@dataclass(frozen=True)
class Base:
    """The work of one base: minutes on each day from today (0: closed), checks, preparations by minutes.

    taken: minutes that standing packages use of each day; standing: (aircraft, day) of those open to more
    -> the preparations that they make anyway.
    """

    minutes: Sequence[float]
    checks: Sequence[Check]
    preparations: Preparations
    taken: Sequence[float] = ()
    standing: Mapping[tuple[Hashable, int], frozenset] = field(default_factory=dict)
    weights: Weights = Weights()

    def left(self, day: int) -> float:
        """Minutes that are left on a day; never below 0: what stands over it already is nobody's choice."""
        return max(0.0, self.minutes[day] - (self.taken[day] if self.taken else 0.0))

    def room_over(self, day: int) -> float:
        """Minutes over the day's own that count at the lower price, as far as nothing takes them already."""
        over = max(0.0, self.taken[day] - self.minutes[day]) if self.taken else 0.0
        return max(0.0, self.weights.over_share * self.minutes[day] - over)


@dataclass(frozen=True)
class Cost:
    """What a plan costs, in minutes by the weights; the sum is the objective."""

    stays: float = 0.0
    preparations: float = 0.0
    given_away: float = 0.0
    late: float = 0.0
    over: float = 0.0

    @property
    def total(self) -> float:
        return self.stays + self.preparations + self.given_away + self.late + self.over


@dataclass(frozen=True)
class Plan:
    """day: check -> day. load: minutes of each day, standing packages included. bound: no plan costs less.

    state: OPTIMAL, or TIME_LIMIT for the best found by then.
    """

    state: str
    day: Mapping[Hashable, int]
    cost: Cost
    bound: float
    load: tuple[float, ...]

    @property
    def gap(self) -> float:
        """How much of the cost might at most be saved by a better plan, as a share of it."""
        return max(0.0, (self.cost.total - self.bound) / self.cost.total) if self.cost.total > 1e-9 else 0.0


def window(base: Base, check: Check) -> tuple[int, ...]:
    """The days on which a check may be done, never empty and never past the due day of one not late yet.

    Open days of the base; where there is none between earliest and due, any open day from today to the due
    day; where the base is closed on all of these, the due day itself all the same.
    """
    last = len(base.minutes) - 1
    if check.only_on is not None:
        return (check.only_on,)
    if check.late or check.due < 0:
        opened = [day for day in range(last + 1) if base.minutes[day] > 0]
        return tuple(opened[:LATE_DAYS]) or (0,)
    due = min(check.due, last)
    for first in (max(0, min(check.earliest, due)), 0):
        opened = [day for day in range(first, due + 1) if base.minutes[day] > 0]
        if opened:
            return tuple(opened)
    return (due,)


def due_days(base: Base) -> dict[Hashable, int]:
    """The plan without planning, a peer to hold others against: late checks on the first day that they may
    go to, every other one on its last."""
    days = {check.key: window(base, check) for check in base.checks}
    late = {check.key for check in base.checks if check.late or check.due < 0}
    return {key: on[0] if key in late else on[-1] for key, on in days.items()}


def cost_of(base: Base, day: Mapping[Hashable, int]) -> tuple[Cost, tuple[float, ...]]:
    """What a plan costs and how many minutes each day takes (those taken already included)."""
    weights, load = base.weights, [0.0] * len(base.minutes)
    stays, made = set(), set()
    given = late = 0.0
    for check in base.checks:
        on = day[check.key]
        stays.add((check.aircraft, on))
        made |= {(check.aircraft, on, one) for one in check.preparations}
        load[on] += check.hands
        given += check.work * check.given_away(on)
        late += weights.late * on if check.late or check.due < 0 else 0.0
    made = {(a, on, one) for a, on, one in made if one not in base.standing.get((a, on), ())}
    for _, on, one in made:
        load[on] += base.preparations[one]
    over = sum(_over(base, on, minutes) for on, minutes in enumerate(load))
    cost = Cost(
        stays=weights.stay * len(stays - set(base.standing)),
        preparations=sum(base.preparations[one] for _, _, one in made),
        given_away=given,
        late=late,
        over=over,
    )
    taken = base.taken or [0.0] * len(load)
    return cost, tuple(new + old for new, old in zip(load, taken, strict=True))


def _over(base: Base, day: int, minutes: float) -> float:
    over = max(0.0, minutes - base.left(day))
    near = min(over, base.room_over(day))
    return base.weights.over * near + base.weights.far_over * (over - near)
