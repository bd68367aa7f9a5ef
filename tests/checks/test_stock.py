"""Stock: what entries and signed checks come to, corrections that keep what they correct, and refusals."""

import datetime as dt
import json
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.db import DatabaseError, connection, transaction
from django.test.utils import CaptureQueriesContext

from checks.models import CheckEvent, FluidMix, StockMovement
from checks.selectors.season_need import item_needs, replacements
from checks.selectors.stock import (
    fluid_stock,
    item_stock,
    mix_of,
    mixes,
    parts_in_store,
    spares_by_position,
)
from checks.services.correct import correct
from checks.services.errors import RecordError
from checks.services.stock import record_mix, record_movement
from checks.services.verify import verify_event
from fleet.models import Fitment, FluidBatch, Part
from fleet.services import fit_part, remove_part
from tests.checks.due_history import done
from tests.checks.season_world import NOON, TODAY, filter_element, flown, season_world, takes
from tests.world import World

pytestmark = pytest.mark.django_db
D, L = dt.date, Decimal


@pytest.fixture
def world() -> Iterator[World]:
    with time_machine.travel(NOON, tick=False):
        yield season_world()


def enter(world: World, kind: str, thing: Any, quantity: str | int, base: str = "north", **more: Any):
    to_base = more.pop("to", None)
    return record_movement(
        by=world.person("controller1"),
        kind=kind,
        thing=thing,
        base=world.master.bases[base],
        to_base=world.master.bases[to_base] if to_base else None,
        quantity=L(quantity),
        **more,
    )


def litres(world: World, code: str = "fb-101", base: str = "north") -> Decimal:
    rows = {(row.batch.code, row.base_id): row.litres for row in fluid_stock()}
    return rows.get((code, world.master.bases[base].pk), L(0))


def batch(world: World, code: str = "fb-101") -> FluidBatch:
    return world.master.batches[code]


def named(world: World, on: D, code: str = "pressure-flow", name: str | None = "fb-101") -> CheckEvent:
    """A signed check that names a batch; the small world's own choice of batch is put aside."""
    from reports.demo import writer

    world.revision(world.forward, code).procedure.refresh_from_db()
    wanted = batch(world, name) if name else None
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(writer.Batches, "take", lambda *_: wanted)
        return world.signed(world.forward, on, code=code)


def test_a_delivery_is_the_first_entry(world: World) -> None:
    assert litres(world) == 400
    assert litres(world, base="middle") == 0


def test_a_signed_check_takes_what_its_procedure_stated_from_the_batch_it_names(world: World) -> None:
    takes("pressure-flow", "6.5")
    named(world, D(2025, 8, 1))
    named(world, D(2025, 8, 2), name=None)
    named(world, D(2025, 8, 3), code="fluid-concentration")
    assert litres(world) == L("393.5") - L("0.2")
    takes("pressure-flow", "8")
    assert litres(world) == L("393.3"), "another figure changes nothing that was signed before"
    named(world, D(2025, 8, 4))
    assert litres(world) == L("385.3")


def test_what_was_taken_is_in_the_record(world: World) -> None:
    takes("pressure-flow", "6.5")
    event = named(world, D(2025, 8, 1))
    (row,) = event.fluid_taken.all()
    assert (row.litres, row.batch) == (L("6.5"), batch(world)) and verify_event(event) == []
    told = json.loads(event.signatures.get(act="performed").record.canonical)
    assert [part["litres"] for part in told["fluid_taken"]] == ["6.5"]


def test_of_checks_from_before_it_was_kept_the_procedure_tells(world: World) -> None:
    takes("pressure-flow", "6.5")
    done(world, world.forward, D(2025, 8, 1), fluid_batch=batch(world))
    assert str(litres(world)) == "393.5", "no more digits than were entered"
    takes("pressure-flow", "8")
    assert litres(world) == 392


def test_a_draft_takes_nothing_and_a_correction_takes_once(world: World) -> None:
    takes("pressure-flow", "6")
    event = named(world, D(2025, 8, 1))
    correct(event=event, by=world.person("technician1"), reason="Wrong hours.")
    assert litres(world) == 394, "the draft of the correction takes nothing yet"
    CheckEvent.objects.filter(supersedes=event).update(state="signed", signed_at=NOON)
    assert litres(world) == 394, "the correction takes it in the place of what it corrects"


def test_a_typed_quantity_takes_the_place_of_the_procedures(world: World) -> None:
    takes("pressure-flow", "6")
    event = named(world, D(2025, 8, 1))
    enter(world, "used", batch(world), "11.5", event=event, remark="A line was filled anew.")
    assert litres(world) == L("388.5")


def test_moved_scrapped_and_used_by_hand(world: World) -> None:
    enter(world, "moved", batch(world), 100, to="outer")
    enter(world, "scrapped", batch(world), "2.5")
    enter(world, "used", batch(world), 1)
    assert (litres(world), litres(world, base="outer")) == (L("296.5"), L(100))


