"""Defects: raised by a check or a person, deferred, closed by a person alone; purge and retest loop."""

import dataclasses
import datetime as dt
import json

import pytest
import time_machine
from django.db import connection
from django.utils import timezone

from checks.models import CheckEvent, Defect, Deferral, MelItem, Record
from checks.selectors.release import deferral_day
from checks.services.defects import keep_deferral, raise_defect, rectify
from checks.services.errors import RecordError
from checks.services.record import save_draft
from checks.services.sign import sign_released
from checks.services.verify import verify_chain
from fleet.models import Fitment, Operator, Part
from tests.checks.check_pages import logged_in
from tests.checks.deferring import deferred
from tests.checks.work import performed, started, typed
from tests.guards import guards_lifted
from tests.world import PASSWORD, World

OVER = ("300", "310", "310", "310")


@pytest.fixture
def over(world: World) -> CheckEvent:
    return performed(world, world.forward, series=OVER)


def rectified(world: World, defect: Defect, by: str = "releaser1", **given: object):
    return rectify(
        defect=defect, by=world.person(by), password=PASSWORD, **{"text": "Panels purged."} | given
    )


def test_a_dry_panel_is_a_defect_though_every_value_is_fine(world: World) -> None:
    event = performed(world, world.forward, dry=["wing-li"])
    assert (event.outcome, event.next_action) == ("over limit", "purge and test again")
    assert {r.outcome for r in event.results.all()} == {"within limit"}
    assert "not satisfactory: left wing inboard: dry area" in event.defect.description


def test_a_defect_is_a_link_of_the_aircraft_s_chain(over: CheckEvent) -> None:
    record = Record.objects.get(act="defect")
    assert record.chain.aircraft == over.aircraft
    assert json.loads(record.canonical)["defect"]["event_id"] == str(over.pk)


def test_attempts_are_kept_and_linked_and_after_the_operator_s_number_of_purges_it_escalates(
    world: World, clock: time_machine.Traveller, over: CheckEvent
) -> None:
    assert Operator.current().purges_before_escalation == 2
    last, actions = over, [over.next_action]
    for _ in range(2):
        clock.shift(1800)
        purge = performed(world, world.forward, "panel-purge", follows=last)
        clock.shift(1800)
        last = performed(world, world.forward, series=OVER, follows=purge)
        actions.append(last.next_action)
    assert actions == ["purge and test again", "purge and test again", "escalate"]
    assert Defect.objects.get().event == over, "one defect for the whole occasion"
    assert CheckEvent.objects.signed().count() == 5


def test_over_limit_again_after_it_was_closed_is_a_new_defect(
    world: World, clock: time_machine.Traveller, over: CheckEvent
) -> None:
    rectified(world, over.defect, without_retest="The gauge went away for calibration.")
    clock.shift(60)
    again = performed(world, world.forward, series=OVER, follows=over)
    assert again.defect.state(world.today) == "open" and Defect.objects.count() == 2


def test_the_last_day_follows_from_the_recorded_date(world: World, over: CheckEvent) -> None:
    """C is ten days, the day of recording excluded (Transport Canada TP 9155 3.11); see tests/reference."""
    deferral = deferred(world, over.defect)
    assert deferral.expires_on == dt.date(2025, 3, 22)
    told = json.loads(deferral.record.canonical)["deferral"]
    assert (told["mel_item"], told["expires_on"], told["category"]) == ("30-10-01", "2025-03-22", "C")
    defect = over.defect
    assert defect.state(dt.date(2025, 3, 22)) == "deferred"
    assert defect.state(dt.date(2025, 3, 23)) == "deferral expired"


def test_category_a_runs_for_the_days_that_the_item_states(world: World, over: CheckEvent) -> None:
    assert world.item("30-20-01").stated == 5
    assert deferred(world, over.defect, "A").expires_on == dt.date(2025, 3, 17)


def test_the_clock_is_not_set_back(world: World, clock: time_machine.Traveller, over: CheckEvent) -> None:
    """The clock runs from the write-up, not from a later placard (trade practice, ASRS report 276675)."""
    clock.shift(dt.timedelta(days=2))
    with pytest.raises(RecordError, match="on record since 12 Mar 2025"):
        deferred(world, over.defect, recorded_on=world.today + dt.timedelta(days=1))
    with pytest.raises(RecordError, match="still to come"):
        deferred(world, over.defect, recorded_on=world.today + dt.timedelta(days=3))
    deferred(world, over.defect, recorded_on=world.today - dt.timedelta(days=1))
    with pytest.raises(RecordError, match="It was recorded on 11 Mar 2025"):
        deferred(world, over.defect)


