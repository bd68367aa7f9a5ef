"""What a check refuses while it is carried out and signed: instruments, cadence, order of work, persons.

Each case is a state of its own, so that none of them is proven by another's test alone.
"""

import datetime as dt
from dataclasses import replace
from decimal import Decimal

import pytest
import time_machine
from django.test import Client

from checks.models import CheckEvent, Signature, Step
from checks.services.doubt import report_out_of_calibration
from checks.services.errors import RecordError
from checks.services.inputs import DraftInput, ReadingInput
from checks.services.record import save_draft
from checks.services.sign import sign_inspected, sign_performed, sign_released
from fleet.models import Authorisation, Calibration, Instrument, User
from tests.checks.check_pages import address, logged_in, posted
from tests.checks.work import filled, instrument_key, performed, started, typed
from tests.world import PASSWORD, World

DAY = dt.timedelta(days=1)


# --- an instrument at its first reading ------------------------------------------------------------------


def calibrated(world: World, due: dt.date, *, on: dt.date | None = None, result: str = "passed") -> None:
    """gauge-1 with one calibration alone."""
    gauge = world.instrument("gauge-1")
    gauge.calibrations.all().delete()
    Calibration.objects.create(
        instrument=gauge,
        calibrated_on=on or due - 365 * DAY,
        due_on=due,
        result=result,
        error_found="0",
        laboratory="Invented laboratory",
    )


def set_state(world: World, state: str) -> None:
    today, gauge = world.today, Instrument.objects.filter(code="gauge-1")
    if state == "in calibration":
        calibrated(world, today + 200 * DAY)
    elif state == "due soon":
        calibrated(world, today + 5 * DAY)
    elif state == "due today":
        calibrated(world, today)
    elif state == "due yesterday":
        calibrated(world, today - DAY)
    elif state == "calibrated after the work":
        calibrated(world, today + 365 * DAY, on=today + DAY)
    elif state == "failed":
        calibrated(world, today + 200 * DAY, result="failed")
    elif state == "none on file":
        gauge.get().calibrations.all().delete()
    elif state == "needs none":
        gauge.get().calibrations.all().delete()
        gauge.update(needs_calibration=False)
    elif state == "out of use":
        gauge.update(in_use=False)
    elif state == "borrowed":
        gauge.update(owner="Lender 1")
    elif state == "found bad before the day":
        report_out_of_calibration(
            instrument=gauge.get(),
            by=world.person("controller1"),
            password=PASSWORD,
            found_on=today - DAY,
            error=Decimal("-9"),
            text="Compared with a reference gauge.",
        )
    else:
        raise AssertionError(state)


STATES = {
    "in calibration": "",
    "due soon": "",
    "due today": "",
    "needs none": "",
    "borrowed": "",
    "due yesterday": "gauge-1 is out of calibration: it was due on 11 Mar 2025",
    "calibrated after the work": "gauge-1 has no calibration on file for 12 Mar 2025",
    "failed": "gauge-1 failed its calibration on",
    "none on file": "gauge-1 has no calibration on file for 12 Mar 2025",
    "out of use": "gauge-1 is out of use; take another one",
    "found bad before the day": "gauge-1 was found out of calibration on 11 Mar 2025",
}


def first_reading(world: World, event: CheckEvent) -> tuple[str, ...]:
    """What the first reading of the series, with nothing else typed yet, is answered with."""
    step = event.revision.steps.get(kind=Step.Kind.TIMED_SERIES)
    row = ReadingInput(step.pk, "96", "kPa", instrument_key("gauge-1"), elapsed="1:00")
    given = DraftInput(readings=(row,))
    saved = save_draft(event=event, by=world.person("technician1"), given=given)
    return tuple(problem.message for problem in saved.problems)


@pytest.mark.parametrize("state", sorted(STATES))
def test_an_instrument_is_judged_at_its_first_reading(world: World, state: str) -> None:
    set_state(world, state)
    event = started(world, world.forward)
    messages = first_reading(world, event)
    if not STATES[state]:
        assert messages == () and event.readings.get().instrument.code == "gauge-1"
    else:
        (message,) = messages
        assert STATES[state] in message and not event.readings.exists()


@pytest.mark.parametrize("state", sorted(STATES))
def test_the_page_offers_it_or_says_why_not(world: World, state: str) -> None:
    set_state(world, state)
    event = started(world, world.forward)
    page = logged_in(world, "technician1").get(address(event)).content.decode()
    step = event.revision.steps.get(kind=Step.Kind.TIMED_SERIES)
    choice = page.split(f'id="series-{step.pk}-instrument"')[1].split("</select>")[0]
    offered = f'value="{instrument_key("gauge-1")}"' in choice
    assert offered == (not STATES[state]) and STATES[state] in page


# --- cadence and order of work -----------------------------------------------------------------------------


def at_times(event: CheckEvent, times: tuple[str, ...]) -> DraftInput:
    """A whole form with its series read at these times."""
    whole = typed(event, series=("96",) * len(times))
    step = event.revision.steps.get(kind=Step.Kind.TIMED_SERIES)
    told = iter(times)
    readings = tuple(
        replace(row, elapsed=next(told))
        if row.step == step.pk
        else replace(row, started="9:00")
        if row.started
        else row
        for row in whole.readings
    )
    return replace(whole, readings=readings)


