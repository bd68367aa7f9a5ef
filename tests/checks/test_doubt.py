"""An instrument found out of calibration: which checks it puts in doubt, what each would have been, reviews.

The four checks of `four` are read at 20 °C, where the invented limit of the test port is asked of the stored
table, so that the expected outcomes are worked out here by a comparison and not by the engine.
"""

import datetime as dt
from decimal import Decimal

import pytest
import time_machine
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from checks.models import ChainHead, CheckEvent, DoubtReview, InstrumentFinding, LimitRow, Record
from checks.selectors import doubt, icing
from checks.selectors.due_counting import counting_events
from checks.selectors.release import is_within, release_obstacles
from checks.services.doubt import report_out_of_calibration, review_doubt
from checks.services.errors import RecordError
from checks.services.evaluate import evaluate
from checks.services.record import save_draft
from checks.services.sign import sign_performed
from checks.services.verify import verify_chain, verify_event
from fleet.models import Calibration
from tests.checks.work import SETTLED, filled, performed, started, typed
from tests.world import PASSWORD, World, build_world

GAUGE = "gauge-1"  # its last good calibration: 120 days before the world's today
LOW = Decimal("-9.5")  # kPa: it reads too low


def limit(world: World, code: str = "port") -> Decimal:
    tables = world.revision(world.forward).limit_tables
    return LimitRow.objects.get(table=tables.get(point__code=code), temperature=20).upper


def ago(world: World, days: int) -> dt.date:
    return world.today - dt.timedelta(days=days)


@pytest.fixture
def four(world: World) -> list[CheckEvent]:
    """Four checks of one aircraft, oldest first; the last but one is 5 kPa under its limit."""
    near = str(int(limit(world)) - 5)
    values = ("80", "82", near, "81")
    days = (100, 70, 40, 10)
    return [
        world.signed(world.forward, ago(world, day), values={"port": value})
        for day, value in zip(days, values, strict=True)
    ]


def found(world: World, error: Decimal | None = LOW, **how: object) -> InstrumentFinding:
    return report_out_of_calibration(
        instrument=world.instrument(how.pop("code", GAUGE)),
        by=world.person("controller1"),
        password=PASSWORD,
        found_on=how.pop("found_on", world.today),
        error=error,
        text="Compared with a reference gauge.",
        **how,
    )


def reviewed(world: World, finding: InstrumentFinding, *events: CheckEvent, accepted: bool = True) -> None:
    review_doubt(
        finding=finding,
        events=events,
        by=world.person("releaser1"),
        password=PASSWORD,
        accepted=accepted,
        text="Tested again.",
    )


def held(world: World) -> list[str]:
    """What a doubt holds against flight in icing."""
    (status,) = icing.icing_statuses(at=timezone.now(), aircraft_ids=[world.forward.pk])
    return [reason.text for reason in status.reasons if reason.kind == icing.DOUBT]


# --- the traceback ----------------------------------------------------------------------------------------
def test_a_known_error_changes_one_outcome_of_four(world: World, four: list[CheckEvent]) -> None:
    before = list(CheckEvent.objects.order_by("pk").values())
    told = doubt.traceback(found(world))
    assert [one.event for one in told] == four[::-1]
    assert [one.event for one in told if one.would_change] == [four[2]]
    changed = next(one for one in told if one.would_change)
    assert changed.event.outcome in ("within limit", "borderline") and changed.outcome == "over limit"
    (shift,) = [s for s in changed.shifts if s.recorded.point.code == "port"]
    assert shift.value == shift.recorded.value - LOW > limit(world) >= shift.recorded.value
    assert {one.state for one in told} == {doubt.IN_DOUBT}
    assert list(CheckEvent.objects.order_by("pk").values()) == before


def test_an_error_the_other_way_takes_from_the_reading(world: World, four: list[CheckEvent]) -> None:
    """An error is the value read less the true one, a correction has the other sign (JCGM 200, 2.16 and 2.53,
    cited from memory)."""
    told = doubt.traceback(found(world, Decimal(4)))
    for one in told:
        (shift,) = [s for s in one.shifts if s.recorded.point.code == "port"]
        assert shift.value == shift.recorded.value - 4
    assert not any(one.outcome == "over limit" for one in told)


