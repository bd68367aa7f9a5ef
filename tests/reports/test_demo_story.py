"""The invented history as planned: seeded, whole, and with every case that the demo is to show."""

import datetime as dt
from collections import Counter
from decimal import Decimal

import numpy as np
import pytest

from checks.engine.drift_data import FIRST, PURGE, REPLACEMENT
from checks.engine.simulate import EXPONENTIAL, LINEAR, STEP, Drift, begin_life
from checks.engine.units import to_canonical
from reports.demo.aircraft import load_aircraft
from reports.demo.bench import Gauges, shown
from reports.demo.calendar import due_day, fly
from reports.demo.cases import CASES, OVERDUE
from reports.demo.history import plan_history
from reports.demo.master import load_master
from reports.demo.physics import PointData, Source, build_system
from reports.demo.plan import Planned, Truth
from tests.world import TODAY, build_world

DAYS = (TODAY, dt.date(2025, 7, 30), dt.date(2026, 10, 9), dt.date(2028, 2, 29))
PORT = PointData("port", "pressure", 96, 142)
NOZZLE = PointData("nozzle", "flow", 170, 212)
PANEL = PointData("port-left", "pressure", 20, 29.5, "left")


def planned(today: dt.date = TODAY, seed: int = 20) -> tuple[list[Planned], Truth]:
    master = load_master(today=today)
    stories, truth = plan_history(master, load_aircraft(master), seed)
    return [event for story in stories for event in story.events], truth


def of(events: list[Planned], registration: str, code: str = "pressure-flow") -> list[Planned]:
    return [e for e in events if (e.aircraft, e.code, e.draft) == (registration, code, False)]


def registration(truth: Truth, name: str) -> str:
    return truth.cases[name]


def source(drift: Drift, resumes: float = 0.0) -> Source:
    return Source("left", ("left",), 0.39, begin_life(0, FIRST, 0.0, drift, 0.39), 0.0, resumes)


@pytest.mark.django_db
def test_same_seed_same_history_another_seed_another():
    first, second, other = (
        [(e.aircraft, e.day, e.code, e.readings) for e in planned_apart(seed)] for seed in (20, 20, 21)
    )
    assert first == second
    assert first != other


def planned_apart(seed: int) -> list[Planned]:
    """Planned in a transaction that is taken back, so that it can be planned again."""
    from django.db import transaction

    with transaction.atomic():
        events, _ = planned(seed=seed)
        transaction.set_rollback(True)
    return events


@pytest.mark.django_db
@pytest.mark.parametrize("today", DAYS)
def test_every_case_is_there_on_any_day(today):
    events, truth = planned(today)
    faulty = of(events, registration(truth, "read low by a faulty gauge"))[-1]
    assert not faulty.over and {r.instrument for r in faulty.readings} >= {"gauge-6"}
    for name, end in (("open over limit", "open"), ("deferred over limit", "deferred")):
        checks = of(events, registration(truth, name))
        assert [e.over for e in checks[-2:]] == [False, True]
        assert checks[-1].end == end and (today - checks[-1].day).days < 10
    lives = truth.series[registration(truth, "shortening lives"), "port"].lives
    lengths = np.diff([life.start for life in lives])
    assert [life.kind for life in lives][:3] == [FIRST, PURGE, PURGE] and lengths[0] > lengths[1]
    step = truth.series[registration(truth, "step blockage"), "port-wing-ri"]
    assert step.lives[-1].drift.shape == STEP and step.drifted == pytest.approx(0.27)
    closing = truth.series[registration(truth, "closing"), "port"]
    assert 0.6 < closing.share < 0.95 and not of(events, closing.aircraft)[-1].over
    dry = of(events, registration(truth, "dry area, deferred"), "wet-out")[-1]
    assert dry.unsatisfactory == {"wing-lo": "at upper outer, tip; edge tip. Stays dry, a hand wide"}
    assert sum(event.draft for event in events) == 3


@pytest.mark.django_db
def test_a_check_over_limit_ends_with_a_retest_within():
    events, _ = planned()
    by_key = {(e.aircraft, e.key): e for e in events}
    rectified = [e for e in events if e.end == "rectified"]
    assert len(rectified) >= 10
    for event in rectified:
        retest = by_key[event.aircraft, event.ended_by]
        assert event.over and not retest.over and retest.code == event.code
        path = [retest]
        while path[-1].follows is not None:
            path.append(by_key[event.aircraft, path[-1].follows])
        assert path[-1] is event and {"panel-purge", "panel-replacement"} & {e.code for e in path}


@pytest.mark.django_db
def test_events_run_forwards_and_end_before_today():
    events, _ = planned()
    assert max(e.day for e in events) < TODAY
    for name in {e.aircraft for e in events}:
        own = [e for e in events if e.aircraft == name and not e.draft]
        assert [e.day for e in own] == sorted(e.day for e in own)
        hours = [Decimal(e.hours) for e in own]
        assert hours == sorted(hours)
    assert 900 < len(events) < 2500


