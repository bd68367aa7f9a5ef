"""Too low is no pass: a dead pump would pass every upper limit."""

import datetime as dt
import json
from decimal import Decimal

import pytest
import time_machine

from checks.models import CheckEvent, Decision, DuePoint
from checks.selectors.baseline import baselines, compensation, reference_rows
from checks.services.decide import decide_too_low
from checks.services.errors import RecordError
from checks.services.evaluate import evaluate
from checks.services.sign import sign_released
from fleet.models import MeasuringPoint, Operator, ReferenceRow
from tests.checks.check_pages import logged_in
from tests.checks.work import filled, performed, started
from tests.world import PASSWORD, World

LOW = ("8", "8", "8", "8")
AGO = dt.timedelta(days=20)


@pytest.fixture
def dead_pump(world: World, clock: time_machine.Traveller) -> CheckEvent:
    """8 kPa and 2 mL, settled, on an aircraft whose own baseline is 96 kPa and 170 mL."""
    usual = performed(world, world.forward, work_date=world.today - AGO)
    assert [r.value for r in usual.results.order_by("point__order")] == [96, 170]
    clock.shift(60)
    return performed(world, world.forward, series=LOW, volume="2")


def decide(world: World, event: CheckEvent, accepted: bool, text: str = "Because.", by: str = "releaser1"):
    return decide_too_low(event=event, by=world.person(by), password=PASSWORD, accepted=accepted, text=text)


def release(world: World, event: CheckEvent):
    return sign_released(event=event, by=world.person("releaser1"), password=PASSWORD)


def test_it_is_not_valid_and_cannot_be_released_without_a_recorded_decision(
    world: World, dead_pump: CheckEvent
) -> None:
    assert (dead_pump.outcome, dead_pump.too_low) == ("not valid", True)
    assert dead_pump.next_action == "a person must decide in writing"
    reasons = dead_pump.outcome_reason
    assert "too low: 8.3 % of the baseline of this aircraft" in reasons and "1.2 % of" in reasons
    with pytest.raises(RecordError, match="A person must decide in writing"):
        release(world, dead_pump)
    decide(world, dead_pump, accepted=True, text="Gauge line was blanked off for this test, by work order.")
    assert release(world, dead_pump).act == "released"


def test_a_decision_against_the_reading_bars_the_release_for_good(
    world: World, dead_pump: CheckEvent
) -> None:
    decide(world, dead_pump, accepted=False, text="The pump did not run.")
    with pytest.raises(RecordError, match="was not accepted"):
        release(world, dead_pump)
    with pytest.raises(RecordError, match="Releaser 1 decided on 12 Mar 2025"):
        decide(world, dead_pump, accepted=True)


def test_a_decision_is_a_link_of_its_own_and_rolls_the_due_point_when_it_accepts(
    world: World, dead_pump: CheckEvent
) -> None:
    procedure = dead_pump.revision.procedure
    due = DuePoint.objects.get(aircraft=world.forward, check_due__procedure=procedure)
    assert due.done_on == world.today - AGO
    decision = decide(world, dead_pump, accepted=True, text="Accepted after a look at the pump.")
    due.refresh_from_db()
    assert due.done_on == world.today
    told = json.loads(decision.record.canonical)
    assert told["decision"]["accepted"] is True and told["event"] == str(dead_pump.pk)
    assert told["signature"]["name"] == "Releaser 1"


def test_who_may_decide_and_what_a_decision_needs(world: World, dead_pump: CheckEvent) -> None:
    with pytest.raises(RecordError, match="role lacks it"):
        decide(world, dead_pump, accepted=True, by="technician1")
    with pytest.raises(RecordError, match="Give the reason") as caught:
        decide(world, dead_pump, accepted=True, text="  ")
    assert list(caught.value.message_dict) == ["text"]
    with pytest.raises(RecordError, match="password"):
        decide_too_low(event=dead_pump, by=world.person("releaser1"), password="x", accepted=True, text="y")
    usual = CheckEvent.objects.exclude(pk=dead_pump.pk).get()
    with pytest.raises(RecordError, match="nothing to decide"):
        decide(world, usual, accepted=True)
    with pytest.raises(RecordError, match="not signed as performed"):
        decide(world, filled(started(world, world.forward), world), accepted=True)
    assert not Decision.objects.exists()