def test_a_deferral_takes_its_words_from_the_item_and_needs_its_steps_confirmed(
    world: World, over: CheckEvent
) -> None:
    item = world.item("30-10-01")
    for name in ("maintenance_confirmed", "operations_confirmed", "placard_placed"):
        with pytest.raises(RecordError, match="confirm that") as caught:
            deferred(world, over.defect, **{name: False})
        assert list(caught.value.message_dict) == [name]
    assert not Record.objects.filter(act="deferral").exists()
    kept = deferred(world, over.defect)
    assert (kept.mel_item, kept.category, kept.limitation) == (item.number, "C", item.limitation)
    assert (kept.placard, kept.placard_placed, kept.limits_icing) == (item.placard, True, True)
    told = json.loads(kept.record.canonical)["item"]
    assert told["source_revision"] == item.source_revision and told["approved_by_id"]
    assert deferred(world, over.defect, "A").placard_placed is None, "the item asks for no placard"


def test_only_the_role_defers_and_only_under_an_item_in_force(world: World, over: CheckEvent) -> None:
    with pytest.raises(RecordError, match="role lacks it"):
        deferred(world, over.defect, by="technician1")
    waiting = MelItem.objects.get(approved_at=None)
    with pytest.raises(RecordError, match="not in force for the aircraft"):
        deferred(world, over.defect, item=waiting)
    elsewhere = MelItem.objects.exclude(pk=waiting.pk).first()
    with guards_lifted(connection):
        MelItem.objects.filter(pk=elsewhere.pk).update(variant=world.underfloor.variant)
    with pytest.raises(RecordError, match="not in force for the aircraft"):
        deferred(world, over.defect, item=elsewhere)


def test_a_deferral_in_force_lets_the_work_be_released_and_an_expired_one_does_not(
    world: World, clock: time_machine.Traveller, over: CheckEvent
) -> None:
    deferred(world, over.defect, "B")
    clock.shift(dt.timedelta(days=4))
    with pytest.raises(RecordError, match="deferral expired"):
        sign_released(event=over, by=world.person("releaser1"), password=PASSWORD)
    clock.shift(dt.timedelta(days=-1))
    assert sign_released(event=over, by=world.person("releaser1"), password=PASSWORD)


def test_closing_what_a_check_found_asks_for_a_retest_or_a_reason(
    world: World, clock: time_machine.Traveller, over: CheckEvent
) -> None:
    defect = over.defect
    with pytest.raises(RecordError, match="name the later retest"):
        rectified(world, defect)
    with pytest.raises(RecordError, match="Say what was done"):
        rectified(world, defect, text=" ", without_retest="x")
    with pytest.raises(RecordError, match="not later"):
        rectified(world, defect, retest=over)
    clock.shift(60)
    purge = performed(world, world.forward, "panel-purge", follows=over)
    with pytest.raises(RecordError, match="of another task"):
        rectified(world, defect, retest=purge)
    clock.shift(60)
    elsewhere = performed(world, world.underfloor)
    with pytest.raises(RecordError, match="of another aircraft"):
        rectified(world, defect, retest=elsewhere)
    failed = performed(world, world.forward, series=OVER, follows=purge)
    with pytest.raises(RecordError, match="The retest is over limit"):
        rectified(world, defect, retest=failed)
    with pytest.raises(RecordError, match="role lacks it"):
        rectified(world, defect, by="technician1", without_retest="x")
    closing = rectified(world, defect, without_retest="Panel sent away.")
    assert closing.text == "Panels purged.\nNo retest: Panel sent away."
    with pytest.raises(RecordError, match="signed it as rectified on 12 Mar 2025"):
        rectified(world, defect, without_retest="x")
    with pytest.raises(RecordError, match="signed it as rectified"):
        deferred(world, defect)


