"""What a record says as data: who, what, how it stands, and that it costs a fixed number of queries."""

import datetime as dt

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from checks.engine.canonical import GENESIS
from checks.models import CheckEvent, Reading
from checks.services.correct import correct
from fleet.models import Aircraft
from reports.record import CheckRecord, check_record
from tests.checks.work import performed, started
from tests.guards import guards_lifted
from tests.reports import record_cases as cases
from tests.world import World


def record_of(event: CheckEvent) -> CheckRecord:
    record = check_record(event.pk)
    assert record is not None
    return record


def test_a_draft_is_no_record_and_nothing_is_invented(world: World) -> None:
    draft = started(world, world.forward)
    assert check_record(draft.pk) is None
    with pytest.raises(CheckEvent.DoesNotExist):
        check_record("00000000-0000-4000-8000-000000000000")


def test_it_says_what_was_signed_under_the_names_of_that_day(world: World) -> None:
    event = cases.within(world)
    Aircraft.objects.filter(pk=event.aircraft_id).update(registration="Q-NEW", serial_number="other")
    record = record_of(event)
    assert (record.work.registration, record.work.serial_number) == ("Q-0000", "DT-0000")
    assert (record.state, record.conclusion.outcome) == ("released", "within limit")
    assert record.links[0].previous_hash == GENESIS and record.links[1].previous_hash == record.links[0].hash
    assert [link.act for link in record.links] == ["performed", "released"]
    assert record.as_signed and record.faults == ()


def test_moments_are_those_of_the_base_and_dates_of_work_and_signing_differ(world: World) -> None:
    world.forward.base.time_zone = "Asia/Kathmandu"
    world.forward.base.save()
    event = performed(world, world.forward, work_date=world.today - dt.timedelta(days=2))
    record = record_of(event)
    assert record.work.done_on == dt.date(2025, 3, 10)
    assert record.work.signed_at.astimezone(record.zone).isoformat() == "2025-03-12T17:45:00+05:45"
    assert record.made_at.utcoffset() == dt.timedelta(hours=5, minutes=45)


def test_an_instrument_stands_once_with_the_calibration_relied_on(world: World) -> None:
    record = record_of(cases.within(world))
    event = CheckEvent.objects.get(pk=record.key)
    used = {r.calibration for r in event.readings.select_related("calibration") if r.calibration}
    told = {(one.certificate_number, one.due_on) for one in record.instruments if one.due_on}
    assert told == {(one.certificate_number, one.due_on) for one in used} and len(told) == 2
    assert [one.code for one in record.instruments] == ["thermo-1", "gauge-1", "vessel-500"]
    assert [one.due_on for one in record.instruments][-1] is None


def test_places_for_signatures_say_why_they_are_empty(world: World) -> None:
    performed_, second, release = record_of(performed(world, world.forward)).signatures
    assert performed_.signed.name == "Technician 1" and performed_.signed.certificate_number == "DEMO-T-001"
    assert (second.signed, second.unsigned) == (None, "No second signature is asked for by this task.")
    assert (release.signed, release.unsigned) == (None, "Not released.")
    waiting = record_of(performed(world, world.forward, "panel-replacement"))
    assert waiting.state == "awaiting second signature"
    assert waiting.signatures[1].unsigned == "Not inspected: the second signature is missing."
    assert record_of(cases.inspected(world)).signatures[1].signed.name == "Inspector 1"


def test_a_correction_is_told_from_both_sides(world: World, clock: time_machine.Traveller) -> None:
    first, later = cases.corrected(world, clock)
    old, new = record_of(first), record_of(later)
    assert (old.state, old.superseded_by.record, old.supersedes) == ("superseded", new.record, None)
    assert (new.state, new.supersedes.record, new.superseded_by) == ("signed", old.record, None)
    assert old.superseded_by.reason == new.supersedes.reason == "Gauge misread by one mark."
    assert old.superseded_by.at == later.signed_at and new.supersedes.at == first.signed_at
    assert old.signatures[2].unsigned == f"Not released. Superseded by record {new.record}."
    assert [one.note for one in old.attempts] == [
        f"superseded by {new.record}",
        f"corrects {old.record}",
    ]


def test_a_correction_being_written_leaves_the_record_standing(
    world: World, clock: time_machine.Traveller
) -> None:
    event = performed(world, world.forward)
    clock.shift(60)
    correct(event=event, by=world.person("technician1"), reason="Gauge misread.")
    record = record_of(event)
    assert (record.state, record.superseded_by, record.correction_under_way) == ("signed", None, True)
    assert [one.outcome for one in record.attempts] == ["within limit", "draft"]


