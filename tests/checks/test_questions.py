"""An implausible reading of a draft: what is asked, how it is answered, and what of it is signed."""

import datetime as dt
import json
from dataclasses import replace
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from checks.models import CheckEvent, EntryQuestion, FirstReading, SeriesState, Step
from checks.services.copies import revision_of
from checks.services.correct import correct
from checks.services.drift import refresh_drift
from checks.services.drift_inputs import gather
from checks.services.errors import RecordError
from checks.services.evaluate import evaluate
from checks.services.inputs import RepeatInput
from checks.services.questions import Question
from checks.services.record import save_draft
from checks.services.sign import sign_performed
from checks.services.verify import verify_event
from fleet.models import Aircraft, Operator
from tests.checks.drift_history import series
from tests.checks.work import performed, started, typed
from tests.world import PASSWORD, World

pytestmark = pytest.mark.django_db
AGO = (160, 130, 100, 70, 40)
USUAL = ("90", "96", "96", "96")
HIGH = ("110", "131", "131", "131")


def ask_of(world: World) -> None:
    """Five checks of each aircraft at what each point usually reads, fitted and scored."""
    for aircraft in (world.forward, world.underfloor):
        for day, drop in zip(AGO, (0, 1, 0, 1, 0), strict=True):
            usual = {"port": str(96 - drop), "nozzle": "170"} if aircraft == world.forward else {}
            world.signed(aircraft, world.today - dt.timedelta(days=day), values=usual)
    refresh_drift()


@pytest.fixture
def known(world: World) -> World:
    ask_of(world)
    return world


def draft(world: World, aircraft: Aircraft | None = None, **how: object) -> CheckEvent:
    event = started(world, aircraft or world.forward)
    return keep(world, event, **how)


def keep(world: World, event: CheckEvent, *repeats: RepeatInput, **how: object) -> CheckEvent:
    given = replace(typed(event, **how), repeats=repeats)
    saved = save_draft(event=event, by=world.person("technician1"), given=given)
    assert saved.problems == ()
    return saved.event


def asked(event: CheckEvent) -> list[Question]:
    return list(evaluate(event).questions)


def step_of(event: CheckEvent, kind: str = Step.Kind.TIMED_SERIES, **more: object) -> Step:
    return event.revision.steps.filter(kind=kind, **more).first()


def sign(world: World, event: CheckEvent) -> CheckEvent:
    return sign_performed(event=event, by=world.person("technician1"), password=PASSWORD)


# --- what is asked --------------------------------------------------------------------------------------


def test_a_usual_reading_is_asked_nothing(known: World) -> None:
    assert asked(draft(known, series=USUAL)) == []


def test_an_implausible_one_says_what_was_expected_and_why(known: World) -> None:
    event = draft(known, series=HIGH)
    (one,) = asked(event)
    low, high = (round(float(side)) for side in (one.expected.low, one.expected.high))
    assert 75 < low < 92 and 100 < high < 120 and one.open
    assert one.words.startswith("expected ") and one.words.endswith(
        " kPa at 20 °C on this aircraft; read 131"
    )
    with pytest.raises(RecordError, match="Read it again, or say why it stands as read"):
        sign(known, event)


def test_the_settled_value_is_looked_at_and_not_every_minute(known: World) -> None:
    assert asked(draft(known, series=("60", "131", "96", "96", "96"))) == []
    assert asked(draft(known, series=("110", "120", "131"))) == []  # not settled: there is no value yet


def test_it_goes_by_the_temperature_of_the_fluid(known: World) -> None:
    """131 kPa is what cold fluid reads; the port is this variant's one point that follows the fluid."""
    assert asked(draft(known, series=HIGH, temperature="12")) == []
    (one,) = asked(draft(known, series=USUAL, temperature="5"))
    assert "at 5 °C" in one.words and one.read < one.expected.low


def test_how_much_is_implausible_is_a_setting_of_the_operator(known: World) -> None:
    Operator.objects.update(entry_sds=Decimal(20))
    assert asked(draft(known, series=HIGH)) == []


@pytest.mark.parametrize("why", ["no fit", "one reading", "another model", "work entered late"])
def test_where_nothing_can_be_expected_nothing_is_asked(world: World, why: str) -> None:
    days = AGO[-1:] if why == "one reading" else AGO
    for day in days:
        world.signed(world.forward, world.today - dt.timedelta(days=day), values={"port": "96"})
    if why != "no fit":
        refresh_drift()
    if why == "another model":
        SeriesState.objects.get(point__code="port").run.__class__.objects.update(model_version="another")
    event = started(world, world.forward)
    if why == "work entered late":
        CheckEvent.objects.filter(pk=event.pk).update(work_date=world.today - dt.timedelta(days=60))
        event.refresh_from_db()
    assert asked(keep(world, event, series=HIGH)) == []


