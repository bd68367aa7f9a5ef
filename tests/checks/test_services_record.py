"""Starting a check and keeping its draft: what is refused, what comes back, what is lost (nothing)."""

import datetime as dt
import threading
import uuid
from dataclasses import replace
from decimal import Decimal

import pytest
import time_machine
from django.db import connection, connections
from django.test.utils import CaptureQueriesContext

from checks.models import CheckEvent, Reading, Revision, Step
from checks.services.errors import Conflict, RecordError
from checks.services.evaluate import evaluate
from checks.services.inputs import DraftInput, ReadingInput
from checks.services.instruments import allowed_instruments
from checks.services.record import discard_draft, save_draft, start_check
from checks.services.rows import parse_seconds
from fleet.models import Calibration, Instrument
from tests.checks.work import filled, instrument_key, performed, roles_again, started, typed
from tests.world import World, build_world


def step_of(event: CheckEvent, kind: str, **more: object) -> Step:
    return event.revision.steps.filter(kind=kind, **more).first()


def kept(world: World, event: CheckEvent, given: DraftInput) -> tuple[CheckEvent, dict[str, str]]:
    """The draft as saved, and the message by form field."""
    saved = save_draft(event=event, by=world.person("technician1"), given=given)
    return saved.event, {problem.field: problem.message for problem in saved.problems}


def test_the_same_call_with_the_same_key_makes_one_event(world: World) -> None:
    key = uuid.uuid4()
    procedure = world.revision(world.forward).procedure
    how = {
        "aircraft": world.forward,
        "procedure": procedure,
        "by": world.person("technician1"),
        "work_date": world.today,
        "uuid": key,
    }
    first, again = start_check(**how), start_check(**how)
    assert first == again and first.pk == key and CheckEvent.objects.count() == 1
    with pytest.raises(Conflict, match="Both are kept") as caught:
        start_check(**how | {"work_date": world.today - dt.timedelta(days=1)})
    assert caught.value.existing == first and CheckEvent.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_the_same_draft_sent_by_two_at_once_makes_one_event(clock: time_machine.Traveller) -> None:
    roles_again()
    world = build_world()
    key, made, failed = uuid.uuid4(), [], []
    together = threading.Barrier(2)

    def send() -> None:
        try:
            procedure, by = world.revision(world.forward).procedure, world.person("technician1")
            together.wait()
            made.append(
                start_check(
                    aircraft=world.forward, procedure=procedure, by=by, work_date=world.today, uuid=key
                )
            )
        except Exception as error:
            failed.append(error)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=send) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert failed == [] and [event.pk for event in made] == [key, key]
    assert CheckEvent.objects.count() == 1


def test_it_follows_the_revision_in_force_on_the_day_of_work(world: World) -> None:
    now = world.revision(world.forward)
    day_before = now.effective_on - dt.timedelta(days=1)
    assert started(world, world.forward).revision == now
    older = started(world, world.forward, work_date=day_before).revision
    assert older.procedure == now.procedure and older.effective_on < now.effective_on


def test_without_an_approved_revision_nothing_starts(world: World) -> None:
    procedure = world.revision(world.forward).procedure
    first = Revision.objects.filter(procedure=procedure).earliest("effective_on")
    with pytest.raises(RecordError, match="no approved revision in force") as caught:
        started(world, world.forward, work_date=first.effective_on - dt.timedelta(days=1))
    assert list(caught.value.message_dict) == ["work_date"]
    later = Revision.objects.create(
        procedure=procedure,
        number="9",
        typed_by=world.person("controller1"),
        effective_on=world.today,
        source_reference="invented",
    )
    assert started(world, world.forward).revision != later, "an unapproved revision is not followed"


def test_the_other_variant_a_day_to_come_and_an_unsigned_predecessor_are_refused(world: World) -> None:
    draft = started(world, world.forward)
    with pytest.raises(RecordError) as caught:
        start_check(
            aircraft=world.underfloor,
            procedure=world.revision(world.forward).procedure,
            by=world.person("technician1"),
            work_date=world.today + dt.timedelta(days=2),
            follows=draft,
        )
    assert set(caught.value.message_dict) == {"procedure", "work_date", "follows"}


def test_who_may_not_record_starts_nothing(world: World) -> None:
    with pytest.raises(RecordError, match="role lacks it"):
        started(world, world.forward, by="auditor1")


def test_total_time_is_taken_from_the_last_utilisation(world: World) -> None:
    draft = started(world, world.forward)
    assert (draft.hours, draft.landings) == (Decimal("2000"), 1500)


