"""Work packages: the plan found against every plan there is, and the rules that hold for any plan.

The brute force below counts a plan's cost by itself, from the words of the model, and shares no code with
the engine: that is the outside check.
"""

import itertools
import random
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from checks.engine.packages import (
    OPTIMAL,
    Base,
    Check,
    Weights,
    cost_of,
    due_days,
    solve,
    window,
)

PREPARATIONS = {"panel": 20.0, "gauge": 10.0, "stand": 25.0}


def check(key: object, aircraft: str = "A", due: int = 4, **more: object) -> Check:
    given = {"hands": 60.0, "preparations": ("panel",), "work": 80.0, "interval": 100.0} | more
    return Check(key=key, aircraft=aircraft, due=due, **given)


def base(*checks: Check, minutes: tuple[float, ...] = (480.0,) * 6, **more: object) -> Base:
    return Base(minutes=minutes, checks=checks, preparations=PREPARATIONS, **more)


def told(one: Base, days: dict) -> float:
    """What a plan costs, told from the words of the model, pair by pair."""
    w, total = one.weights, 0.0
    for aircraft, on in {(c.aircraft, days[c.key]) for c in one.checks}:
        there = [c for c in one.checks if (c.aircraft, days[c.key]) == (aircraft, on)]
        standing = one.standing.get((aircraft, on))
        if standing is None:
            total += w.stay
        for name in {s for c in there for s in c.preparations} - set(standing or ()):
            total += one.preparations[name]
    for c in one.checks:
        if c.late or c.due < 0:
            total += w.late * days[c.key]
        elif c.interval is not None and c.due - days[c.key] > c.free_days:
            total += c.work * (c.due - days[c.key]) / c.interval
    for on, whole in enumerate(one.minutes):
        used = sum(c.hands for c in one.checks if days[c.key] == on)
        for aircraft in {c.aircraft for c in one.checks}:
            there = [c for c in one.checks if c.aircraft == aircraft and days[c.key] == on]
            made = {s for c in there for s in c.preparations} - set(one.standing.get((aircraft, on), ()))
            used += sum(one.preparations[s] for s in made)
        taken = one.taken[on] if one.taken else 0.0
        over = max(0.0, used - max(0.0, whole - taken))
        cheap = min(over, max(0.0, w.over_share * whole - max(0.0, taken - whole)))
        total += w.over * cheap + w.far_over * (over - cheap)
    return total


def brute(one: Base) -> float:
    """The cheapest of all plans, every one of them looked at."""
    choices = [window(one, c) for c in one.checks]
    keys = [c.key for c in one.checks]
    return min(told(one, dict(zip(keys, days, strict=True))) for days in itertools.product(*choices))


def some_base(rng: random.Random) -> Base:
    days = rng.randint(4, 6)
    checks = [
        Check(
            key=k,
            aircraft=rng.choice("AB"),
            hands=rng.choice((20.0, 45.0, 90.0)),
            preparations=tuple(rng.sample(sorted(PREPARATIONS), rng.randint(0, 2))),
            work=rng.choice((60.0, 120.0)),
            due=rng.randint(-2, days - 1),
            earliest=rng.randint(0, 2),
            interval=rng.choice((None, 10.0, 60.0, 365.0)),
            free_days=rng.choice((0, 0, 2)),
        )
        for k in range(rng.randint(2, 5))
    ]
    minutes = tuple(rng.choice((0.0, 60.0, 120.0, 240.0)) for _ in range(days))
    standing = {("A", rng.randrange(days)): frozenset({"panel"})} if rng.random() < 0.3 else {}
    taken = tuple(rng.choice((0.0, 30.0, 80.0)) for _ in range(days))
    return Base(minutes, tuple(checks), PREPARATIONS, taken=taken, standing=standing)


@pytest.mark.parametrize("seed", range(60))
def test_the_plan_costs_what_the_best_of_all_plans_costs(seed: int) -> None:
    one = some_base(random.Random(seed))
    plan = solve(one, 20)
    assert plan.state == OPTIMAL
    assert plan.cost.total == pytest.approx(brute(one), rel=2e-4, abs=1e-6)
    assert plan.cost.total == pytest.approx(told(one, plan.day), abs=1e-6)
    assert plan.bound <= plan.cost.total + 1e-6


def test_sharing_a_stay_is_worth_more_than_a_few_days_of_interval() -> None:
    plan = solve(base(check(1, due=4), check(2, due=5)))
    assert plan.day == {1: 4, 2: 4}
    assert plan.cost.stays == 30 and plan.cost.preparations == 20
    assert plan.cost.given_away == pytest.approx(80 * 1 / 100)


def test_a_short_interval_is_not_given_away_for_little() -> None:
    plan = solve(base(check(1, due=0, preparations=()), check(2, due=5, interval=6.0, preparations=())))
    assert plan.day == {1: 0, 2: 5}