def test_a_person_s_finding_closes_without_a_retest(world: World) -> None:
    by = world.person("technician1")
    panel = world.position(world.forward, "wing-li")
    defect = raise_defect(aircraft=world.forward, by=by, description="Dent in the panel.", position=panel)
    assert rectified(world, defect, text="Panel changed.").retest is None
    with pytest.raises(RecordError, match="Say what was found"):
        raise_defect(aircraft=world.forward, by=by, description=" ")
    with pytest.raises(RecordError, match="no position of"):
        raise_defect(aircraft=world.underfloor, by=by, description="x", position=panel)


def test_a_panel_fitted_that_day_resets_its_own_point_alone(world: World) -> None:
    panel = world.position(world.underfloor, "wing-li")
    Fitment.objects.filter(aircraft=world.underfloor, position=panel).update(removed_on=world.today)
    part = Part.objects.create(part_number="P", serial_number="1", kind="panel")
    Fitment.objects.create(part=part, aircraft=world.underfloor, position=panel, fitted_on=world.today)
    event = performed(world, world.underfloor, "panel-replacement")
    reset = {r.point.code for r in event.resets.all()}
    assert {r.why for r in event.resets.all()} == {"replacement"}
    assert reset == {point.code for point in panel.resets.all()} and "port-wing-li" in reset
    assert "port-wing-ri" not in reset


def test_a_purge_resets_what_its_panels_name_and_a_check_resets_nothing(world: World) -> None:
    purge = performed(world, world.underfloor, "panel-purge")
    points = set(purge.resets.values_list("point__code", flat=True))
    assert {"port", "nozzle", "port-wing-li", "port-stab-r"} <= points
    assert not performed(world, world.underfloor).resets.exists()


def test_what_a_draft_left_disturbed_bars_the_release_of_other_work(
    world: World, clock: time_machine.Traveller
) -> None:
    """A release certifies that no unairworthy condition is known (14 CFR 135.443)."""
    event = performed(world, world.forward, "wet-out")
    draft = started(world, world.forward)
    given = typed(draft)
    half = tuple(dataclasses.replace(one, restored=False) for one in given.cautions)
    save_draft(event=draft, by=draft.started_by, given=dataclasses.replace(given, cautions=half))
    with pytest.raises(RecordError, match="begun on 12 Mar 2025 is not signed, and not recorded as put back"):
        sign_released(event=event, by=world.person("releaser1"), password=PASSWORD)
    save_draft(event=draft, by=draft.started_by, given=given)
    assert sign_released(event=event, by=world.person("releaser1"), password=PASSWORD)


def test_days_are_counted_in_the_operator_s_one_time_base(
    world: World, clock: time_machine.Traveller, over: CheckEvent
) -> None:
    """One time base per operator, midnight to midnight (FAA PL-25 definition 22 as quoted; TP 9155 3.11)."""
    Operator.objects.update(deferral_time_zone="Pacific/Auckland")
    deferral = deferred(world, over.defect, "B")
    assert deferral.expires_on == dt.date(2025, 3, 15)
    for hour, word in ((10, "deferred"), (11, "deferral expired")):  # 15 Mar 23:59 and 16 Mar 00:00 there
        clock.move_to(dt.datetime(2025, 3, 15, hour, 59 if hour == 10 else 0, tzinfo=dt.UTC))
        assert over.defect.state(deferral_day(timezone.now())) == word


def test_a_deferral_from_before_the_mel_was_kept_here_stays_as_it_was(world: World, over: CheckEvent) -> None:
    """Without an item, placard or confirmations: its last day, state and page are those of its own row."""
    old = Deferral(
        defect=over.defect,
        mel_item="11-01",
        category="C",
        recorded_on=world.today,
        expires_on=world.today + dt.timedelta(days=10),
        limitation="As typed then.",
        deferred_by=world.person("controller1"),
        deferred_at=timezone.now(),
    )
    keep_deferral(old)
    assert "item" not in json.loads(old.record.canonical)
    assert (old.last_day, over.defect.state(old.expires_on)) == (dt.date(2025, 3, 22), "deferred")
    page = logged_in(world, "auditor1").get(f"/defects/{over.defect.pk}/").content.decode()
    assert "MEL item 11-01, category C" in page and "As typed then." in page and "Confirmed:" not in page
    assert verify_chain(old.record.chain) == []
