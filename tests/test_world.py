"""The world of the tests: what it signs is a record like any other."""

import datetime as dt

import pytest

from checks.models import ChainHead, CheckEvent, Reset
from checks.services.verify import verify_chain, verify_event
from tests.world import TODAY, build_world

pytestmark = pytest.mark.django_db


def test_nominal_values_are_within_limits_on_both_variants():
    world = build_world()
    for aircraft in (world.forward, world.underfloor):
        event = world.signed(aircraft, TODAY - dt.timedelta(days=50), released=True)
        assert event.outcome == "within limit" and verify_event(event) == []
        assert event.signed_at.date() == event.work_date
        assert [s.act for s in event.signatures.order_by("signed_at")] == ["performed", "released"]
    assert {str(point) for point in event.results.values_list("point__code", flat=True)} >= {"port-wing-lm"}


def test_over_limit_purge_and_retest_follow_each_other():
    world = build_world()
    first = world.signed(world.forward, TODAY - dt.timedelta(days=9), values={"port": "150"})
    assert first.outcome == "over limit" and first.defect.state(TODAY) == "open"
    purge = world.signed(world.forward, TODAY - dt.timedelta(days=8), code="panel-purge", follows=first)
    retest = world.signed(world.forward, TODAY - dt.timedelta(days=8), follows=purge)
    assert (purge.follows, retest.follows, retest.outcome) == (first, purge, "within limit")
    assert set(Reset.objects.values_list("event", "point__code")) == {
        (purge.pk, "port"),
        (purge.pk, "nozzle"),
    }
    assert [verify_chain(head) for head in ChainHead.objects.all()] == [[], []]


def test_a_dry_panel_is_not_satisfactory():
    world = build_world()
    event = world.signed(world.forward, TODAY, code="wet-out", dry={"wing-lo": "dry near the tip"})
    assert event.outcome == "over limit"
    assert event.observations.get(satisfactory=False).position.code == "wing-lo"


def test_every_procedure_can_be_signed():
    world = build_world()
    for variant, code in world.master.procedures:
        aircraft = world.forward if variant == "forward" else world.underfloor
        assert world.signed(aircraft, TODAY, code=code).outcome in ("within limit", "done")
    assert CheckEvent.objects.signed().count() == len(world.master.procedures)