def test_a_count_ends_what_came_before_it_and_work_of_before_sent_in_later_is_in_it(world: World) -> None:
    takes("pressure-flow", "6")
    enter(world, "counted", batch(world), 150, on=D(2025, 8, 20))
    named(world, D(2025, 8, 10))
    assert litres(world) == 150
    named(world, D(2025, 8, 25))
    assert litres(world) == 144


def test_more_than_is_there_is_refused_with_the_way_out(world: World) -> None:
    with pytest.raises(RecordError) as refused:
        enter(world, "used", batch(world), 401)
    assert "By the records 400.0 L was there" in str(refused.value)
    assert "enter what you count first" in str(refused.value)
    assert not StockMovement.objects.exists()


@pytest.mark.parametrize(
    ("kind", "quantity", "more", "said"),
    [
        ("received", 0, {}, "Write a number above 0"),
        ("received", 5, {"on": D(2025, 9, 2)}, "still to come"),
        ("moved", 5, {}, "A move names another base"),
        ("moved", 5, {"to": "north"}, "A move names another base"),
        ("used", 5, {"to": "outer"}, "A move names another base"),
    ],
)
def test_what_can_not_be_is_refused(world: World, kind: str, quantity: int, more: dict, said: str) -> None:
    with pytest.raises(RecordError, match=said):
        enter(world, kind, batch(world), quantity, **more)


def test_pieces_are_whole(world: World) -> None:
    with pytest.raises(RecordError, match="whole pieces"):
        enter(world, "received", filter_element(), "1.5")


def test_only_who_may_keeps_stock(world: World) -> None:
    for who in ("technician1", "director1", "auditor1"):
        with pytest.raises(RecordError, match="the role lacks it"):
            record_movement(
                by=world.person(who),
                kind="counted",
                thing=batch(world),
                base=batch(world).base,
                quantity=L(1),
            )


def test_a_correction_takes_its_place_and_both_stay(world: World) -> None:
    wrong = enter(world, "scrapped", batch(world), 50)
    with pytest.raises(RecordError, match="Say why it is corrected"):
        enter(world, "scrapped", batch(world), 5, corrects=wrong)
    right = enter(world, "scrapped", batch(world), 5, corrects=wrong, remark="A zero too many.")
    assert litres(world) == 395
    assert StockMovement.objects.count() == 2 and list(StockMovement.objects.standing()) == [right]
    with pytest.raises(RecordError, match="corrected already"):
        enter(world, "scrapped", batch(world), 6, corrects=wrong, remark="Again.")
    enter(world, "scrapped", batch(world), 0, corrects=right, remark="It was not scrapped at all.")
    assert litres(world) == 400


def test_a_correction_stays_with_its_thing(world: World) -> None:
    wrong = enter(world, "scrapped", batch(world), 5)
    with pytest.raises(RecordError, match="Correct it to 0"):
        enter(world, "scrapped", batch(world, "fb-102"), 5, corrects=wrong, remark="Wrong batch.")


def test_a_correction_that_leaves_less_than_nothing_is_refused(world: World) -> None:
    came = enter(world, "received", filter_element(), 3)
    enter(world, "used", came.item, 2)
    with pytest.raises(RecordError, match="less than that was there"):
        enter(world, "received", came.item, 1, corrects=came, remark="Only one came.")


@pytest.mark.parametrize(
    "verb", ["UPDATE checks_stockmovement SET quantity = 1", "DELETE FROM checks_stockmovement"]
)
def test_the_database_keeps_entries_as_they_are(world: World, verb: str) -> None:
    enter(world, "scrapped", batch(world), 5)
    with pytest.raises(DatabaseError, match="appended and never changed"), transaction.atomic():
        connection.cursor().execute(verb)


def test_the_database_keeps_a_delivery_as_it_came(world: World) -> None:
    with pytest.raises(DatabaseError, match="a delivery is never changed"), transaction.atomic():
        FluidBatch.objects.filter(code="fb-101").update(litres=1)
    FluidBatch.objects.filter(code="fb-101").update(expires_on=D(2029, 1, 1))


def test_items_count_like_fluid_and_say_what_is_due(world: World) -> None:
    """A filter used a year and a day ago is due; the other aircraft has no record of one."""
    item = filter_element(least=2, replace_hours=100)
    enter(world, "received", item, 4, on=D(2024, 1, 1))
    enter(world, "used", item, 1, on=D(2024, 8, 31), aircraft=world.forward)
    enter(world, "moved", item, 2, to="outer")
    north = world.master.bases["north"].pk
    assert {row.base_id: row.pieces for row in item_stock()} == {
        north: 1,
        world.master.bases["outer"].pk: 2,
    }
    (need,) = item_needs(north, TODAY, [item], item_stock(), replacements())
    assert (need.pieces, need.due, need.without_record, need.short) == (1, 1, 1, 1)


