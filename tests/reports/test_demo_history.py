"""The whole demo, loaded once: valid records in unbroken chains, and a drift ranking that finds the truth."""

import datetime as dt
import json
from collections import Counter
from decimal import Decimal

import pytest

from checks.engine.limits import Limit, limit_at
from checks.engine.units import parse_decimal, to_canonical
from checks.models import (
    ChainHead,
    CheckEvent,
    Defect,
    DuePoint,
    InstrumentFinding,
    LimitTable,
    Reading,
    Record,
    Reset,
    Result,
    Revision,
    SeriesState,
    Signature,
)
from checks.selectors.doubt import traceback
from checks.services.points import limit_table
from checks.services.procedures import faults
from checks.services.verify import verify_chain, verify_event
from fleet.models import Aircraft, Calibration, Fitment, UtilisationEntry
from reports.demo.plan import Truth
from tests.world import TODAY

pytestmark = [pytest.mark.django_db, pytest.mark.xdist_group("demo")]

FOUND = {SeriesState.State.OVER, SeriesState.State.CLOSING, SeriesState.State.DRIFTING}
CLEAR, NONE = 0.6, 0.05  # share of the room that a drift has taken: plain to see, and none to speak of


@pytest.fixture(scope="module")
def states(truth: Truth) -> dict[tuple[str, str], SeriesState]:
    stored = SeriesState.objects.select_related("aircraft", "point")
    return {(s.aircraft.registration, s.point.code): s for s in stored}


def test_the_fleet_is_as_told(truth: Truth):
    assert Aircraft.objects.count() == 24
    assert CheckEvent.objects.count() == truth.events < 2500
    by_base = Counter(Aircraft.objects.values_list("base__hemisphere", flat=True))
    assert by_base == {"N": 21, "S": 3}
    first = CheckEvent.objects.order_by("work_date").first()
    assert 5.5 < (TODAY - first.work_date).days / 365.25 < 6
    assert CheckEvent.objects.filter(state="draft").count() == 3


def test_every_chain_holds_and_every_event_is_what_was_signed(truth: Truth):
    heads = list(ChainHead.objects.select_related("aircraft"))
    assert len(heads) == 25  # 24 aircraft and the operator
    assert [fault for head in heads for fault in verify_chain(head)] == []
    some = CheckEvent.objects.signed().order_by("uuid")[::40]
    assert len(some) > 20
    assert [fault for event in some for fault in verify_event(event)] == []


def test_chains_run_forwards_in_time(truth: Truth):
    for head in ChainHead.objects.all():
        times = list(head.records.order_by("number").values_list("written_at", flat=True))
        assert times == sorted(times)


def test_records_are_valid_by_every_rule_of_the_models(truth: Truth):
    for model in (Signature, Defect, Fitment, UtilisationEntry, Reset, Reading, CheckEvent):
        for row in model.objects.order_by("pk")[::60]:
            row.full_clean()


def test_typed_values_and_canonical_ones_agree(truth: Truth):
    for reading in Reading.objects.exclude(unit="s")[::9]:
        expected = to_canonical(parse_decimal(reading.typed), reading.unit)
        assert abs(reading.value - expected) <= Decimal("0.00005")


def test_stored_outcomes_follow_from_the_limits(truth: Truth):
    """Worked out here anew from the stored value and table, not by the code that stored it."""
    tables = {
        (table.revision_id, table.point_id): limit_table(table)
        for table in LimitTable.objects.prefetch_related("rows")
    }
    judged = Result.objects.select_related("event").exclude(outcome="not valid")
    seen = Counter()
    for result in judged:
        limit = limit_at(tables[result.event.revision_id, result.point_id], result.temperature)
        assert isinstance(limit, Limit)
        over = result.value > limit.upper + Decimal("0.0001")
        if result.outcome != "over limit" or "ceiling" not in result.reason:
            assert over == (result.outcome == "over limit"), result.reason
        seen[result.outcome] += 1
    assert seen["over limit"] >= 15 and seen["within limit"] > 900


def test_an_instrument_was_in_calibration_on_the_day(truth: Truth):
    readings = Reading.objects.exclude(instrument=None).select_related("event", "calibration", "instrument")
    for reading in readings:
        if reading.instrument.needs_calibration:
            on = reading.event.work_date
            assert reading.calibration.calibrated_on <= on <= reading.calibration.due_on


def test_utilisation_runs_forwards(truth: Truth):
    for aircraft in Aircraft.objects.all():
        hours = list(aircraft.utilisation.order_by("on").values_list("hours", flat=True))
        assert len(hours) > 100 and hours == sorted(hours)


def test_panel_changes_leave_one_part_in_each_position(truth: Truth):
    assert Fitment.objects.exclude(removed_on=None).count() >= 3
    now = Counter(Fitment.objects.current().values_list("aircraft", "position"))
    assert set(now.values()) == {1}
    replaced = Reset.objects.filter(why="replacement").values("event").distinct().count()
    assert replaced == CheckEvent.objects.filter(revision__procedure__code="panel-replacement").count()


def test_defects_are_rectified_except_the_cases(truth: Truth):
    standing = {
        d.aircraft.registration: d.state(TODAY) for d in Defect.objects.open().exclude(source="pilot report")
    }
    cases = {
        truth.cases["open over limit"]: "open",
        truth.cases["deferred over limit"]: "deferred",
        truth.cases["dry area, deferred"]: "deferred",
    }
    assert {name: standing.pop(name) for name in cases} == cases
    assert set(standing.values()) == {"deferred"} and len(standing) == 2, "one extended once, one a repeat"
    reports = {
        d.newest_deferral.category: d.state(TODAY) for d in Defect.objects.filter(source="pilot report")
    }
    assert reports == {"A": "deferred", "B": "deferral expired"}
    assert Defect.objects.exclude(rectification=None).count() >= 10


