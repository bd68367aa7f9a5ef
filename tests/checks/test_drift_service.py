"""Drift through the database: what counts as a reading, when lives begin, what is known when."""

import datetime as dt
from collections.abc import Iterator

import numpy as np
import pytest
import time_machine

from checks.models import CheckEvent, Decision, ImportBatch, SeriesState
from checks.models.record import ChainHead, Record
from checks.services.drift import refresh_drift
from checks.services.drift_inputs import gather
from checks.services.due import refresh_due
from fleet.models import Aircraft, MeasuringPoint
from tests.checks.drift_history import ago, at_noon, moment, ramp, read_check, reset, series
from tests.checks.work import performed
from tests.world import World, build_world

pytestmark = pytest.mark.django_db
STATE = SeriesState.State


@pytest.fixture(autouse=True)
def _today() -> Iterator[None]:
    with time_machine.travel(at_noon(), tick=False):
        yield


@pytest.fixture
def world() -> World:
    return build_world()


def readings_of(aircraft: Aircraft, code: str = "port", now: dt.datetime | None = None) -> list[float]:
    """ln of the readings that the engine is given for the point, by day."""
    inputs = gather(now=now or at_noon())
    point = MeasuringPoint.objects.get(variant=aircraft.variant, code=code)
    number = inputs.keys.index((aircraft.pk, point.pk))
    mine = inputs.readings.series == number
    values = inputs.readings.value[mine] / inputs.references[point.pk].nominal
    return np.round(np.log(values), 2).tolist()


# --- the truth of a small fleet ------------------------------------------------------------------


def test_a_small_fleet_is_ranked_by_its_truth() -> None:
    """Eight aircraft whose truth was simulated: one over limit, one closing, one drifting, five at rest."""
    world = build_world(aircraft=16)
    fleet = [one for one in world.fleet if one.variant.code == "forward"]
    for number, aircraft in enumerate(fleet[3:], 10):
        ramp(world, aircraft, 0.0, seed=number)
    over, closing, drifting = fleet[:3]
    ramp(world, over, 0.17, seed=1, start=0.1)
    read_check(world, over, ago(3), {"port": 0.45})
    ramp(world, closing, 0.16, seed=2)
    ramp(world, drifting, 0.07, seed=3)
    refresh_due()
    refresh_drift()
    states = {one.aircraft_id: one.state for one in SeriesState.objects.all()}
    assert states[over.pk] == STATE.OVER
    assert states[closing.pk] == STATE.CLOSING
    assert states[drifting.pk] == STATE.DRIFTING
    assert [states[one.pk] for one in fleet[3:]] == [STATE.STEADY] * 5
    # Truth: the ramp meets ln(limit / nominal) at 20 °C so many years after its first check.
    found = series(closing)
    room = float(np.log(found.chart["limit"] / 96))
    true_day = ago(820) + dt.timedelta(days=room / 0.16 * 365.25)
    assert found.crossing_low <= true_day <= found.crossing_high
    assert abs((found.crossing_on - true_day).days) <= 120


def test_a_planted_temperature_error_of_the_table_is_learnt() -> None:
    """Readings 3 % per 10 K too high when warm: the fit finds it, and the series stays steady."""
    world = build_world(aircraft=12)
    rng = np.random.default_rng(5)
    for aircraft in world.fleet:
        for n in range(10):
            t = float(np.round(rng.uniform(0, 30), 1))
            level = 0.03 * (t - 20) / 10 + rng.normal(0, 0.02)
            read_check(world, aircraft, ago(30 + 100 * n), {"port": level}, temperature=t)
    run = refresh_drift()
    fits = run.parameters["fit"]["groups"]
    for variant in ("forward", "underfloor"):
        point = world.master.points[variant, "port"]
        assert fits[str(point.pk)]["b1"] == pytest.approx(0.03, abs=0.01)
    assert set(SeriesState.objects.values_list("state", flat=True)) == {STATE.STEADY}


# --- what counts as a reading --------------------------------------------------------------------


def test_drafts_and_readings_that_are_not_valid_do_not_count(world: World) -> None:
    one = world.forward
    read_check(world, one, ago(40), {"port": 0.1})
    read_check(world, one, ago(30), {"port": 0.2}, outcome=CheckEvent.Outcome.NOT_VALID)
    performed(world, one, work_date=ago(20), series=("80", "96", "120"))  # never settled
    assert readings_of(one) == [0.1]