def test_nothing_is_shared_between_two_aircraft() -> None:
    plan = solve(base(check(1, "A", due=5), check(2, "B", due=5)))
    assert plan.cost.stays == 60 and plan.cost.preparations == 40


def test_work_is_levelled_over_the_days_before_it_goes_over_the_hours() -> None:
    small = (100.0,) * 6
    plan = solve(base(*(check(k, str(k), due=5) for k in range(4)), minutes=small))
    assert sorted(plan.day.values()) == [2, 3, 4, 5] and plan.cost.over == 0


def test_over_the_hours_is_shown_where_they_do_not_suffice() -> None:
    plan = solve(base(*(check(k, str(k), due=0) for k in range(3)), minutes=(100.0,) * 3))
    assert set(plan.day.values()) == {0} and plan.load[0] == 240
    assert plan.cost.over == pytest.approx(3 * 50 + 50 * 90)


def test_late_checks_go_first() -> None:
    late = check("late", "L", due=-3)
    others = [check(k, str(k), due=2) for k in range(2)]
    plan = solve(base(late, *others, minutes=(80.0, 80.0, 80.0)))
    assert plan.day["late"] == 0 and sorted(plan.day[k] for k in range(2)) == [1, 2]


def test_a_check_due_on_a_closed_day_is_done_before_it_and_never_after() -> None:
    assert window(base(check(1, due=2), minutes=(60.0, 60.0, 0.0, 60.0)), check(1, due=2)) == (0, 1)
    shut = base(check(1, due=1), minutes=(0.0, 0.0, 60.0))
    assert window(shut, shut.checks[0]) == (1,)
    only = base(check(1, due=3, earliest=3), minutes=(60.0, 0.0, 0.0, 0.0))
    assert window(only, only.checks[0]) == (0,)


def test_what_is_held_to_a_day_stays_there_and_draws_others() -> None:
    plan = solve(base(check(1, due=5, only_on=2), check(2, due=5)))
    assert plan.day == {1: 2, 2: 2}


def test_a_standing_package_draws_checks_that_share_with_it() -> None:
    stands = {("A", 3): frozenset({"panel"})}
    plan = solve(base(check(1, due=5), standing=stands))
    assert plan.day == {1: 3} and plan.cost.stays == plan.cost.preparations == 0


def many(aircraft: int, minutes: float) -> Base:
    """Two tasks on each of many aircraft, due at random in six weeks."""
    rng = random.Random(aircraft)
    checks = [
        check((a, task), str(a), due=rng.randrange(40), interval=interval, preparations=("panel", "stand"))
        for a in range(aircraft)
        for task, interval in ((1, 120.0), (2, 365.0))
    ]
    return base(*checks, minutes=(minutes,) * 40)


def test_with_hours_enough_each_aircraft_has_the_plan_that_it_has_alone() -> None:
    plan = solve(many(60, 10_000), 20)
    assert plan.state == OPTIMAL and plan.cost.over == 0
    lone = [solve(replace(many(60, 10_000), checks=many(60, 10_000).checks[k : k + 2]), 5) for k in (0, 2)]
    for one in lone:
        assert all(plan.day[key] == on for key, on in one.day.items())


def test_without_time_a_plan_still_comes_and_never_one_worse_than_no_planning() -> None:
    one = many(60, 300)
    plan = solve(one, 0.01)
    assert set(plan.day) == {c.key for c in one.checks}
    assert plan.cost.total <= cost_of(one, due_days(one))[0].total + 1e-6
    assert plan.bound <= solve(one, 20).cost.total * (1 + 1e-6)


def test_nothing_to_plan_costs_nothing() -> None:
    assert solve(base()).cost.total == 0 and solve(base()).gap == 0


def test_each_weight_prices_its_own_part() -> None:
    one = some_base(random.Random(5))
    doubled = replace(one, weights=Weights(stay=60, late=2000, over=6, far_over=100))
    cheap, _ = cost_of(one, due_days(one))
    dear, _ = cost_of(doubled, due_days(one))
    assert dear.stays == 2 * cheap.stays and dear.late == 2 * cheap.late and dear.over == 2 * cheap.over


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 10**6))
def test_whatever_is_given_no_check_comes_after_its_due_day(seed: int) -> None:
    one = some_base(random.Random(seed))
    plan = solve(one, 20)
    by_key = {c.key: c for c in one.checks}
    assert set(plan.day) == set(by_key)
    for key, on in plan.day.items():
        c = by_key[key]
        assert c.due < 0 or on <= c.due
        assert one.minutes[on] > 0 or not any(one.minutes[: max(c.due, 0) + 1]) or c.due < 0
    assert plan.cost.total <= cost_of(one, due_days(one))[0].total * (1 + 2e-4) + 1e-6
