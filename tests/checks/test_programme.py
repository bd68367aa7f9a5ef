"""Revising the programme: who may, what it moves, what is kept, and on which aircraft a task is due."""

import datetime as dt
import json
from decimal import Decimal

import pytest
from django.db import DatabaseError, connection, transaction
from django.test.utils import CaptureQueriesContext

from checks.models import DuePoint, IntervalRevision, Record, RecurringCheck
from checks.selectors.due_counting import count_due
from checks.selectors.programme import effect_of
from checks.selectors.programme_words import COUNTING_NOTES, changed, interval_in_words
from checks.services.due import note_due_point, refresh_due
from checks.services.errors import RecordError
from checks.services.programme import (
    TERMS,
    approve_interval,
    type_revision,
    type_task,
    withdraw_revision,
)
from fleet.models import Aircraft, Embodiment, Modification
from tests.checks.due_history import done, fly, point
from tests.world import PASSWORD, TODAY, World, build_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    """Four aircraft, two of them forward, whose check is due every 200 days: done 100 and 190 days ago."""
    world = build_world(aircraft=4)
    task = world.recurring(world.forward)
    for name in ("interval_months", "interval_hours"):
        setattr(task, name, None)
    task.before_season, task.interval_days, task.tolerance_days, task.tolerance_hours = False, 200, 10, 0
    task.save()
    forward = [one for one in world.fleet if one.variant.code == "forward"]
    for aircraft, back in zip(forward, (100, 190), strict=True):
        done(world, aircraft, TODAY - dt.timedelta(days=back))
    refresh_due(today=TODAY)
    return world


def task_of(world: World) -> RecurringCheck:
    return world.recurring(world.forward)


def terms(task: RecurringCheck, **changes: object) -> dict[str, object]:
    return {name: getattr(task, name) for name in TERMS} | changes


def typed(world: World, **changes: object) -> IntervalRevision:
    """The task revised by controller1: its terms with some changes."""
    task = task_of(world)
    only_on = changes.pop("only_on", [])
    return type_revision(
        check=task,
        by=world.person("controller1"),
        terms=terms(task, **changes),
        only_on=only_on,
        reason="Invented: experience.",
    )


def approve(world: World, revision: IntervalRevision) -> IntervalRevision:
    return approve_interval(revision=revision, by=world.person("director1"), password=PASSWORD)


# --- typing and approving ---------------------------------------------------------------------------


def test_until_approved_the_old_terms_stay_in_force(world: World) -> None:
    revision = typed(world, interval_days=150)
    refresh_due(today=TODAY)
    assert task_of(world).interval_days == 200
    assert point(world, world.forward).due_on == TODAY + dt.timedelta(days=100)
    approve(world, revision)
    task = RecurringCheck.objects.get(pk=task_of(world).pk)
    assert task.interval_days == 150
    assert DuePoint.objects.get(aircraft=world.forward, check_due=task).due_on == TODAY + dt.timedelta(
        days=50
    )


def test_the_effect_names_every_aircraft_and_who_becomes_overdue(world: World) -> None:
    """Every 150 days: 100 days ago moves from 100 to 50 days left, 190 days ago to 30 days past its
    tolerance."""
    effects = effect_of(typed(world, interval_days=150), today=TODAY)
    first, second = effects
    assert [one.aircraft.variant.code for one in effects] == ["forward", "forward"]
    assert (first.old.due_on, first.new.due_on) == (
        TODAY + dt.timedelta(days=100),
        TODAY + dt.timedelta(days=50),
    )
    assert (first.days_moved, first.becomes_overdue) == (-50, False)
    assert (second.old.state, second.new.state, second.becomes_overdue) == ("due soon", "overdue", True)
    assert point(world, world.forward).due_on == first.old.due_on, "looking moves nothing"


def test_the_effect_is_what_approval_then_does(world: World) -> None:
    revision = typed(world, interval_days=150, interval_hours=Decimal(120), tolerance_days=3)
    foretold = {one.aircraft.pk: one.new.due_on for one in effect_of(revision, today=TODAY)}
    approve(world, revision)
    refresh_due(today=TODAY)
    stored = DuePoint.objects.filter(check_due=task_of(world)).values_list("aircraft", "due_on")
    assert dict(stored) == foretold


def test_the_old_terms_are_kept_and_it_is_a_link_of_the_operators_chain(world: World) -> None:
    revision = approve(world, typed(world, interval_days=150))
    revision.refresh_from_db()
    assert revision.replaced["terms"]["interval_days"] == 200
    assert ["Interval", "200 days"] in revision.replaced["words"]
    record = Record.objects.filter(chain__owner="operator").latest("number")
    told = json.loads(record.canonical)
    assert (record.act, told["interval_revision"]["id"]) == ("approval", revision.pk)
    assert told["interval_revision"]["replaced"]["terms"]["interval_days"] == 200
    again = approve(world, _again(world, interval_days=140))
    assert (again.number, again.replaced["terms"]["interval_days"]) == (2, 150)


