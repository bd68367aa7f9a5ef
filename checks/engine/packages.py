"""Work packages: which check on which day at one base, so that access and equipment are shared.

The model, in minutes of work throughout; days count from today, 0 is today.

Sets. Checks c of aircraft a; days d; preparations s (a panel to open and close, an instrument to set up and
take down). W(c) is what `window` gives: the open days from the earliest allowed to the due day. Tolerance
is no part of it. A check that is late already has the next open days instead.

Variables. x[c,d] in {0, 1}: check c is done on day d. y[a,d] >= 0: aircraft a is in work on day d.
z[a,d,s] >= 0: preparation s is made once on that aircraft and day. o[d], p[d] >= 0: work over the base's
minutes, o at most `over_share` of the day's minutes, p beyond. y and z need no integrality: both cost
something and are held up by x, so with x whole they are whole.

Minimise  sum stay y + sum minutes[s] z                       (coming in, making ready)
        + sum work[c] (due[c] - d) / interval[c] x            (interval given away: so much more work later)
        + sum late d x         over the late checks           (overdue checks go first)
        + sum over o + sum far_over p                         (levelling)

subject to  sum over d in W(c) of x[c,d] = 1                  every check has its day
            x[c,d] <= y[a,d],  x[c,d] <= z[a,d,s]             for each preparation s that c needs
            sum hands[c] x + sum minutes[s] z - o[d] - p[d] <= minutes of work of the base on d

A standing package (accepted, open to more) has its aircraft in work and its preparations made: no stay and
no minutes count for these again, and its own work is taken off the base's minutes beforehand.

Bases share no work, aircraft and hours, so solving base by base gives the whole optimum.

Solved by HiGHS through scipy.optimize, in goes that share the time and stop once a plan is proven. First the
relaxation (x between 0 and 1), which bounds every plan from below, and the program over the days that it
uses, which is small and soon gives a good plan. Where the time does not suffice for that, aircraft some at a
time, with the hours that those before have left; and without hours, when nothing ties them together and what
they cost is a bound. Last the whole program. The best plan of all goes is taken, that of every check on its
due day among them; the gap told is its distance from the best bound.
"""

from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import coo_array

from checks.engine.packages_data import (
    OPTIMAL,
    TIME_LIMIT,
    Base,
    Check,
    Cost,
    Plan,
    Preparations,
    Weights,
    cost_of,
    due_days,
    window,
)

__all__ = [
    "OPTIMAL",
    "TIME_LIMIT",
    "Base",
    "Check",
    "Cost",
    "Plan",
    "Preparations",
    "Weights",
    "cost_of",
    "due_days",
    "solve",
    "window",
]

GAP = 1e-4  # relative; less than that is no better plan
#: shares of the time: the relaxation, over its days or some at a time, their bound; then the whole
RELAXED, SMALL, APART = 0.5, 0.25, 0.1
LEAST = 0.05  # seconds that any go is given
SOME = 8  # aircraft at a time
USED = 1e-6
Days = Mapping[Hashable, Sequence[int]]
Left = Callable[[], float]
Found = tuple[dict[Hashable, int] | None, float]


def solve(base: Base, seconds: float = 50.0, left: Left | None = None) -> Plan:
    """The cheapest plan of one base, or the best found within so many seconds.

    left: seconds that are left, told by whoever has a clock, so that one go uses what another did not;
    without it each go has its share.
    """
    best = _plan(base, due_days(base), 0.0)
    if best.state == OPTIMAL:  # it costs nothing, or there is nothing to plan
        return best
    for day, bound in _goes(base, seconds, left):
        bound = max(bound, best.bound)
        found = [best.day] if day is None else [best.day, day]
        best = min((_plan(base, one, bound) for one in found), key=lambda plan: plan.cost.total)
        if best.state == OPTIMAL or (left and left() < LEAST):
            break
    return best