def test_a_temperature_from_memory_foretells_nothing(known: World) -> None:
    assert asked(draft(known, series=HIGH, fields={"temperature_from_memory": "yes"})) == []


def test_a_correction_is_not_held_against_its_own_first_entry(known: World) -> None:
    event = performed(known, known.forward, series=USUAL)
    again = correct(event=event, by=known.person("technician1"), reason="A slip of the pen.")
    assert asked(keep(known, again, series=HIGH)) == []


# --- a cold-soaked aircraft ----------------------------------------------------------------------------


def test_where_all_panels_stray_the_same_way_the_temperature_is_asked_about_once(known: World) -> None:
    usual = ports(known, 1)
    event = draft(known, known.underfloor, ports=usual)
    assert asked(event) == []
    cold = keep(known, event, ports=ports(known, 2), series=("200",) * 4)
    (one,) = asked(cold)
    assert one.step.quantity == "temperature" and one.expected is None
    assert "readings that follow the fluid are higher than expected at 20 °C" in one.words
    assert "is the fluid colder than that?" in one.words


def test_measured_again_it_is_asked_no_more_even_where_all_still_stray(known: World) -> None:
    event = draft(known, known.underfloor)
    thermometer = step_of(event, Step.Kind.MEASURE, quantity="temperature")
    first = RepeatInput(thermometer.pk, first="20", unit="Cel")
    how = {"ports": ports(known, 2), "series": ("200",) * 4}
    still = keep(known, event, first, temperature="19.5", **how)
    (one,) = asked(still)
    assert one.answer == "repeated" and one.read == 20 and not evaluate(still).missing
    cold = keep(known, event, first, temperature="2", **how)
    assert [one.answer for one in asked(cold) if one.step == thermometer] == ["repeated"]


def test_a_single_panel_is_asked_about_by_itself(known: World) -> None:
    event = draft(known, known.underfloor, ports=ports(known, 1))
    one = event.readings.filter(point__kind="panel_port").first()
    given = typed(event, ports=ports(known, 1))
    rows = tuple(
        replace(row, typed=str(Decimal(row.typed) * 2)) if row.step == one.step_id else row
        for row in given.readings
    )
    save_draft(event=event, by=known.person("technician1"), given=replace(given, readings=rows))
    assert [q.step for q in asked(event)] == [one.step]


def ports(world: World, times: int) -> str:
    """What the panel ports read, as work.typed enters it, times so much."""
    first = world.revision(world.underfloor).steps.filter(point__kind="panel_port").first()
    return f"{first.point.nominal * times:.1f}"


# --- answers ---------------------------------------------------------------------------------------------


def test_read_again_both_are_kept_and_the_trend_uses_the_repeat(
    known: World, django_capture_on_commit_callbacks
) -> None:
    event = draft(known, series=HIGH)
    step = step_of(event)
    gauge = str(known.instrument("gauge-1").pk)
    first = RepeatInput(step.pk, "1:00 110; 2:00 131; 3:00 131; 4:00 131", "kPa", gauge)
    event = keep(known, event, first, series=USUAL)
    (one,) = asked(event)
    assert (one.answer, one.read, one.open) == ("repeated", Decimal(131), False)
    with django_capture_on_commit_callbacks(execute=True):
        sign(known, event)
    rows = list(event.first_readings.values_list("typed", "elapsed_seconds", "instrument__code"))
    assert rows[1] == ("131", Decimal("120.0"), "gauge-1") and len(rows) == 4
    row = event.questions.get()
    assert (row.answer, row.read, row.temperature) == ("repeated", Decimal(131), Decimal(20))
    assert row.low < row.read > row.high and row.run_id == series(known.forward).run_id
    assert series(known.forward).chart["as_read"][-1] == 96
    assert event.results.get(point__code="port").value == 96


def test_insisted_on_the_reading_is_used_and_the_reason_kept(
    known: World, django_capture_on_commit_callbacks
) -> None:
    event = draft(known, series=HIGH)
    event = keep(known, event, RepeatInput(step_of(event).pk, reason=" Read twice. "), series=HIGH)
    (one,) = asked(event)
    assert (one.answer, one.reason, one.open) == ("kept", "Read twice.", False)
    with django_capture_on_commit_callbacks(execute=True):
        sign(known, event)
    row = event.questions.get()
    assert (row.answer, row.reason, row.read) == ("kept", "Read twice.", Decimal(131))
    assert series(known.forward).chart["as_read"][-1] == 131


def test_a_repeat_as_high_as_the_first_is_not_asked_about_again(known: World) -> None:
    event = draft(known, series=HIGH)
    first = RepeatInput(step_of(event).pk, "131", "kPa")
    event = keep(known, event, first, series=HIGH)
    assert not evaluate(event).missing and sign(known, event).signed_at