def test_without_an_error_every_outcome_is_as_signed(world: World, four: list[CheckEvent]) -> None:
    """Asked again long afterwards: what came later must not tell on what was known then."""
    world.signed(world.forward, ago(world, 5), code="panel-purge")
    for event in CheckEvent.objects.filter(pk__in=[one.pk for one in four]):
        assert evaluate(event).outcome == event.outcome and not evaluate(event).too_low


def test_an_unknown_error_puts_all_in_doubt(world: World, four: list[CheckEvent]) -> None:
    told = doubt.traceback(found(world, None))
    assert len(told) == 4 and all(one.would_change and one.against for one in told)
    assert {one.outcome for one in told} == {doubt.NOT_KNOWN}
    assert "by how much is not known" in told[0].words


def test_a_thermometer_s_error_moves_the_limit(world: World, four: list[CheckEvent]) -> None:
    """Fluid warmer than it read flows more easily: the limit of 25 °C held and not that of 20 °C."""
    told = doubt.traceback(found(world, Decimal(-5), code="thermo-1"))
    port = next(line for line in told[0].corrected.points if line.point.code == "port")
    rows = LimitRow.objects.filter(table__revision=told[0].event.revision, table__point=port.point)
    assert port.temperature == 25 and port.judged.limit.upper == rows.get(temperature=25).upper
    assert port.judged.limit.upper != rows.get(temperature=20).upper


def test_a_vessel_s_error_moves_the_flow_and_never_under_nothing(
    world: World, four: list[CheckEvent]
) -> None:
    for error, flow in ((Decimal(-30), 30), (Decimal(500), None)):
        finding = found(world, error, code="vessel-500", found_on=ago(world, 0 if flow else 1))
        told = doubt.traceback(finding)
        (shift,) = [s for s in told[0].shifts if s.recorded.point.quantity == "flow"]
        assert shift.value == (shift.recorded.value + flow if flow else 0)
        assert finding.calibration is None, "it needs none, so the doubt goes back to the first reading"


def test_the_window_runs_from_the_last_good_calibration_to_the_day_of_the_finding(world: World) -> None:
    good = world.instrument(GAUGE).calibrations.latest("calibrated_on").calibrated_on
    days = [good - dt.timedelta(days=1), good, ago(world, 20), ago(world, 19)]
    events = [world.signed(world.forward, day) for day in days]
    finding = found(world, found_on=ago(world, 20))
    assert finding.begins_on == good
    assert [one.event for one in doubt.traceback(finding)] == [events[2], events[1]]


def test_a_calibration_that_failed_or_is_of_that_day_is_not_the_last_good_one(world: World) -> None:
    gauge = world.instrument(GAUGE)
    last = gauge.calibrations.latest("calibrated_on")
    for day, result in ((ago(world, 30), "failed"), (world.today, "adjusted")):
        Calibration.objects.create(
            instrument=gauge,
            calibrated_on=day,
            due_on=day + dt.timedelta(days=365),
            result=result,
            certificate_number=f"c-{result}",
        )
    assert found(world).calibration == last


def test_other_instruments_and_other_aircraft(world: World, four: list[CheckEvent]) -> None:
    other = world.signed(world.underfloor, ago(world, 15))
    told = doubt.traceback(found(world))
    assert {one.event for one in told} == {*four, other}
    assert doubt.traceback(found(world, code="gauge-2")) == []


def test_a_draft_signed_after_the_finding_is_among_them(world: World, clock: time_machine.Traveller) -> None:
    yesterday = ago(world, 1)
    draft = filled(started(world, world.forward, work_date=yesterday), world)
    finding = found(world, found_on=yesterday)
    assert doubt.traceback(finding) == [] and doubt.drafts_with(finding) == 1
    clock.shift(dt.timedelta(days=2))
    signed = sign_performed(event=draft, by=world.person("technician1"), password=PASSWORD)
    assert [one.event for one in doubt.traceback(finding)] == [signed]
    assert doubt.drafts_with(finding) == 0
    assert doubt.with_doubt(CheckEvent.objects.all()).get().in_doubt