def test_over_limit_readings_count_and_are_marked(world: World) -> None:
    read_check(world, world.forward, ago(40), {"port": 0.0})
    read_check(world, world.forward, ago(30), {"port": 0.5})
    inputs = gather(now=at_noon())
    assert inputs.over.tolist() == [False, True]


def test_a_superseded_reading_is_left_out_and_its_correction_takes_its_place(world: World) -> None:
    """Even though the correction is signed after the purge of that day, it was read before it."""
    one = world.forward
    wrong = read_check(world, one, ago(10), {"port": 0.9}, minutes=0)
    reset(world, one, ago(10), ["port"], minutes=60)
    read_check(world, one, ago(10), {"port": 0.05}, minutes=120)
    right = read_check(
        world, one, ago(10), {"port": 0.5}, signed_at=moment(ago(9)), supersedes=wrong, correction_reason="x"
    )
    inputs = gather(now=at_noon())
    assert readings_of(one) == [0.5, 0.05]
    assert [life.readings for life in inputs.past[0]] == [1, 1]
    assert right.pk in inputs.events and wrong.pk not in inputs.events


def test_what_a_second_signature_is_missing_from_does_not_count(world: World) -> None:
    procedure = world.revision(world.forward).procedure
    procedure.needs_inspection = True
    procedure.save()
    read_check(world, world.forward, ago(10), {"port": 0.1})
    assert gather(now=at_noon()).keys == ()


def _link(world: World, aircraft: Aircraft) -> Record:
    head, _ = ChainHead.objects.get_or_create(aircraft=aircraft, owner=f"aircraft {aircraft.pk}")
    number = head.records.count() + 1
    return Record.objects.create(
        chain=head, number=number, act="x", canonical="{}", hash=f"{number}", written_at=at_noon()
    )


def test_a_reading_too_low_counts_once_a_person_has_accepted_it(world: World) -> None:
    one = world.forward
    read_check(world, one, ago(20), {"port": 0.0})
    low = read_check(world, one, ago(10), {"port": -1.2}, outcome=CheckEvent.Outcome.NOT_VALID, too_low=True)
    assert readings_of(one) == [0.0]
    by = world.person("releaser1")
    Decision.objects.create(
        event=low,
        record=_link(world, one),
        accepted=True,
        text="new pump",
        decided_by=by,
        decided_at=moment(ago(5)),
    )
    assert readings_of(one) == [0.0, -1.2]
    assert readings_of(one, now=at_noon(ago(6))) == [0.0]


def test_accepted_imports_count_from_their_acceptance(world: World) -> None:
    one, by = world.forward, world.person("controller1")
    batch = ImportBatch.objects.create(
        kind="checks", file_name="old.csv", sha256="0", rows_added=1, imported_by=by, accepted_by=by
    )
    paper = {"source": CheckEvent.Source.IMPORTED, "import_batch": batch, "signed_at": at_noon()}
    read_check(world, one, ago(400), {"port": 0.1}, gauge=None, **paper)
    read_check(world, one, ago(300), {"port": 0.2})
    assert readings_of(one) == [0.1, 0.2]
    assert readings_of(one, now=at_noon(ago(1))) == [0.2]
    assert gather(now=at_noon()).readings.gauge.tolist()[0] == 0


def test_the_gauge_and_its_step_come_with_each_reading(world: World) -> None:
    read_check(world, world.forward, ago(10), {"port": 0.1}, gauge="gauge-2")
    read_check(world, world.forward, ago(5), {"nozzle": 0.0}, gauge="vessel-500")
    inputs = gather(now=at_noon())
    by_gauge = dict(zip(inputs.readings.gauge.tolist(), inputs.readings.resolution.tolist(), strict=True))
    gauge, vessel = world.instrument("gauge-2"), world.instrument("vessel-500")
    assert set(by_gauge) == {gauge.pk, vessel.pk}
    assert by_gauge[vessel.pk] == pytest.approx(float(vessel.resolution))  # one minute: mL are mL/min


# --- lives --------------------------------------------------------------------------------------