@pytest.mark.django_db
def test_checks_are_done_before_they_are_due_except_the_overdue_ones():
    world = build_world(aircraft=1)
    use = fly(np.random.default_rng(3), TODAY, stored=False)
    check, base = world.recurring(world.forward), world.forward.base
    for done in range(int(use.days[0]) + 5, TODAY.toordinal() - 200, 31):
        on = dt.date.fromordinal(done)
        due = dt.date.fromordinal(int(due_day(check, done, use, base)))
        assert on < due <= on + dt.timedelta(days=154)  # five months at the most
        season = dt.date(on.year, 10, 1)  # North Skerry's; a check counts for it from 75 days before
        assert not on < season - dt.timedelta(days=75) < season < due
    assert len(OVERDUE) == 3 and {registration for registration, _ in OVERDUE}.isdisjoint(CASES)


def test_a_purge_leaves_a_tenth_and_a_new_part_nothing():
    rng = np.random.default_rng(1)
    panel = source(Drift(100.0, LINEAR, 0.4))
    before = panel.at(465.25)
    assert before == pytest.approx(0.4)  # a year at 0.4 ln per year
    panel.renew(rng, 465.25, PURGE)
    assert panel.at(465.25) == pytest.approx(0.04)
    panel.renew(rng, 800.0, REPLACEMENT)
    assert panel.at(800.0) == 0.0 and panel.purges == 0
    assert [life.kind for life in panel.lives] == [FIRST, PURGE, REPLACEMENT]


def test_a_drift_that_resumes_is_faster_each_time():
    rng = np.random.default_rng(1)
    panel = source(Drift(0.0, EXPONENTIAL, 300.0), resumes=1.0)
    panel.renew(rng, 800.0, PURGE)
    assert panel.life.drift == Drift(800.0, EXPONENTIAL, 200.0)


def test_a_panel_port_feels_its_own_panel_and_the_test_port_a_little():
    rng = np.random.default_rng(1)
    drifts = {"left": Drift(0.0, STEP, 0.3)}
    other = PointData("port-right", "pressure", 20, 29.5, "right")
    system = build_system(rng, [PORT, NOZZLE, PANEL, other], (), 0.0, drifts, bias_per_10k=0.0, resumes=0.0)
    rise = {code: system.ln_at(code, 10.0) - system.ln_at(code, -10.0) for code in system.points}
    assert rise["port-left"] == pytest.approx(0.3) and rise["port-right"] == 0
    assert 0 < rise["nozzle"] < rise["port"] < 0.05


def test_cold_fluid_raises_pressure_as_viscosity_does():
    """Between 0 and 20 °C published curves give 2.4 to 2.8 (tests/reference/glycol_viscosity.csv)."""
    system = build_system(np.random.default_rng(1), [PORT], ("left",), 0.0, {}, bias_per_10k=0.0, resumes=0.0)
    cold, warm = (system.read_exactly("port", 10.0, t) for t in (0.0, 20.0))
    assert warm == pytest.approx(96) and 2.4 < cold / warm < 2.8


@pytest.mark.django_db
def test_instruments_show_their_own_unit_and_steps():
    world = build_world()
    psi = shown(world.instrument("gauge-3"), 100.0)  # 100 kPa = 14.50 psi
    assert psi == Decimal("14.5")
    assert to_canonical(psi, "[psi]") == pytest.approx(Decimal("99.97"), abs=Decimal("0.01"))
    assert str(shown(world.instrument("gauge-4"), 96.4)) == "0.96"
    assert str(shown(world.instrument("vessel-500"), 171.0)) == "170"


@pytest.mark.django_db
def test_the_faulty_gauge_reads_low_by_more_and_more():
    world = build_world()
    gauges = Gauges(20, world.master)
    good, failed = world.master.calibrations["gauge-6"][-2:]
    half = good.calibrated_on + (failed.calibrated_on - good.calibrated_on) / 2
    assert gauges.offset("gauge-6", good.calibrated_on) == 0
    assert gauges.offset("gauge-6", half) == pytest.approx(-4.75, abs=0.05)
    assert gauges.offset("gauge-6", failed.calibrated_on) == pytest.approx(-9.5)
    assert gauges.offset("gauge-1", failed.calibrated_on) == 0


@pytest.mark.django_db
def test_what_each_base_does_is_within_its_people_and_instruments():
    events, _ = planned()
    used = Counter(r.instrument for e in events for r in e.readings)
    assert {"gauge-1", "gauge-2", "gauge-3", "gauge-4", "gauge-6"} <= set(used)
    late = {e.performed_by for e in events if (TODAY - e.day).days < 40}
    assert "technician6" not in late  # the authorisation ended 45 days ago