def test_what_else_is_not_valid_is_repeated_and_not_decided(world: World) -> None:
    """The pressure settled at 8 kPa, but nobody collected the flow."""
    event = performed(world, world.forward, series=LOW, volume="")
    assert event.too_low and event.outcome == "not valid"
    with pytest.raises(RecordError, match="must be repeated"):
        decide(world, event, accepted=True)
    with pytest.raises(RecordError, match="must be repeated"):
        release(world, event)


def test_the_share_that_counts_as_too_low_is_the_operator_s(world: World) -> None:
    performed(world, world.forward, work_date=world.today - AGO)
    draft = filled(started(world, world.forward), world, series=("50", "50", "50", "50"))
    assert not evaluate(draft).too_low, "50 of 96 kPa is 52 %"
    Operator.objects.update(too_low_share=Decimal("0.60"))
    assert evaluate(draft).too_low


def test_the_baseline_moves_with_the_fluid_temperature(world: World) -> None:
    """The reference table of the point says how: at 0 °C its limit is 351/142 of the one at 20 °C."""
    point = world.point(world.forward, "port")
    rows = list(ReferenceRow.objects.filter(point=point))
    at = {row.temperature: row.value for row in rows}
    expected = at[Decimal(0)] / at[Decimal(20)]
    assert abs(compensation(point, rows, Decimal(0)) - expected) < Decimal("0.0001")
    assert compensation(point, rows, Decimal(20)) == 1 == compensation(point, rows, None)
    performed(world, world.forward, work_date=world.today - AGO, temperature="0", series=("237",) * 4)
    draft = filled(started(world, world.forward), world)
    assert abs(baselines(draft, reference_rows([point.pk]))[point.pk] - 237 / expected) < Decimal("0.01")
    assert not evaluate(draft).too_low, "96 kPa at 20 °C is what 237 kPa at 0 °C lets expect"
    cold = filled(draft, world, temperature="0", series=("96",) * 4)
    line = evaluate(cold).points[0]
    assert line.judged.too_low and abs(line.baseline - 237) < Decimal("0.1")


def test_without_a_table_pressure_follows_viscosity_and_flow_stays(world: World) -> None:
    """80 vol % glycol: 24.44 mPa·s at 0 °C and 10.05 at 20 °C, a ratio of 2.43 (egasp's published table)."""
    port, nozzle = (world.point(world.forward, code) for code in ("port", "nozzle"))
    assert abs(compensation(port, [], Decimal(0)) - Decimal("2.43")) < Decimal("0.25")
    assert compensation(nozzle, [], Decimal(0)) == 1
    assert compensation(port, [], Decimal(-30)) == 1, "no curve reaches so far"


def test_the_baseline_begins_anew_after_a_purge_and_leaves_out_what_does_not_count(
    world: World, clock: time_machine.Traveller
) -> None:
    point = world.point(world.forward, "port")
    ids = list(MeasuringPoint.objects.filter(variant=world.forward.variant).values_list("pk", flat=True))

    def baseline() -> Decimal | None:
        draft = started(world, world.forward)
        return baselines(draft, reference_rows(ids)).get(point.pk)

    performed(world, world.forward, work_date=world.today - AGO, series=("130",) * 4)
    performed(world, world.forward, work_date=world.today - AGO, series=("500",) * 4)
    assert baseline() == 130, "the one over limit does not count"
    clock.shift(60)
    performed(world, world.forward, "panel-purge")
    assert baseline() is None
    clock.shift(60)
    performed(world, world.forward, series=("90", "92", "92", "92"))
    performed(world, world.forward, series=("90", "94", "94", "94"))
    assert baseline() == 93


def test_the_form_is_closed_where_there_is_nothing_to_decide(world: World, dead_pump: CheckEvent) -> None:
    client = logged_in(world, "releaser1")
    open_one, fine = f"/checks/{dead_pump.pk}/decide/", performed(world, world.underfloor)
    assert client.get(open_one).status_code == 200
    for method in (client.get, client.post):
        assert method(f"/checks/{fine.pk}/decide/").url == f"/checks/{fine.pk}/"
    decide(world, dead_pump, accepted=True)
    page = client.get(open_one, follow=True)
    assert page.redirect_chain and "There is nothing to decide on this check." in page.content.decode()