def _goes(base: Base, seconds: float, left: Left | None) -> Iterator[Found]:
    """One go after another: a plan, where it found one, and what no plan of the base undercuts (or 0)."""

    def part_of(share: float) -> float:
        return max(LEAST, min(share * seconds, left()) if left else share * seconds)

    days = {check.key: window(base, check) for check in base.checks}
    rows = _Rows(base, days)
    relaxed = rows.relaxed(part_of(RELAXED))
    if relaxed is not None:
        near = _near(base, days, rows.used(relaxed.x))
        small = _Rows(base, near).whole(part_of(SMALL))
        yield small and small[0], float(relaxed.fun)  # over fewer days the program bounds nothing
    else:
        yield _some_at_a_time(base, part_of(SMALL), left)[0], 0.0
        free = replace(base.weights, over=0.0, far_over=0.0)
        yield _some_at_a_time(replace(base, weights=free), part_of(APART), left)
    yield rows.whole(part_of(1 if left else 1 - RELAXED - SMALL - APART)) or (None, 0.0)


def _some_at_a_time(base: Base, seconds: float, left: Left | None) -> tuple[dict[Hashable, int], float]:
    """A plan in which each group of aircraft sees the minutes that those before it take, and the sum of what
    the groups were proven to cost at least: a bound of the whole where minutes cost nothing."""
    order = list(dict.fromkeys(check.aircraft for check in sorted(base.checks, key=_pressing)))
    groups = [set(order[k : k + SOME]) for k in range(0, len(order), SOME)]
    taken, bound = list(base.taken or [0.0] * len(base.minutes)), 0.0
    end, day = left() - seconds if left else 0.0, {}
    for done, group in enumerate(groups):
        checks = tuple(check for check in base.checks if check.aircraft in group)
        part = replace(base, checks=checks, taken=tuple(taken))
        rows = _Rows(part, {check.key: window(part, check) for check in checks})
        share = (left() - end) / (len(groups) - done) if left else seconds / len(groups)
        found, proven = rows.whole(max(LEAST, share)) or (due_days(part), 0.0)
        day |= found
        bound += max(0.0, proven)
        taken = list(cost_of(part, found)[1])
    return day, bound


def _pressing(check: Check) -> tuple[int, str]:
    return check.due, repr(check.key)


def _plan(base: Base, day: Mapping[Hashable, int], bound: float) -> Plan:
    cost, load = cost_of(base, day)
    plan = Plan(OPTIMAL, day, cost, min(max(bound, 0.0), cost.total), load)
    return plan if plan.gap <= GAP else replace(plan, state=TIME_LIMIT)


def _near(base: Base, days: Days, used: set[tuple[Hashable, int]]) -> Days:
    """Fewer days for each check: those that the relaxation uses for its aircraft, and its own last."""
    of_aircraft: dict[Hashable, set[int]] = {}
    for check in base.checks:
        told = {on for on in days[check.key] if (check.key, on) in used}
        of_aircraft.setdefault(check.aircraft, set()).update(told)
    return {
        check.key: [on for on in days[check.key][:-1] if on in of_aircraft[check.aircraft]]
        + [days[check.key][-1]]
        for check in base.checks
    }