def test_what_can_not_be_read_comes_back_by_row_and_field_and_the_rest_is_kept(world: World) -> None:
    event = started(world, world.forward)
    whole = typed(event)
    series = step_of(event, "timed_series")
    bad = tuple(
        replace(r, typed="9o.5") if r.step == series.pk and r.sequence == 1 else r for r in whole.readings
    )
    event, problems = kept(
        world, event, replace(whole, readings=bad, fields={"hours": "12,5", "landings": "x"})
    )
    name = f"reading-{series.pk}-1-typed"
    assert problems == {
        name: f"Step {series.number}, reading 2: '9o.5' is not a plain number; write digits with one decimal "
        "mark, as 12.5.",
        "landings": "Total landings: 'x' is not a whole number; write digits only, as 1520.",
    }
    assert event.readings.filter(step=series).count() == 3
    assert (event.hours, event.landings) == (Decimal("12.5"), 1500)
    event, problems = kept(world, event, whole)
    assert problems == {} and event.readings.filter(step=series).count() == 4


def test_readings_are_kept_as_typed_and_in_canonical_units(world: World) -> None:
    """25 psi = 172.368932 kPa (pound-force and inch as NIST SP 811 B.8 defines them)."""
    event = started(world, world.forward)
    series = step_of(event, "timed_series")
    row = ReadingInput(series.pk, "25,0", "[psi]", instrument_key("gauge-3"), elapsed="1:30")
    event, problems = kept(world, event, DraftInput(readings=(row,)))
    reading = event.readings.get()
    assert problems == {}
    assert (reading.typed, reading.unit, reading.value) == ("25,0", "[psi]", Decimal("172.368932"))
    assert (reading.elapsed_seconds, reading.role, reading.point.code) == (90, "series", "port")
    assert reading.calibration == Calibration.objects.covering(world.today).get(instrument__code="gauge-3")


@pytest.mark.parametrize(
    ("code", "value", "part", "words"),
    [
        ("gauge-5", "96", "instrument", "gauge-5 is out of calibration: it was due on 26 Jan 2025"),
        ("gauge-6", "96", "instrument", "gauge-6 is out of use"),
        ("thermo-1", "96", "instrument", "thermo-1 is a thermometer; this step asks for: pressure gauge"),
        ("gauge-1", "601", "typed", "601 kPa is outside the range of gauge-1 (0 to 600 kPa)"),
        ("port-gauge-1", "160.5", "typed", "160.5 kPa is outside the range of port-gauge-1 (0 to 160 kPa)"),
    ],
)
def test_an_instrument_that_can_not_serve_is_refused_by_name(
    world: World, code: str, value: str, part: str, words: str
) -> None:
    event = started(world, world.forward)
    series = step_of(event, "timed_series")
    row = ReadingInput(series.pk, value, "kPa", instrument_key(code), elapsed="60")
    event, problems = kept(world, event, DraftInput(readings=(row,)))
    assert list(problems) == [f"reading-{series.pk}-0-{part}"]
    assert words in problems[f"reading-{series.pk}-0-{part}"]
    assert not event.readings.exists()


def test_a_failed_calibration_ends_an_older_good_one(world: World) -> None:
    event = started(world, world.forward)
    Instrument.objects.filter(code="gauge-6").update(in_use=True)
    row = ReadingInput(
        step_of(event, "timed_series").pk, "96", "kPa", instrument_key("gauge-6"), elapsed="60"
    )
    _, problems = kept(world, event, DraftInput(readings=(row,)))
    (message,) = problems.values()
    assert "gauge-6 failed its calibration on 31 Jan 2025" in message


def test_units_of_another_quantity_steps_of_another_revision_and_doubles_are_named(world: World) -> None:
    event = started(world, world.forward)
    series, look = step_of(event, "timed_series"), step_of(event, "observe")
    rows = (
        ReadingInput(series.pk, "1", "mL", sequence=0, elapsed="60"),
        ReadingInput(series.pk, "1", "kPa", sequence=1, elapsed="soon"),
        ReadingInput(series.pk, "1", "kPa", sequence=2, elapsed="180"),
        ReadingInput(series.pk, "2", "kPa", sequence=2, elapsed="180"),
        ReadingInput(look.pk, "1", "kPa"),
        ReadingInput(series.pk, "", "kPa", sequence=3),
    )
    event, problems = kept(world, event, DraftInput(readings=rows))
    assert "is no unit of pressure; use kPa, bar, psi" in problems[f"reading-{series.pk}-0-unit"]
    assert "'soon' is not a" in problems[f"reading-{series.pk}-1-elapsed"]
    assert "no such step" in problems[f"reading-{look.pk}-0-typed"]
    assert "twice" in problems["__all__"]
    assert [r.typed for r in event.readings.all()] == ["1"]


def test_not_satisfactory_asks_for_a_remark(world: World) -> None:
    event = started(world, world.forward)
    whole = typed(event, dry=["wing-li"])
    bare = tuple(replace(o, remark="") for o in whole.observations)
    event, problems = kept(world, event, replace(whole, observations=bare))
    assert [m for m in problems.values() if "left wing inboard: mark where, or say in the remark" in m]
    assert not event.observations.filter(position__code="wing-li").exists()


