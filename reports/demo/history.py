"""The whole invented history: planned by story.py, written by writer.py; the truth is handed back."""

import datetime as dt
from collections.abc import Mapping
from decimal import Decimal

from django.db import transaction

from checks.engine.limits import LimitTable
from checks.engine.units import to_canonical
from checks.models import LimitTable as StoredTable
from checks.models import Step
from checks.services.drift import refresh_drift
from checks.services.drift_card import refresh_report_card
from checks.services.due import refresh_due
from checks.services.points import limit_table
from checks.services.use_season import learn_use_season
from fleet.models import Aircraft, MeasuringPoint
from reports.demo.aircraft import load_aircraft
from reports.demo.bench import Benches, Gauges
from reports.demo.cases import CASES
from reports.demo.causes import record_causes
from reports.demo.deferrals import load_deferrals
from reports.demo.finding import report_faulty_gauge
from reports.demo.master import Master, load_master
from reports.demo.packages import load_shared, plan_and_accept
from reports.demo.physics import PointData
from reports.demo.plan import Truth
from reports.demo.procedures import load_waiting
from reports.demo.programme import load_programme
from reports.demo.stock import load_stock
from reports.demo.story import Setting, Story
from reports.demo.writer import Writer, write_utilisation

SEED = 20
Tables = dict[tuple[str, str], list[tuple[dt.date, LimitTable, Decimal | None]]]


def plan_history(master: Master, fleet: list[Aircraft], seed: int = SEED) -> tuple[list[Story], Truth]:
    """Every aircraft's story, told, and the truth. Reads the master data and writes nothing."""
    setting = Setting(
        master, Benches(master), Gauges(seed, master), _points(master), _tables(), _measuring_steps(master)
    )
    stories = [Story(setting, aircraft, seed, number) for number, aircraft in enumerate(fleet)]
    truth = Truth(seed, master.today)
    for story in stories:
        truth.events += len(story.tell())
        truth.series |= story.truth()
    truth.cases = {case.name: registration for registration, case in CASES.items()}
    return stories, truth


def _points(master: Master) -> Mapping[str, list[PointData]]:
    """The points of each variant in the order in which they are read, with their limits at 20 °C."""
    points: dict[str, list[PointData]] = {code: [] for code in master.variants}
    stored = MeasuringPoint.objects.filter(reference_rows__temperature=20)
    for point in stored.select_related("variant", "position").order_by("variant", "order"):
        limit = point.reference_rows.get(temperature=20).value
        panel = point.position.code if point.position else ""
        data = PointData(point.code, point.quantity, float(point.nominal), float(limit), panel)
        points[point.variant.code].append(data)
    return points


def _tables() -> Tables:
    """Limits and ceiling of every point by revision, oldest first."""
    found: Tables = {}
    tables = StoredTable.objects.select_related("revision", "point__variant").prefetch_related("rows")
    ceilings = {
        (step.revision_id, step.point_id): to_canonical(step.ceiling, step.unit)
        for step in Step.objects.exclude(ceiling=None)
    }
    for table in tables.order_by("revision__effective_on"):
        key = (table.point.variant.code, table.point.code)
        ceiling = ceilings.get((table.revision_id, table.point_id))
        found.setdefault(key, []).append((table.revision.effective_on, limit_table(table), ceiling))
    return found


def _measuring_steps(master: Master) -> dict[tuple[str, str], list[Step]]:
    """What the newest revision of each sparse task measures at a point, in order."""
    steps: dict[tuple[str, str], list[Step]] = {}
    for variant, code in master.sparse:
        revision = master.revision(variant, code)
        found = revision.steps.filter(point__isnull=False).select_related("point").order_by("number")
        steps[variant, code] = list(found)
    return steps


@transaction.atomic
def generate(*, seed: int = SEED, today: dt.date, password: str | None = None) -> Truth:
    """Load the whole demo into an empty, migrated database and hand back the truth behind it.

    All or nothing, about 1,400 events. Due points are counted and drift is scored as on `today`.
    """
    master = load_master(today=today, password=password)
    fleet = load_aircraft(master)
    stories, truth = plan_history(master, fleet, seed)
    for story in stories:
        write_utilisation(master, story.aircraft, story.use)
    plans = [plan for story in stories for plan in story.events]
    writer = Writer(master, {aircraft.registration: aircraft for aircraft in fleet})
    writer.write(plans)
    record_causes(master, plans, writer.event)
    report_faulty_gauge(master)
    load_deferrals(master, fleet)
    load_waiting(master)
    load_stock(master, fleet)
    load_programme(master, fleet)
    learn_use_season(today=today)
    refresh_due(today=today)
    loaded = dt.datetime.combine(today, dt.time(0), tzinfo=dt.UTC)
    refresh_drift(now=loaded)
    refresh_report_card(now=loaded)
    load_shared(master)
    plan_and_accept(master)
    return truth
