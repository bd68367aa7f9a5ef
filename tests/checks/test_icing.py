"""Icing status: each thing that is held against an aircraft, and that nothing more is ever said."""

import dataclasses
import datetime as dt
from decimal import Decimal

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from checks.models import CheckEvent, Defect, DuePoint, RecurringCheck
from checks.selectors import icing
from checks.selectors.defects import with_states
from checks.selectors.release import aircraft_obstacles
from checks.services.decide import decide_too_low
from checks.services.defects import raise_defect, rectify
from checks.services.due import refresh_due
from checks.services.errors import RecordError
from checks.services.record import save_draft
from checks.services.utilisation import enter_utilisation
from fleet.models import Aircraft, Operator
from tests.checks.deferring import deferred
from tests.checks.work import performed, started, typed
from tests.world import PASSWORD, World, build_world

OVER = ("300", "310", "310", "310")


def reasons(aircraft: Aircraft) -> list[tuple[str, str]]:
    (status,) = icing.icing_statuses(at=timezone.now(), aircraft_ids=[aircraft.pk])
    return [(reason.kind, reason.text) for reason in status.reasons]


@pytest.fixture
def world(world: World) -> World:
    """Only the pressure-and-flow check recurs, so that each test names all that is held against."""
    RecurringCheck.objects.exclude(procedure__code="pressure-flow").update(active=False)
    refresh_due()
    return world


def test_nothing_recorded_against_is_all_that_is_said(world: World) -> None:
    performed(world, world.forward)
    (status,) = icing.icing_statuses(at=timezone.now(), aircraft_ids=[world.forward.pk])
    assert (status.words, status.reasons) == ("nothing recorded against", ())


def test_without_any_record_it_says_so(world: World) -> None:
    (status,) = icing.icing_statuses(at=timezone.now(), aircraft_ids=[world.forward.pk])
    assert status.words == "recorded against"
    assert [(r.kind, r.text) for r in status.reasons] == [
        ("no valid record", "No valid record of Pressure and flow check.")
    ]
    assert status.reasons[0].due_point_id


def test_an_overdue_check(world: World, clock: time_machine.Traveller) -> None:
    performed(world, world.forward)
    due = DuePoint.objects.get(aircraft=world.forward)
    last = due.latest_on
    clock.move_to(dt.datetime.combine(last, dt.time(12), tzinfo=dt.UTC))
    assert reasons(world.forward) == [], "inside its tolerance"
    clock.shift(dt.timedelta(days=1))
    assert reasons(world.forward) == [
        ("overdue check", f"Pressure and flow check is overdue: it was due on {due.due_on:%d %b %Y}.")
    ]


def test_an_open_over_limit_check_until_a_person_closes_it(
    world: World, clock: time_machine.Traveller
) -> None:
    performed(world, world.forward, work_date=world.today - dt.timedelta(days=5))
    clock.shift(60)
    over = performed(world, world.forward, series=OVER)
    (found,) = reasons(world.forward)
    assert found[0] == "open defect" and "Pressure and flow check of 12 Mar 2025" in found[1]
    clock.shift(60)
    retest = performed(world, world.forward, follows=over)
    assert [kind for kind, _ in reasons(world.forward)] == ["open defect"], "a retest closes nothing"
    releaser = world.person("releaser1")
    rectify(defect=over.defect, by=releaser, password=PASSWORD, text="Purged.", retest=retest)
    assert reasons(world.forward) == []


def test_a_deferral_limits_until_its_last_day_and_then_weighs_more(
    world: World, clock: time_machine.Traveller
) -> None:
    performed(world, world.forward)
    by = world.person("controller1")
    for limits, number in ((True, "30-10-03"), (False, "30-60-01")):
        defect = raise_defect(aircraft=world.forward, by=by, description=f"Wet patch {limits}.")
        deferred(world, defect, number)
    assert reasons(world.forward) == [
        (
            "deferral limits",
            "Deferred under 30-10-03 until 15 Mar 2025: Invented example: no take-off into icing forecast "
            "for longer than 20 minutes.",
        )
    ]
    clock.shift(dt.timedelta(days=4))
    assert reasons(world.forward) == [
        ("deferral expired", f"Deferral expired after 15 Mar 2025: Wet patch {limits}.")
        for limits in (True, False)
    ]


def test_a_not_valid_check_until_it_is_decided_or_repeated(
    world: World, clock: time_machine.Traveller
) -> None:
    performed(world, world.forward, work_date=world.today - dt.timedelta(days=5))
    clock.shift(60)
    low = performed(world, world.forward, series=("8", "8", "8", "8"), volume="2")
    assert reasons(world.forward) == [
        (
            "not valid check",
            "Pressure and flow check of 12 Mar 2025 is not valid: a person must decide in writing",
        )
    ]
    releaser = world.person("releaser1")
    decide_too_low(event=low, by=releaser, password=PASSWORD, accepted=True, text="Blanked off.")
    assert reasons(world.forward) == []
    clock.shift(60)
    performed(world, world.forward, volume="")
    told = "Pressure and flow check of 12 Mar 2025 is not valid: propeller nozzle: no value"
    assert reasons(world.forward) == [("not valid check", told)]
    clock.shift(60)
    performed(world, world.forward)
    assert reasons(world.forward) == []