def test_the_story_names_every_attempt_and_what_closed_the_defect(
    world: World, clock: time_machine.Traveller
) -> None:
    first, purge, retest = cases.retested(world, clock)
    for event in (first, purge, retest):
        record = record_of(event)
        assert [one.outcome for one in record.attempts] == ["over limit", "done", "within limit"]
        assert [one.is_this for one in record.attempts] == [event == one for one in (first, purge, retest)]
        (defect,) = record.defects
        assert defect.state == "closed" and defect.found_here == (event == first)
        (act,) = defect.acts
        assert act.by == "Releaser 1, invented release certificate DEMO-R-001"
        assert act.text == f"Panels purged. Retest: record {record_of(retest).record}."
    assert record_of(purge).work.resets == ("system test port (purge)", "propeller nozzle (purge)")


def test_an_inspection_states_a_persons_approval_or_that_there_is_none(world: World) -> None:
    operator = world.master.operator
    event = cases.within(world)
    approved = record_of(event).inspection
    assert approved.statement.startswith("Approved for return to service") and approved.discrepancies == ()
    found = record_of(cases.over(world)).inspection
    assert "No person has approved" in found.statement and len(found.discrepancies) == 2
    assert found.discrepancies[1] == "left wing outboard: dry area"
    operator.inspection_records = False
    operator.save()
    assert record_of(event).inspection is None


@pytest.mark.parametrize("accepted", [True, False])
def test_a_decision_in_writing_is_told(world: World, clock: time_machine.Traveller, accepted: bool) -> None:
    record = record_of(cases.decided(world, clock, accepted))
    assert record.decision.title == ("Reading accepted in writing" if accepted else "Reading not accepted")
    assert record.decision.by == "Releaser 1, invented release certificate DEMO-R-001"
    assert record.conclusion.outcome == "not valid" and record.links[-1].act == "decision"


def test_paper_records_say_who_brought_and_who_accepted_them(world: World) -> None:
    record = record_of(cases.imported(world))
    assert record.paper.source == "history-2019.csv, line 12"
    assert (record.paper.imported_by, record.paper.accepted_by) == ("Controller 1", "Controller 2")
    assert record.signatures[0].title == "Accepted from paper records"
    assert "paper record holds a release" in record.signatures[2].unsigned
    assert [one.typed for one in record.readings] == ["68 °F", "14,1 psi", "171 mL/min"]
    assert [one.uncertainty for one in record.points] == ["", ""]
    assert record.seen == record.followed == record.series == record.instruments == ()


def test_rows_that_differ_from_what_was_signed_are_found(world: World) -> None:
    event = performed(world, world.forward)
    with guards_lifted(connection):
        Reading.objects.filter(event=event, sequence=2).update(value="90")
    record = record_of(event)
    assert record.faults == ("readings differ from what was signed",) and not record.as_signed


def test_a_link_whose_text_was_changed_is_found(world: World) -> None:
    event = performed(world, world.forward)
    link = event.signatures.get().record
    with guards_lifted(connection):
        type(link).objects.filter(pk=link.pk).update(canonical=link.canonical.replace("Technician", "Nobody"))
    record = record_of(event)
    assert not record.links[0].holds and not record.as_signed


def queries(event: CheckEvent) -> int:
    with CaptureQueriesContext(connection) as caught:
        record_of(event)
    return len(caught)


def test_queries_do_not_grow_with_readings_or_panels(world: World) -> None:
    few = performed(world, world.forward, series=("90", "96"))
    many = performed(world, world.underfloor, series=("96",) * 22)
    assert many.readings.count() > few.readings.count() + 20
    assert queries(few) == queries(many) <= 40


def test_queries_do_not_grow_with_attempts(world: World, clock: time_machine.Traveller) -> None:
    def story(rounds: int, aircraft: Aircraft) -> CheckEvent:
        last = performed(world, aircraft, series=cases.OVER)
        for _ in range(rounds):
            clock.shift(600)
            last = performed(world, aircraft, "panel-purge", follows=last)
            clock.shift(600)
            last = performed(world, aircraft, series=cases.OVER, follows=last)
        return last

    short, long = story(1, world.forward), story(4, world.underfloor)
    assert queries(short) == queries(long)
    assert len(record_of(long).attempts) == 9