def _again(world: World, **changes: object) -> IntervalRevision:
    task = RecurringCheck.objects.get(pk=task_of(world).pk)
    return type_revision(
        check=task,
        by=world.person("controller1"),
        terms=terms(task, **changes),
        only_on=[],
        reason="Invented: more experience.",
    )


def test_nobody_both_types_and_approves(world: World) -> None:
    revision = typed(world, interval_days=150)
    IntervalRevision.objects.filter(pk=revision.pk).update(typed_by=world.person("director1"))
    with pytest.raises(RecordError, match="who typed a revision can't approve"):
        approve(world, revision)
    with pytest.raises(RecordError, match="the role lacks it"):
        approve_interval(revision=revision, by=world.person("controller2"), password=PASSWORD)
    with pytest.raises(RecordError, match="the role lacks it"):
        type_revision(
            check=task_of(world), by=world.person("director1"), terms={}, only_on=[], reason="Invented."
        )
    with pytest.raises(RecordError, match="password is not right"):
        approve_interval(
            revision=typed_by_controller(revision, world), by=world.person("director1"), password="x"
        )
    assert task_of(world).interval_days == 200


def typed_by_controller(revision: IntervalRevision, world: World) -> IntervalRevision:
    IntervalRevision.objects.filter(pk=revision.pk).update(typed_by=world.person("controller1"))
    return revision


def test_one_at_a_time_and_something_must_change(world: World) -> None:
    with pytest.raises(RecordError, match="Nothing differs"):
        typed(world)
    revision = typed(world, interval_days=150)
    with pytest.raises(RecordError, match="waits for approval"):
        typed(world, interval_days=160)
    with pytest.raises(RecordError, match="Only"):
        withdraw_revision(revision=revision, by=world.person("controller2"))
    withdraw_revision(revision=revision, by=world.person("controller1"))
    assert approve(world, typed(world, interval_days=160)).number == 1


def test_approved_revisions_are_frozen_by_the_database(world: World) -> None:
    revision = approve(world, typed(world, interval_days=150, only_on=[world.forward]))
    with pytest.raises(RecordError, match="It was approved on"):
        approve(world, revision)
    with pytest.raises(RecordError, match="It was approved on"):
        withdraw_revision(revision=revision, by=world.person("controller1"))
    linked = IntervalRevision.only_on.through.objects
    for change in (
        lambda: IntervalRevision.objects.update(interval_days=1),
        lambda: IntervalRevision.objects.all()._raw_delete("default"),
        lambda: linked.all()._raw_delete("default"),
        lambda: linked.create(intervalrevision=revision, aircraft=world.underfloor),
    ):
        with pytest.raises(DatabaseError, match="approved interval revision"), transaction.atomic():
            change()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"interval_days": None}, "at least one interval"),
        ({"once": True}, "needs its reference"),
        ({"first_due": "given"}, "first due"),
        ({"fit": "embodied"}, "modification"),
    ],
)
def test_terms_that_make_no_sense_say_the_way_out(world: World, changes: dict, words: str) -> None:
    with pytest.raises(RecordError, match=words):
        typed(world, **changes)
    assert not IntervalRevision.objects.exists()


def test_only_aircraft_of_the_variant_are_named(world: World) -> None:
    with pytest.raises(RecordError, match=f"Not of this variant: {world.underfloor}"):
        typed(world, interval_days=150, only_on=[world.underfloor])


# --- new tasks ----------------------------------------------------------------------------------------


def new_task(world: World, **given: object) -> IntervalRevision:
    """A further task of the pressure and flow check."""
    return type_task(
        procedure=task_of(world).procedure,
        by=world.person("controller1"),
        terms=given,
        only_on=[],
        reason="Invented: a bulletin.",
    )


def test_a_new_task_counts_nothing_until_it_is_approved(world: World) -> None:
    """One procedure, two tasks: the same check is due every 200 days, and once by the bulletin."""
    day = TODAY + dt.timedelta(days=40)
    bulletin = {"title": "Bulletin check", "once": True, "reference": "Invented bulletin 30-7"}
    revision = new_task(world, **bulletin, first_due="given", first_on=day, counts_from=TODAY)
    refresh_due(today=TODAY)
    assert not DuePoint.objects.filter(check_due=revision.check_revised).exists()
    approve(world, revision)
    refresh_due(today=TODAY)
    points = DuePoint.objects.filter(check_due=revision.check_revised)
    assert [(one.due_on, one.done_on, one.untold) for one in points] == [(day, None, False)] * 2
    assert point(world, world.forward).due_on == TODAY + dt.timedelta(days=100)
    done(world, world.forward, TODAY)
    refresh_due(today=TODAY)
    assert [one.aircraft_id != world.forward.pk for one in points.all()] == [True]
    assert point(world, world.forward).due_on == TODAY + dt.timedelta(days=200)