def test_the_signed_record_holds_both_and_any_change_is_found_out(known: World) -> None:
    event = draft(known, series=HIGH)
    event = sign(known, keep(known, event, RepeatInput(step_of(event).pk, "131", "kPa"), series=USUAL))
    told = json.loads(event.signatures.get().record.canonical)
    assert [row["typed"] for row in told["first_readings"]] == ["131"]
    assert [row["answer"] for row in told["questions"]] == ["repeated"]
    assert verify_event(event) == []


def test_a_record_without_a_question_is_written_as_ever(known: World) -> None:
    """Form v1 stays what it was: such a record names no such part."""
    event = performed(known, known.forward, series=USUAL)
    told = json.loads(event.signatures.get().record.canonical)
    assert not {"first_readings", "questions"} & set(told) and verify_event(event) == []


def test_what_was_expected_is_signed_and_such_a_value_counts_as_questioned(known: World) -> None:
    """The other readings of the port, signed while nothing was foretold, do not."""
    event = sign(known, draft(known, series=USUAL))
    row = event.expected_values.get(point__code="port")
    assert row.low < 96 < row.high
    told = json.loads(event.signatures.get().record.canonical)
    assert (
        str(row.low) in {str(part["low"]) for part in told["expected_values"]} and verify_event(event) == []
    )
    assert questioned(known) == [False] * 5 + [True]


@pytest.mark.parametrize(("first", "counts"), [("131", True), ("", False)])
def test_one_that_is_far_off_counts_as_questioned_once_it_was_read_again(
    known: World, first: str, counts: bool
) -> None:
    event = draft(known, series=HIGH)
    answer = RepeatInput(step_of(event).pk, first, "kPa" if first else "", reason="" if first else "Sure.")
    sign(known, keep(known, event, answer, series=HIGH))
    assert questioned(known)[-1] is counts


def test_paper_memory_and_corrections_are_held_against_nothing(known: World) -> None:
    sign(known, draft(known, series=USUAL, fields={"temperature_from_memory": "yes"}))
    event = sign(known, draft(known, series=USUAL))
    again = correct(event=event, by=known.person("technician1"), reason="A slip of the pen.")
    sign(known, keep(known, again, series=USUAL))
    assert event.expected_values.exists() and questioned(known) == [False] * 6


def questioned(world: World) -> list[bool]:
    """Of the port's readings, oldest first, as the trend takes them."""
    inputs = gather(now=timezone.now(), aircraft_ids=[world.forward.pk])
    series = inputs.keys.index((world.forward.pk, world.point(world.forward, "port").pk))
    return inputs.questioned[inputs.readings.series == series].tolist()


def test_an_answer_to_what_is_no_more_asked_stays_on_record(known: World) -> None:
    event = draft(known, series=HIGH)
    event = keep(known, event, RepeatInput(step_of(event).pk, reason="Seen twice"), series=USUAL)
    row = sign(known, event).questions.get()
    assert (row.reason, row.read, row.low) == ("Seen twice", None, None)


def test_what_is_answered_moves_the_revision_of_the_draft(known: World) -> None:
    event = draft(known, series=HIGH)
    seen = [revision_of(event)]
    for one in (RepeatInput(step_of(event).pk, reason="a"), RepeatInput(step_of(event).pk, "131", "kPa")):
        seen.append(revision_of(keep(known, event, one, series=HIGH)))
    assert len(set(seen)) == 3


@pytest.mark.parametrize(
    "wrong",
    [{"first": "1:00 2 3"}, {"first": "many"}, {"first": "131", "unit": "Cel"}, {"reason": "x" * 201}],
)
def test_what_can_not_be_read_is_said_at_its_field(known: World, wrong: dict[str, str]) -> None:
    event = draft(known, series=USUAL)
    step = step_of(event)
    given = replace(typed(event), repeats=(RepeatInput(step.pk, **wrong),))
    (problem,) = save_draft(event=event, by=known.person("technician1"), given=given).problems
    assert problem.field == f"first-{step.pk}-reason" and f"Step {step.number}" in problem.message


def test_a_draft_keeps_no_more_than_its_form_says(known: World) -> None:
    event = draft(known, series=HIGH)
    keep(known, event, RepeatInput(step_of(event).pk, "131", "kPa"), series=USUAL)
    keep(known, event, series=USUAL)
    assert not FirstReading.objects.exists() and not EntryQuestion.objects.exists()


def test_queries_do_not_grow_with_rows(known: World) -> None:
    def cost(event: CheckEvent) -> int:
        with CaptureQueriesContext(connection) as told:
            evaluate(event)
        return len(told)

    event = draft(known, series=HIGH)
    few = cost(event)
    many = keep(known, event, RepeatInput(step_of(event).pk, "; ".join(["131"] * 22)), series=HIGH * 6)
    assert cost(many) == few