def test_the_draft_of_a_day_before_may_still_be_sent_and_later_work_may_not(world: World) -> None:
    found(world, found_on=ago(world, 1))
    before = filled(started(world, world.forward, work_date=ago(world, 1)), world)
    assert before.readings.filter(instrument__code=GAUGE).exists()
    later = started(world, world.forward)
    saved = save_draft(event=later, by=world.person("technician1"), given=typed(later))
    assert all("was found out of calibration on 11 Mar 2025" in p.message for p in saved.problems)
    assert len(saved.problems) == len(SETTLED)
    Calibration.objects.create(
        instrument=world.instrument(GAUGE),
        calibrated_on=world.today,
        due_on=world.today + dt.timedelta(days=365),
        certificate_number="again",
    )
    assert filled(started(world, world.forward), world).readings.filter(instrument__code=GAUGE).exists()


# --- what it counts for -----------------------------------------------------------------------------------
def test_only_the_latest_accepted_check_that_would_change_counts_against_icing(
    world: World, four: list[CheckEvent]
) -> None:
    assert held(world) == []
    found(world)
    assert held(world) == [], "the check over limit with the error corrected is not the latest"


def test_the_latest_check_counts_until_a_later_one_with_another_gauge(
    world: World, clock: time_machine.Traveller
) -> None:
    near = str(int(limit(world)) - 5)
    world.signed(world.forward, ago(world, 10), values={"port": near})
    found(world)
    (text,) = held(world)
    assert "Pressure and flow check of 02 Mar 2025 is in doubt" in text and "would be over limit" in text
    clock.shift(60)
    performed(world, world.forward, gauge="gauge-2")
    assert held(world) == []


def test_an_unknown_error_counts_for_every_aircraft_until_its_review(
    world: World, four: list[CheckEvent]
) -> None:
    finding = found(world, None)
    assert len(held(world)) == 1
    reviewed(world, finding, four[0])
    assert len(held(world)) == 1, "the review of another check"
    reviewed(world, finding, four[3])
    assert held(world) == []


def test_a_review_that_does_not_accept_keeps_it_against_and_out_of_what_counts(
    world: World, four: list[CheckEvent]
) -> None:
    finding = found(world, None)
    reviewed(world, finding, four[3], accepted=False)
    (text,) = held(world)
    assert "is to be repeated after its review" in text
    assert four[3] not in counting_events() and four[2] in counting_events()
    newest = doubt.traceback(finding)[0]
    assert (newest.state, newest.review.outcome) == (doubt.TO_BE_REPEATED, "")


def test_release_and_retest_wait_for_the_review(world: World) -> None:
    near = str(int(limit(world)) - 5)
    event = world.signed(world.forward, ago(world, 10), values={"port": near})
    assert release_obstacles(event, timezone.now()) == [] and is_within(event)
    finding = found(world)
    (why,) = release_obstacles(event, timezone.now())
    assert why.endswith("would be over limit. Have it reviewed first.") and not is_within(event)
    reviewed(world, finding, event)
    assert release_obstacles(event, timezone.now()) == [] and is_within(event)


def test_a_later_finding_takes_the_place_of_one_that_did_not_know_the_error(
    world: World, four: list[CheckEvent]
) -> None:
    first = found(world, None)
    reviewed(world, first, four[3], accepted=False)
    second = found(world, LOW, replaces=first)
    assert held(world) == [] and four[3] in counting_events()
    assert {one.finding for one in doubt.doubts_of(four[2])} == {second}
    with pytest.raises(RecordError, match="took the place"):
        reviewed(world, first, four[0])
    with pytest.raises(RecordError, match="took the place"):
        found(world, LOW, replaces=first)