def test_nothing_over_limit_was_released(truth: Truth):
    released = Signature.objects.filter(act="released")
    assert released.count() > 300
    assert not released.filter(event__outcome__in=["over limit", "not valid"]).exists()


def test_second_signature_is_another_persons(truth: Truth):
    inspected = Signature.objects.filter(act="inspected").select_related("event")
    assert inspected.count() == CheckEvent.objects.filter(revision__procedure__needs_inspection=True).count()
    for signature in inspected:
        assert not signature.event.signatures.filter(act="performed", person=signature.person).exists()


def test_the_faulty_gauge_hides_one_check_over_limit(truth: Truth):
    """A traceback adds the error found to each reading since the last good calibration."""
    failed = Calibration.objects.get(result="failed")
    flipped = []
    for result in Result.objects.filter(point__code="port").select_related("event__aircraft"):
        reading = result.event.readings.filter(role="series", instrument=failed.instrument).last()
        if reading and result.value <= result.upper < result.value - failed.error_found:
            flipped.append((result.event.aircraft.registration, (TODAY - result.event.work_date).days))
    assert (truth.cases["read low by a faulty gauge"], 95) in flipped
    assert len(flipped) <= 3
    told = traceback(InstrumentFinding.objects.get())
    over = [doubt.event for doubt in told if doubt.would_change and doubt.outcome == "over limit"]
    assert [(event.aircraft.registration, (TODAY - event.work_date).days) for event in over] == flipped


def test_due_list_shows_overdue_due_soon_and_the_rest(truth: Truth):
    states = Counter(_due(point.due_on) for point in DuePoint.objects.all())
    assert states["overdue"] >= 3 and states["soon"] >= 2 and states["later"] > 70


def _due(on: dt.date | None) -> str:
    left = (on - TODAY).days if on else -1
    return "overdue" if left < 0 else "soon" if left <= 30 else "later"


def test_ranking_finds_what_drifts(truth: Truth, states):
    plain = [one for one in truth.series.values() if one.share >= CLEAR]
    assert len(plain) >= 6
    missed = [
        (one.aircraft, one.point) for one in plain if states[one.aircraft, one.point].state not in FOUND
    ]
    assert len(missed) <= len(plain) * 0.15, missed


def test_ranking_leaves_alone_what_does_not_drift(truth: Truth, states):
    still = [one for one in truth.series.values() if one.when_read <= NONE * one.room]
    assert len(still) > 70
    alarms = [(one.aircraft, one.point) for one in still if states[one.aircraft, one.point].state in FOUND]
    assert len(alarms) <= 2, alarms


def test_ranking_puts_what_drifts_before_what_does_not(truth: Truth, states):
    """Chance that of two series, one with a plain drift and one without, the first stands higher."""
    order = list(SeriesState.objects.values_list("aircraft__registration", "point__code"))
    place = {key: n for n, key in enumerate(order)}
    plain = [place[one.aircraft, one.point] for one in truth.series.values() if one.share >= CLEAR]
    still = [
        place[one.aircraft, one.point]
        for one in truth.series.values()
        if one.when_read <= NONE * one.room and states[one.aircraft, one.point].state != "too few readings"
    ]
    right = sum(a < b for a in plain for b in still)
    assert right / (len(plain) * len(still)) > 0.95


def test_the_open_cases_stand_first(truth: Truth, states):
    first = list(SeriesState.objects.values_list("aircraft__registration", flat=True)[:4])
    assert {truth.cases["open over limit"], truth.cases["deferred over limit"]} <= set(first)


def test_what_a_faulty_gauge_hid_is_told_by_the_nozzle_and_not_by_its_own_readings(truth: Truth, states):
    """The truth is closing. What the gauge read of the port is left out, so the port can't tell; the vessel
    at the nozzle read what it is."""
    case = truth.cases["read low by a faulty gauge"]
    port, nozzle = states[case, "port"], states[case, "nozzle"]
    assert truth.series[case, "port"].share > CLEAR and nozzle.state in FOUND
    hidden = CheckEvent.objects.filter(pk__in=port.facts["in_doubt"])
    assert len(hidden) == 2
    assert dt.date.fromisoformat(port.facts["last_on"]) < min(event.work_date for event in hidden)


def test_truth_can_be_kept_as_a_file(truth: Truth):
    text = json.dumps(truth.as_json())
    assert "Infinity" not in text and json.loads(text)["events"] == truth.events
    step = next(
        s
        for s in truth.as_json()["series"]
        if (s["aircraft"], s["point"]) == (truth.cases["step blockage"], "port-wing-ri")
    )
    assert step["lives"][-1]["shape"] == "step"
    assert step["lives"][-1]["onset"] == (TODAY - dt.timedelta(days=330)).isoformat()


def test_records_name_no_time_after_the_load(truth: Truth):
    midnight = dt.datetime.combine(TODAY, dt.time(0), tzinfo=dt.UTC)
    assert Record.objects.filter(written_at__gte=midnight).count() == 0


def test_one_revision_waits_for_the_director(truth: Truth):
    """Fit to be approved, stricter than the one in force, and followed by nobody until it is."""
    waiting = Revision.objects.get(approved_at=None)
    assert waiting.typed_by.username == "controller1" and waiting.effective_on > TODAY
    assert faults(waiting) == [] and not waiting.events.exists()
    in_force = Revision.objects.in_force(TODAY).get(procedure=waiting.procedure)
    for table in waiting.limit_tables.all():
        before = in_force.limit_tables.get(point=table.point).rows.order_by("temperature")
        rows = list(zip(table.rows.order_by("temperature"), before, strict=True))
        assert rows and all(new.upper <= old.upper for new, old in rows)
