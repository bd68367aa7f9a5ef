"""The demo's packages: what its tasks share, a plan, and the largest package accepted at two bases."""

import datetime as dt

import pytest
import time_machine

from checks.models import PartNeeded, PlanRun, Preparation, StockItem, WorkDay, WorkPackage
from checks.services.due import refresh_due
from fleet.models import Base
from reports.demo.master import read
from reports.demo.packages import load_shared, plan_and_accept
from tests.checks.packaging import CONCENTRATION, SKIN, due_in
from tests.world import TODAY, build_world

pytestmark = pytest.mark.django_db


def test_one_accepted_at_each_of_two_bases_and_proposals_beside_them() -> None:
    with time_machine.travel(dt.datetime.combine(TODAY, dt.time(12), dt.UTC), tick=False):
        world = build_world(aircraft=4)
        StockItem.objects.create(part_number="P-1", name="Invented element", kind="filter")
        for number, one in enumerate(world.fleet):
            one.base = world.master.bases[("north", "middle")[number // 2]]
            one.save()
            due_in(world, one, CONCENTRATION, 10 + number)
            due_in(world, one, SKIN, 12 + number)
        load_shared(world.master)
        refresh_due()
        plan_and_accept(world.master)
    accepted = WorkPackage.objects.accepted()
    assert sorted(accepted.values_list("base__code", flat=True)) == ["middle", "north"]
    assert all(one.checks.count() == 2 for one in accepted)
    assert WorkPackage.objects.proposed().count() == 2
    assert PlanRun.objects.get().state == PlanRun.State.DONE
    assert Base.objects.get(code="north").work_hours == 10 and WorkDay.objects.count() == 2
    assert PartNeeded.objects.count() == 2  # one for the task of each variant
    wanted = {code for row in read("packages")["preparations"] for code in row["procedures"]}
    assert wanted == set(Preparation.objects.values_list("procedures__code", flat=True))
