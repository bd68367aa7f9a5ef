"""Work packages of the demo: what its tasks share, hours of its bases, a plan, one accepted at two bases."""

import datetime as dt
from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal

from django.db.models import Count

from checks.models import PartNeeded, Preparation, Procedure, StockItem, WorkPackage
from checks.services.packages import accept_package, set_work_day
from checks.services.plan_runs import ask_plan, carry_out, claim
from fleet.models import Base
from reports.demo.master import Master, read
from reports.plan_solver import solve_in_time

PLANNER = "controller1"
SECONDS = 12.0


def load_shared(master: Master) -> None:
    """Preparations, parts needed and hours of work, from fixtures/demo/packages.json."""
    data = read("packages")
    for row in data["preparations"]:
        one = Preparation.objects.create(kind=row["kind"], name=row["name"], minutes=row["minutes"])
        one.procedures.set(Procedure.objects.filter(code__in=row["procedures"]))
    for code, (hours, days) in data["hours"].items():
        Base.objects.filter(code=code).update(work_hours=Decimal(hours), work_days=days)
        master.bases[code].refresh_from_db()
    items = StockItem.objects.filter(kind__in=("strainer", "filter"))
    PartNeeded.objects.bulk_create(
        PartNeeded(procedure=procedure, item=item)
        for procedure in Procedure.objects.filter(code="strainer-filter")
        for item in items.filter(variants__in=[procedure.variant_id]) | items.filter(variants=None)
    )


def plan_and_accept(master: Master) -> None:
    """A plan as the page makes it, and its largest package accepted at each of two bases."""
    data, by = read("packages"), master.people[PLANNER]
    for code, ahead, hours, reason in data["closed"]:
        on = master.today + dt.timedelta(days=ahead)
        set_work_day(base=master.bases[code], on=on, hours=Decimal(hours), reason=reason, by=by)
    run = claim(ask_plan(by=by).pk)
    with ThreadPoolExecutor(1) as pool:
        carry_out(run, pool, solve=solve_in_time, today=master.today, seconds=SECONDS)
    for code in data["accepted_at"]:
        largest = (
            WorkPackage.objects.proposed()
            .filter(base__code=code, on__gt=master.today)
            .annotate(number=Count("checks"))
            .order_by("-number", "on", "pk")
            .first()
        )
        if largest:
            accept_package(package=largest, by=by, today=master.today)