def test_hours_flown_since_may_be_due_before_the_months(world: World) -> None:
    """2000 h stood on 2 August; with 2130 h today 30 of the 100 h are over."""
    item = filter_element(replace_hours=100)
    enter(world, "received", item, 1, on=D(2025, 7, 1))
    enter(world, "used", item, 1, on=D(2025, 8, 10), aircraft=world.forward)
    flown(world, world.forward, D(2025, 8, 31), "2130")
    (one,) = (row for row in replacements() if row.aircraft == world.forward)
    assert (one.due_on, one.hours_left, one.due_by(TODAY)) == (D(2026, 8, 10), L(-30), True)


def spare(world: World, position: str = "wing-li") -> Part:
    fitted = Fitment.objects.current().get(aircraft=world.forward, position__code=position)
    return Part.objects.create(
        part_number=fitted.part.part_number, serial_number="S-1", kind=fitted.part.kind
    )


def test_a_spare_part_is_on_hand_at_its_base_until_it_is_fitted(world: World) -> None:
    part = spare(world)
    position = world.position(world.forward, "wing-li")
    key = (world.forward.pk, position.pk)
    assert spares_by_position([world.forward.pk])[key].words == "no part in store"
    enter(world, "received", part, 1, base="outer")
    assert spares_by_position([world.forward.pk])[key].words == "part at another base"
    enter(world, "moved", part, 1, base="outer", to="north")
    assert [one.part for one in spares_by_position()[key].at_base] == [part]
    assert spares_by_position()[key].words == "part on hand"
    worn = Fitment.objects.current().get(aircraft=world.forward, position=position)
    remove_part(fitment=worn, on=TODAY)
    fit_part(part=part, aircraft=world.forward, position=position, on=TODAY)
    assert parts_in_store() == []


@pytest.mark.parametrize(
    ("kind", "quantity", "base", "more", "said"),
    [
        ("used", 1, "north", {}, "enter its fitment"),
        ("received", 2, "north", {}, "one piece"),
        ("received", 1, "north", {}, "in store already"),
        ("scrapped", 1, "outer", {}, "not in store at"),
        ("moved", 1, "outer", {"to": "north"}, "not in store at"),
    ],
)
def test_a_serialised_part_is_one_piece_in_one_place(
    world: World, kind: str, quantity: int, base: str, more: dict, said: str
) -> None:
    part = spare(world)
    enter(world, "received", part, 1)
    with pytest.raises(RecordError, match=said):
        enter(world, kind, part, quantity, base=base, **more)


def test_a_fitted_part_is_not_received(world: World) -> None:
    fitted = Fitment.objects.current().filter(aircraft=world.forward).first()
    with pytest.raises(RecordError, match="Enter its removal first"):
        enter(world, "received", fitted.part, 1)


def test_a_scrapped_part_is_gone(world: World) -> None:
    part = spare(world)
    enter(world, "received", part, 1)
    enter(world, "scrapped", part, 1, remark="Dropped.")
    assert parts_in_store() == []


def mix(world: World, one: str, other: str, allowed: bool, source: str = "Letter of 1 Mar 2025, invented."):
    return record_mix(
        by=world.person("controller1"), kind_a=one, kind_b=other, allowed=allowed, source_reference=source
    )


def test_of_a_pair_without_an_entry_nothing_is_assumed(world: World) -> None:
    assert mix_of(mixes(), "A", "A") is None
    mix(world, "B", "A", True)
    known = mixes()
    assert mix_of(known, "A", "B").allowed and mix_of(known, "B", "A").allowed
    assert mix_of(known, "A", "A") is None


def test_the_newest_entry_of_a_pair_holds_and_the_earlier_stays(world: World) -> None:
    mix(world, "A", "B", True)
    mix(world, "B", "A", False)
    assert mix_of(mixes(), "A", "B").words == "not to be mixed"
    assert FluidMix.objects.count() == 2
    with pytest.raises(DatabaseError, match="appended and never changed"), transaction.atomic():
        FluidMix.objects.update(allowed=True)


def test_a_mix_needs_its_source(world: World) -> None:
    with pytest.raises(RecordError) as refused:
        mix(world, "A", "B", True, source=" ")
    assert {problem.field for problem in refused.value.problems} == {"source_reference"}


def test_queries_do_not_grow_with_the_entries(world: World) -> None:
    costs = []
    item = filter_element()
    enter(world, "received", item, 100)
    for number in (2, 20):
        for _ in range(number):
            enter(world, "used", item, 1)
            enter(world, "scrapped", batch(world), 1)
        with CaptureQueriesContext(connection) as queries:
            fluid_stock(), item_stock(), parts_in_store(), spares_by_position(), mixes()
        costs.append(len(queries))
    assert costs == [9, 9], costs