def test_a_purge_begins_a_new_life_of_the_points_that_it_names(world: World) -> None:
    one = world.underfloor
    for n in range(4):
        read_check(world, one, ago(400 - 100 * n), {"port": 0.1 * n, "port-wing-li": 0.1 * n})
    reset(world, one, ago(50), ["port-wing-li"])
    read_check(world, one, ago(40), {"port": 0.3, "port-wing-li": 0.0})
    refresh_drift()
    purged, not_purged = series(one, "port-wing-li"), series(one, "port")
    assert (purged.readings_in_life, purged.life_began_on) == (1, ago(50))
    assert purged.chart["resets"] == [[ago(50).isoformat(), "purge"]]
    assert purged.chart["lives"] == [0, 0, 0, 0, 1]
    assert (not_purged.readings_in_life, not_purged.chart["resets"]) == (5, [])


def test_check_purge_and_retest_of_one_day_keep_their_order(world: World) -> None:
    one = world.forward
    read_check(world, one, ago(100), {"port": 0.1})
    read_check(world, one, ago(5), {"port": 0.5}, minutes=0)
    reset(world, one, ago(5), ["port"], minutes=30)
    read_check(world, one, ago(5), {"port": 0.05}, minutes=90)
    refresh_drift()
    found = series(one)
    assert readings_of(one) == [0.1, 0.5, 0.05]
    assert (found.state, found.readings_in_life, found.chart["lives"]) == (STATE.TOO_FEW, 1, [0, 0, 1])


def test_two_resets_without_a_reading_are_one_life_with_the_new_part(world: World) -> None:
    one = world.forward
    read_check(world, one, ago(100), {"port": 0.1})
    reset(world, one, ago(50), ["port"], why="replacement")
    reset(world, one, ago(49), ["port"])
    read_check(world, one, ago(40), {"port": 0.0})
    first, second = gather(now=at_noon()).past[0]
    assert (first.kind, second.kind, second.readings) == ("", "replacement", 1)


def test_purged_and_not_read_since_is_too_few_readings(world: World) -> None:
    ramp(world, world.forward, 0.0)
    reset(world, world.forward, ago(1), ["port"])
    refresh_drift()
    found = series(world.forward)
    assert (found.state, found.readings_in_life, found.p_cross) == (STATE.TOO_FEW, 0, None)
    assert found.life_began_on == ago(1) and found.chart["band"] == []


def test_over_limit_stays_until_a_reading_shows_otherwise(world: World) -> None:
    read_check(world, world.forward, ago(3), {"port": 0.5})
    reset(world, world.forward, ago(2), ["port"])
    refresh_drift()
    assert series(world.forward).state == STATE.OVER
    read_check(world, world.forward, ago(1), {"port": 0.0})
    refresh_drift()
    assert series(world.forward).state == STATE.TOO_FEW


# --- no look-ahead --------------------------------------------------------------------------------


def told() -> list[tuple]:
    fields = ("aircraft", "point", "state", "p_drift", "p_cross", "crossing_on", "margin", "chart", "facts")
    return list(SeriesState.objects.order_by("aircraft", "point").values_list(*fields))


def test_what_came_later_changes_nothing_of_what_was_known(world: World) -> None:
    """Score as of a day; then readings, a purge, a correction and an import follow; score as of that day."""
    days = ramp(world, world.forward, 0.15)
    ramp(world, world.underfloor, 0.0, seed=9)
    then = at_noon(ago(10))
    first = refresh_drift(now=then)
    before = told()
    assert before
    one, by = world.forward, world.person("controller1")
    read_check(world, one, ago(5), {"port": 0.9}, temperature=9.0)
    reset(world, one, ago(4), ["port"])
    read_check(world, one, ago(3), {"port": 0.0})
    wrong = CheckEvent.objects.get(aircraft=one, work_date=days[-1])
    later = {"supersedes": wrong, "correction_reason": "x", "signed_at": moment(ago(2))}
    read_check(world, one, days[-1], {"port": -0.3}, **later)
    batch = ImportBatch.objects.create(
        kind="checks", file_name="old.csv", sha256="0", rows_added=1, imported_by=by, accepted_by=by
    )
    paper = {"source": CheckEvent.Source.IMPORTED, "import_batch": batch, "signed_at": moment(ago(1))}
    read_check(world, one, days[0], {"port": 1.5}, minutes=5, **paper)
    again = refresh_drift(now=then)
    assert told() == before
    assert (again.inputs_hash, again.parameters) == (first.inputs_hash, first.parameters)
    now = refresh_drift()
    assert told() != before and now.inputs_hash != first.inputs_hash