def test_what_a_draft_left_disturbed_until_it_is_put_back(world: World) -> None:
    performed(world, world.forward)
    draft = started(world, world.forward)
    assert reasons(world.forward) == [], "a draft that disturbed nothing holds nothing against"
    given = typed(draft)
    half = tuple(dataclasses.replace(one, restored=False) for one in given.cautions)
    save_draft(event=draft, by=draft.started_by, given=dataclasses.replace(given, cautions=half))
    steps = draft.revision.steps.exclude(restore_text="").order_by("number")
    begun = "Pressure and flow check begun on 12 Mar 2025 is not signed, and not recorded as put back: "
    assert steps and reasons(world.forward) == [
        ("left disturbed", begun + step.restore_text) for step in steps
    ]
    (status,) = icing.icing_statuses(at=timezone.now(), aircraft_ids=[world.forward.pk])
    assert {reason.event_id for reason in status.reasons} == {draft.pk}
    save_draft(event=draft, by=draft.started_by, given=given)
    assert reasons(world.forward) == []


def test_a_stored_aircraft_and_one_that_left(world: World) -> None:
    performed(world, world.forward)
    Aircraft.objects.filter(pk=world.forward.pk).update(state="stored")
    assert reasons(world.forward) == [("stored", "The aircraft is stored.")]
    Aircraft.objects.filter(pk=world.forward.pk).update(state="left")
    assert icing.icing_statuses(at=timezone.now(), aircraft_ids=[world.forward.pk]) == []


def test_a_stored_aircraft_says_since_when(world: World) -> None:
    performed(world, world.forward)
    Aircraft.objects.filter(pk=world.forward.pk).update(state="stored", state_since=dt.date(2025, 2, 3))
    assert reasons(world.forward) == [("stored", "The aircraft is stored since 03 Feb 2025.")]


def test_stale_utilisation_of_an_aircraft_in_service(world: World) -> None:
    performed(world, world.forward)
    Operator.objects.update(stale_use_days=30)
    assert reasons(world.forward) == [], "as long as the operator allows"
    Operator.objects.update(stale_use_days=29)
    assert reasons(world.forward) == [("stale utilisation", "No utilisation since 10 Feb 2025, 30 days.")]
    Aircraft.objects.filter(pk=world.forward.pk).update(state="stored")
    assert [kind for kind, _ in reasons(world.forward)] == ["stored"]


def test_flight_hours_and_flight_days_run_out_by_what_is_entered(
    world: World, clock: time_machine.Traveller
) -> None:
    performed(world, world.forward)
    by = world.person("controller1")
    Operator.objects.update(stale_use_days=5)
    defect = raise_defect(aircraft=world.forward, by=by, description="Uneven flow.")
    with pytest.raises(RecordError, match=r"does not fit what is entered: 2000\.00 h"):
        deferred(world, defect, "30-20-02", from_hours=Decimal(1999))
    deferred(world, defect, "30-20-02", from_hours=Decimal(2004))

    def flown(hours: str, landings: int) -> list[tuple[str, str]]:
        enter_utilisation(
            aircraft=world.forward,
            on=timezone.localdate(),
            hours=Decimal(hours),
            landings=landings,
            by=by,
        )
        return [one for one in reasons(world.forward) if "utilisation" not in one[0]]

    words = "Deferred under 30-20-02 for 25 flight hours, {} left by what is entered: "
    (held,) = flown("2004", 1501)
    assert held == ("deferral limits", words.format("25") + world.item("30-20-02").limitation)
    clock.shift(dt.timedelta(days=2))
    assert flown("2016.5", 1506)[0][1].startswith(words.format("12.5"))
    clock.shift(dt.timedelta(days=6))
    assert reasons(world.forward)[0][0] == "deferral limit not known"
    assert "Enter the utilisation since" in " ".join(aircraft_obstacles(world.forward.pk, timezone.now()))
    found = flown("2029.5", 1512)
    assert found == [("deferral expired", "Deferral expired after 19 Mar 2025: Uneven flow.")]
    assert Defect.objects.get().state(timezone.localdate()) == "deferral expired"


def test_flight_days_expire_after_the_last_of_them(world: World, clock: time_machine.Traveller) -> None:
    performed(world, world.forward)
    by = world.person("controller1")
    defect = raise_defect(aircraft=world.forward, by=by, description="Seal worn.")
    deferred(world, defect, "30-20-03")
    for day in range(1, 8):
        clock.shift(dt.timedelta(days=1))
        landings = 1500 + min(day, 6)  # no flight on the seventh
        enter_utilisation(
            aircraft=world.forward,
            on=timezone.localdate(),
            hours=Decimal(2010 + day),
            landings=landings,
            by=by,
        )
        state = with_states(Defect.objects.all(), timezone.localdate()).get().now_is
        assert state == ("deferred" if day <= 6 else "deferral expired")
        assert state == Defect.objects.get().state(timezone.localdate())


def test_the_gravest_comes_first(world: World) -> None:
    by = world.person("technician1")
    raise_defect(aircraft=world.forward, by=by, description="Drip.")
    Aircraft.objects.filter(pk=world.forward.pk).update(state="stored")
    kinds = [kind for kind, _ in reasons(world.forward)]
    assert kinds == ["open defect", "stored"] or kinds == ["open defect", "no valid record", "stored"]
    assert kinds == sorted(kinds, key=icing.KINDS.index)


@pytest.mark.parametrize("count", [2, 22])
def test_the_number_of_queries_does_not_grow_with_the_fleet(db: None, count: int, record_property) -> None:
    world = build_world(aircraft=count)
    refresh_due()
    for one in world.fleet:
        raise_defect(aircraft=one, by=world.person("controller1"), description="Drip.")
    with CaptureQueriesContext(connection) as queries:
        statuses = icing.icing_statuses(at=timezone.now())
    assert len(statuses) == count and all(s.reasons for s in statuses)
    assert len(queries) == 6 and CheckEvent.objects.count() == 0