@pytest.mark.parametrize(
    ("times", "outcome", "marks"),
    [
        (("1:00", "2:00", "3:00"), "within limit", ["counted", "counted", "settled here"]),
        (("1:00", "2:10", "3:00"), "within limit", ["counted", "counted", "settled here"]),
        (
            ("1:00", "2:11", "3:11", "4:11"),
            "within limit",
            ["counted", "starts a new run (off cadence)", "counted", "settled here"],
        ),
        (
            ("1:00", "2:00", "3:30", "4:30"),
            "not valid",
            ["counted", "counted", "starts a new run (off cadence)", "counted"],
        ),
        (("0:00", "1:00", "2:00"), "not valid", ["time zero", "counted", "counted"]),
    ],
)
def test_a_reading_off_cadence_starts_a_new_run_and_says_so_on_the_record(
    world: World, times: tuple[str, ...], outcome: str, marks: list[str]
) -> None:
    """More than 10 s off the cadence of 60 s breaks the run; settled at the third in a row that agrees."""
    event = started(world, world.forward)
    person = world.person("technician1")
    assert save_draft(event=event, by=person, given=at_times(event, times)).problems == ()
    event = sign_performed(event=event, by=person, password=PASSWORD)
    series = event.readings.filter(role="series").order_by("sequence")
    assert (event.outcome, list(series.values_list("mark", flat=True))) == (outcome, marks)
    page = logged_in(world, "auditor1").get(address(event)).content.decode()
    assert all(mark in page for mark in marks)


def test_flow_collected_before_the_pressure_settled_is_not_valid_and_not_released(world: World) -> None:
    event = started(world, world.forward)
    person = world.person("technician1")
    whole = at_times(event, ("1:00", "2:00", "3:00"))
    early = tuple(replace(row, started="2:30") if row.started else row for row in whole.readings)
    save_draft(event=event, by=person, given=replace(whole, readings=early))
    event = sign_performed(event=event, by=person, password=PASSWORD)
    assert event.outcome == "not valid"
    assert "collected from 150 s, before the pressure settled at 180 s" in event.outcome_reason
    with pytest.raises(RecordError, match="not valid and must be repeated"):
        sign_released(event=event, by=world.person("releaser1"), password=PASSWORD)


def test_every_restore_step_that_is_open_bars_signing_by_itself(world: World) -> None:
    event = started(world, world.underfloor)
    person = world.person("technician1")
    whole = typed(event)
    disturbing = [row for row in whole.cautions if row.restored]
    assert len(disturbing) == 4
    for left in disturbing:
        cautions = tuple(replace(row, restored=row.restored and row != left) for row in whole.cautions)
        save_draft(event=event, by=person, given=replace(whole, cautions=cautions))
        with pytest.raises(RecordError) as caught:
            sign_performed(event=event, by=person, password=PASSWORD)
        assert [p.field for p in caught.value.problems] == [f"caution-{left.step}-restored"]
        assert "confirm that it is put back" in str(caught.value)
    assert not Signature.objects.exists()
    save_draft(event=event, by=person, given=whole)
    assert sign_performed(event=event, by=person, password=PASSWORD).signed_at


def test_the_page_of_signing_leads_to_what_is_not_put_back(world: World) -> None:
    event = started(world, world.forward)
    browse: Client = logged_in(world, "technician1")
    whole = typed(event)
    left = next(row for row in whole.cautions if row.restored)
    cautions = tuple(replace(row, restored=row.restored and row != left) for row in whole.cautions)
    browse.post(address(event), posted(event, replace(whole, cautions=cautions)))
    page = browse.get(address(event, "sign")).content.decode()
    assert f"#caution-{left.step}-restored" in page and "confirm that it is put back" in page


# --- persons -----------------------------------------------------------------------------------------------


def test_who_did_the_work_never_inspects_it_whatever_else_they_may(world: World) -> None:
    event = performed(world, world.forward, "panel-replacement")
    technician = world.person("technician1")
    technician.groups.set(world.person("inspector1").groups.all())
    held = {"reference": "DEMO-X", "valid_from": world.today - DAY, "valid_until": world.today + DAY}
    Authorisation.objects.create(user=technician, act="inspect", **held)
    technician = User.objects.get(pk=technician.pk)  # without the permissions of the former role
    with pytest.raises(RecordError, match="can't inspect it"):
        sign_inspected(event=event, by=technician, password=PASSWORD)
    assert not event.signatures.filter(act="inspected").exists()
    assert sign_inspected(event=event, by=world.person("inspector1"), password=PASSWORD)


@pytest.mark.parametrize(
    ("username", "act"), [("technician1", "perform"), ("inspector1", "inspect"), ("releaser1", "release")]
)
def test_an_authorisation_that_ended_yesterday_signs_nothing(
    world: World, clock: time_machine.Traveller, username: str, act: str
) -> None:
    code = "panel-replacement" if act == "inspect" else "pressure-flow"
    event = filled(started(world, world.forward, code), world)
    if act != "perform":
        sign_performed(event=event, by=world.person("technician1"), password=PASSWORD)
    signed = Signature.objects.count()
    ended = Authorisation.objects.filter(user__username=username, act=act)
    assert ended.update(valid_until=world.today - DAY)
    sign = {"perform": sign_performed, "inspect": sign_inspected, "release": sign_released}[act]
    with pytest.raises(RecordError, match=r"No authorisation in force on 12 Mar 2025\. On file: .*11"):
        sign(event=event, by=world.person(username), password=PASSWORD)
    assert Signature.objects.count() == signed
    ended.update(valid_until=world.today)
    sign(event=event, by=world.person(username), password=PASSWORD)
    assert Signature.objects.count() == signed + 1, "its last day still counts"