def test_an_acknowledgement_keeps_its_time_over_later_saves(
    world: World, clock: time_machine.Traveller
) -> None:
    event = started(world, world.forward)
    whole = typed(event)
    kept(world, event, replace(whole, cautions=tuple(replace(c, restored=False) for c in whole.cautions)))
    before = {c.step_id: c.acknowledged_at for c in event.cautions_followed.all()}
    clock.shift(600)
    kept(world, event, whole)
    after = {c.step_id: c.acknowledged_at for c in event.cautions_followed.all()}
    assert before == after and event.cautions_followed.filter(restored=True).exists()
    kept(world, event, replace(whole, cautions=()))
    assert not event.cautions_followed.exists()


def test_saving_takes_a_fixed_number_of_queries(world: World) -> None:
    event = started(world, world.forward)
    series = step_of(event, "timed_series")

    def cost(rows: int) -> int:
        given = DraftInput(
            readings=tuple(
                ReadingInput(series.pk, "96", "kPa", instrument_key("gauge-1"), n, str(60 * n))
                for n in range(rows)
            )
        )
        with CaptureQueriesContext(
            connection,
        ) as queries:
            save_draft(event=event, by=world.person("technician1"), given=given)
        assert Reading.objects.filter(event=event).count() == rows
        return len(queries)

    cost(1)
    assert cost(2) == cost(22)


def test_a_signed_check_is_no_draft_any_more(world: World) -> None:
    event = performed(world, world.forward)
    with pytest.raises(RecordError, match="signed and can't change"):
        save_draft(event=event, by=world.person("technician1"), given=DraftInput())
    with pytest.raises(RecordError, match="signed and can't change"):
        discard_draft(event=event, by=world.person("technician1"))


def test_a_draft_can_be_thrown_away(world: World) -> None:
    event = filled(started(world, world.forward), world)
    discard_draft(event=event, by=world.person("technician2"))
    assert not CheckEvent.objects.exists() and not Reading.objects.exists()


def test_instruments_are_offered_with_the_usable_ones_first_and_reasons_for_the_others(world: World) -> None:
    event = started(world, world.forward)
    series = step_of(event, "timed_series")
    choices = allowed_instruments(series, world.today, event.base)
    by_code = {choice.instrument.code: choice for choice in choices}
    assert choices[0].instrument.code == "gauge-1" and choices[0].calibration.due_on >= world.today
    assert not by_code["gauge-5"].ok and "26 Jan 2025" in by_code["gauge-5"].why_not
    assert [c.ok for c in choices] == sorted((c.ok for c in choices), reverse=True)
    assert by_code["gauge-5"].why_not and allowed_instruments(step_of(event, "note"), world.today) == []
    due = by_code["gauge-1"].calibration.due_on
    assert allowed_instruments(series, due)[0].ok, "the due day itself still counts"
    late = {c.instrument.code: c for c in allowed_instruments(series, due + dt.timedelta(days=1))}
    assert not late["gauge-1"].ok


@pytest.mark.parametrize(
    ("text", "seconds"), [("150", 150), ("2:30", 150), ("0:00", 0), ("90,5", Decimal("90.5"))]
)
def test_times_are_read_as_minutes_and_seconds_or_seconds(text: str, seconds: object) -> None:
    assert parse_seconds(text) == seconds


@pytest.mark.parametrize("text", ["2:60", "2:5", "-1", "a:30", "", "1000000"])
def test_what_is_no_time_says_so(text: str) -> None:
    with pytest.raises(ValueError, match=r"not a|nothing is typed"):
        parse_seconds(text)


def test_a_volume_less_than_nothing_is_asked_about_and_the_draft_still_judged(world: World) -> None:
    draft = started(world, world.forward)
    step = step_of(draft, "timed_collection")
    minus = ReadingInput(step.pk, "-5", unit="mL", elapsed="60", started="4:10")
    event, problems = kept(world, draft, DraftInput({}, (minus,)))
    assert "-5 is less than nothing" in problems[minus.name("typed")]
    assert not event.readings.exists() and evaluate(event).outcome == "not valid"
    cold = step_of(draft, "measure", quantity="temperature")
    frost = ReadingInput(cold.pk, "-5", unit="Cel", instrument=instrument_key("thermo-1"))
    assert kept(world, draft, DraftInput({}, (frost,)))[1] == {}


def test_a_draft_that_left_something_disturbed_is_not_thrown_away(world: World) -> None:
    draft, by = started(world, world.forward), world.person("technician1")
    given = typed(draft)
    half = tuple(replace(one, restored=False) for one in given.cautions)
    save_draft(event=draft, by=by, given=replace(given, cautions=half))
    with pytest.raises(RecordError) as refused:
        discard_draft(event=draft, by=by)
    steps = draft.revision.steps.exclude(restore_text="").order_by("number")
    assert steps and len(refused.value.problems) == len(steps)
    assert all(step.restore_text in str(refused.value) for step in steps)
    assert CheckEvent.objects.filter(pk=draft.pk).exists()
    save_draft(event=draft, by=by, given=given)
    discard_draft(event=draft, by=by)
    assert not CheckEvent.objects.exists()