class _Rows:
    """The program of one base as arrays. Columns: first x, then y, z, o and p as they come to be named."""

    def __init__(self, base: Base, days: Days) -> None:
        self.base, self.days = base, days
        self.cost: list[float] = []
        self.upper: list[float] = []
        self.columns: dict[tuple[Hashable, int], int] = {}
        self.entries: list[tuple[int, int, float]] = []
        self.lowest: list[float] = []
        self.highest: list[float] = []
        for check in base.checks:
            self._check(check)
        self.chosen = len(self.cost)
        self._shared()

    def relaxed(self, seconds: float) -> Any:
        """The cheapest with x between 0 and 1 (x, fun), or None where the time did not suffice."""
        matrix, equal = self._matrix(), np.array(self.lowest) == np.array(self.highest)
        highest = np.array(self.highest)
        found = linprog(
            self.cost,
            A_ub=matrix[~equal] if (~equal).any() else None,
            b_ub=highest[~equal] if (~equal).any() else None,
            A_eq=matrix[equal],
            b_eq=highest[equal],
            bounds=[(0, upper) for upper in self.upper],
            method="highs-ds",
            options={"time_limit": seconds},
        )
        return found if found.status == 0 else None

    def whole(self, seconds: float) -> tuple[dict[Hashable, int], float] | None:
        """The cheapest with whole x, as day by check, and a bound that no plan over these days undercuts."""
        found = milp(
            self.cost,
            integrality=np.arange(len(self.cost)) < self.chosen,
            bounds=Bounds(0, self.upper),
            constraints=LinearConstraint(self._matrix(), self.lowest, self.highest),
            options={"time_limit": seconds, "mip_rel_gap": GAP},
        )
        if found.x is None:
            return None
        day = {key: on for (key, on), column in self.columns.items() if found.x[column] > 0.5}
        return day, -np.inf if found.mip_dual_bound is None else float(found.mip_dual_bound)

    def used(self, x: np.ndarray) -> set[tuple[Hashable, int]]:
        """Checks and days that a relaxation makes use of."""
        return {place for place, column in self.columns.items() if x[column] > USED}

    def _matrix(self) -> Any:
        row, column, value = (np.array(part) for part in zip(*self.entries, strict=True))
        return coo_array((value, (row, column)), shape=(len(self.lowest), len(self.cost))).tocsr()

    def _column(self, cost: float, upper: float) -> int:
        self.cost.append(cost)
        self.upper.append(upper)
        return len(self.cost) - 1

    def _row(self, entries: Sequence[tuple[int, float]], lowest: float, highest: float) -> None:
        self.entries += [(len(self.lowest), column, value) for column, value in entries]
        self.lowest.append(lowest)
        self.highest.append(highest)

    def _check(self, check: Check) -> None:
        """x of a check: one day of its window."""
        late = self.base.weights.late if check.late or check.due < 0 else 0.0
        for on in self.days[check.key]:
            cost = check.work * check.given_away(on) + late * on
            self.columns[check.key, on] = self._column(cost, 1)
        days = [(self.columns[check.key, on], 1.0) for on in self.days[check.key]]
        self._row(days, 1, 1)

    def _shared(self) -> None:
        """y and z of each aircraft and day, and the minutes of each day with o and p."""
        used: dict[int, list[tuple[int, float]]] = {}
        for (aircraft, on), checks in self._places():
            standing = self.base.standing.get((aircraft, on))
            if standing is None:
                stay = self._column(self.base.weights.stay, 1)
                for check in checks:
                    self._row([(self.columns[check.key, on], 1), (stay, -1)], -np.inf, 0)
            day = used.setdefault(on, [])
            day += [(self.columns[check.key, on], check.hands) for check in checks]
            for one in sorted({s for check in checks for s in check.preparations}, key=repr):
                if one in (standing or ()):
                    continue
                minutes = self.base.preparations[one]
                made = self._column(minutes, 1)
                day.append((made, minutes))
                for check in checks:
                    if one in check.preparations:
                        self._row([(self.columns[check.key, on], 1), (made, -1)], -np.inf, 0)
        for on, entries in sorted(used.items()):
            near = self._column(self.base.weights.over, self.base.room_over(on))
            far = self._column(self.base.weights.far_over, np.inf)
            self._row([*entries, (near, -1.0), (far, -1.0)], -np.inf, self.base.left(on))

    def _places(self) -> Iterator[tuple[tuple[Hashable, int], list[Check]]]:
        """Aircraft and day, with the checks that may be done then."""
        places: dict[tuple[Hashable, int], list[Check]] = {}
        for check in self.base.checks:
            for on in self.days[check.key]:
                places.setdefault((check.aircraft, on), []).append(check)
        yield from places.items()