# --- reviews and findings as signed acts ------------------------------------------------------------------
def test_a_review_clears_one_check_and_touches_no_signed_row(world: World, four: list[CheckEvent]) -> None:
    finding = found(world)
    reviewed(world, finding, four[2])
    states = {one.event.pk: one.state for one in doubt.traceback(finding)}
    assert states[four[2].pk] == doubt.STANDS and states[four[1].pk] == doubt.IN_DOUBT
    review = DoubtReview.objects.get()
    assert review.outcome == "over limit" and review.record.chain.owner == "operator"
    for event in four:
        assert verify_event(event) == []
    assert [verify_chain(head) for head in ChainHead.objects.all()] == [[], []]
    in_doubt = doubt.with_doubt(CheckEvent.objects.all()).filter(in_doubt=True)
    assert set(in_doubt) == set(four) - {four[2]}
    with pytest.raises(RecordError, match="reviewed: stands"):
        reviewed(world, finding, four[2])


def test_many_at_once_are_reviewed_together_or_not_at_all(world: World, four: list[CheckEvent]) -> None:
    finding = found(world)
    stranger = world.signed(world.forward, ago(world, 200))
    with pytest.raises(RecordError, match="not touched"):
        reviewed(world, finding, *four, stranger)
    assert not DoubtReview.objects.exists()
    reviewed(world, finding, *four)
    assert DoubtReview.objects.count() == 4 and Record.objects.filter(act="doubt review").count() == 4


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"found_on": dt.date(2025, 3, 13)}, "still to come"),
        ({"error": Decimal(0)}, "mark it as not known"),
        ({"error": Decimal(601)}, "larger than the range"),
    ],
)
def test_what_is_no_finding_is_refused(world: World, how: dict, words: str) -> None:
    with pytest.raises(RecordError, match=words):
        found(world, **how)
    assert not InstrumentFinding.objects.exists() and not Record.objects.filter(act="instrument finding")


def test_the_same_finding_twice_is_refused(world: World) -> None:
    found(world)
    with pytest.raises(RecordError, match="reported for this day already"):
        found(world)


@pytest.mark.parametrize("who", ["technician1", "director1"])
def test_who_reports(world: World, who: str) -> None:
    with pytest.raises(RecordError, match="role lacks it"):
        report_out_of_calibration(
            instrument=world.instrument(GAUGE),
            by=world.person(who),
            password=PASSWORD,
            found_on=world.today,
            error=None,
            text="x",
        )


def test_who_reviews_needs_password_and_authorisation_for_the_variant(
    world: World, four: list[CheckEvent]
) -> None:
    finding = found(world)
    given = {"finding": finding, "events": four[:1], "accepted": True, "text": "x"}
    with pytest.raises(RecordError, match="role lacks it"):
        review_doubt(by=world.person("technician1"), password=PASSWORD, **given)
    with pytest.raises(RecordError, match="password is not right"):
        review_doubt(by=world.person("releaser1"), password="another", **given)
    with pytest.raises(RecordError, match="No authorisation in force"):
        review_doubt(by=world.person("releaser3"), password=PASSWORD, **given)  # underfloor alone


@pytest.mark.parametrize("verb", ["update", "delete"])
def test_the_database_refuses_any_change(world: World, four: list[CheckEvent], verb: str) -> None:
    finding = found(world)
    reviewed(world, finding, four[0])
    for model in (DoubtReview, InstrumentFinding):
        with pytest.raises(IntegrityError, match="is appended and never changed"), transaction.atomic():
            rows = model.objects.all()
            rows.update(text="changed") if verb == "update" else rows._raw_delete("default")


# --- cost -------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("ask", ["traceback", "icing"])
def test_queries_do_not_grow_with_the_checks(db: None, clock: time_machine.Traveller, ask: str) -> None:
    world = build_world(aircraft=22)
    cost = {}
    for number in (2, 22):
        for aircraft in world.fleet[len(world.history) : number]:
            world.signed(aircraft, ago(world, 10))
        if number == 2:
            found(world, Decimal("-300"))
        finding = doubt.standing_findings().get()
        with CaptureQueriesContext(connection) as queries:
            if ask == "traceback":
                assert len(doubt.traceback(finding)) == number
            else:
                assert len(doubt.against_icing([one.pk for one in world.fleet])) == number
        cost[number] = len(queries)
    assert cost[2] == cost[22]