def test_a_new_task_taken_back_leaves_nothing(world: World) -> None:
    revision = new_task(world, interval_days=10)
    withdraw_revision(revision=revision, by=world.person("controller1"))
    assert not RecurringCheck.objects.filter(pk=revision.check_revised_id).exists()


def test_from_entry_into_service(world: World) -> None:
    revision = new_task(world, interval_months=36, to_month_end=True, first_due="entry", counts_from=TODAY)
    approve(world, revision)
    refresh_due(today=TODAY)
    entry = world.forward.entered_service_on
    found = DuePoint.objects.get(check_due=revision.check_revised, aircraft=world.forward)
    last = (entry.replace(day=1, year=entry.year + 3) + dt.timedelta(days=31)).replace(day=1)
    assert found.due_on == last - dt.timedelta(days=1)


# --- on which aircraft ----------------------------------------------------------------------------------


def due_on(world: World) -> set[str]:
    refresh_due(today=TODAY)
    by_objects = {one.aircraft_id for one in count_due(today=TODAY) if one.check_id == task_of(world).pk}
    stored = DuePoint.objects.filter(check_due=task_of(world))
    assert set(stored.values_list("aircraft", flat=True)) == by_objects
    return set(stored.values_list("aircraft__registration", flat=True))


def test_named_aircraft_and_modification_state(world: World) -> None:
    both = {one.registration for one in world.fleet if one.variant.code == "forward"}
    assert due_on(world) == both
    approve(world, typed(world, only_on=[world.forward]))
    assert due_on(world) == {world.forward.registration}
    mod = Modification.objects.create(code="30-12", title="Invented second test port")
    approve(world, _again(world, modification=mod, fit="embodied"))
    assert due_on(world) == set()
    Embodiment.objects.create(
        aircraft=world.forward, modification=mod, embodied_on=TODAY, reference="Invented"
    )
    assert due_on(world) == {world.forward.registration}
    Embodiment.objects.update(removed_on=TODAY)
    assert due_on(world) == set()
    approve(world, _again(world, modification=mod, fit="not embodied"))
    assert due_on(world) == both


# --- owner and remarks, words, cost ---------------------------------------------------------------------


def test_owner_and_remarks_survive_counting_anew(world: World) -> None:
    owner = world.person("technician1")
    note_due_point(
        point=point(world, world.forward),
        by=world.person("controller1"),
        owner=owner,
        remarks="Invented: hangar slot agreed.",
    )
    done(world, world.forward, TODAY)
    refresh_due(today=TODAY)
    found = point(world, world.forward)
    assert (found.done_on, found.owner, found.remarks) == (TODAY, owner, "Invented: hangar slot agreed.")
    with pytest.raises(RecordError, match="the role lacks it"):
        note_due_point(point=found, by=owner, owner=None, remarks="")
    owner.is_active = False
    owner.save()
    with pytest.raises(RecordError, match="no longer works here"):
        note_due_point(point=found, by=world.person("controller1"), owner=owner, remarks="")


def test_words_of_intervals_and_of_what_changed() -> None:
    task = RecurringCheck(interval_days=1, interval_months=6, interval_hours=Decimal("450.00"))
    assert interval_in_words(task) == "1 day, 6 months or 450 h, whichever first"
    task.before_season = True
    assert interval_in_words(task).endswith("450 h or the season date, whichever first")
    assert interval_in_words(RecurringCheck(once=True)) == "once"
    assert changed([["a", "1"], ["b", "2"]], [["a", "1"], ["b", "3"], ["c", "4"]]) == [
        ("b", "2", "3"),
        ("c", "–", "4"),
    ]


def test_every_way_of_counting_says_where_it_comes_from_and_its_limits() -> None:
    assert [note.key for note in COUNTING_NOTES] == list(RecurringCheck.Counting.values)
    assert all(note.does and note.source and note.limits for note in COUNTING_NOTES)


def test_the_effect_costs_the_same_for_any_fleet() -> None:
    counts = []
    for number in (2, 22):
        with transaction.atomic():
            world = build_world(aircraft=number)
            for aircraft in world.fleet:
                done(world, aircraft, TODAY - dt.timedelta(days=100))
                fly(aircraft, world.person("controller1"), TODAY, TODAY, hours=1, landings=1, start=2100)
            revision = typed(world, interval_days=150)
            with CaptureQueriesContext(connection) as caught:
                assert (
                    len(effect_of(revision, today=TODAY))
                    == Aircraft.objects.filter(variant=world.forward.variant).count()
                )
            counts.append(len(caught))
            transaction.set_rollback(True)
    assert counts[0] == counts[1]
