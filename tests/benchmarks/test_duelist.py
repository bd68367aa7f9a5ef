"""What the first page of the due list costs at 1,000 aircraft x 20 tasks, beside its floor in the same run.

Floor: reading all those rows once with one raw SQL query, plus the bare page (same frame and middleware, the
list's own template, 50 prepared rows and no query for them). CPU time of this process.
Run: .venv/bin/python -m pytest -m benchmark tests/benchmarks/test_duelist.py -s
"""

import datetime as dt
import random
import statistics
import time
from collections.abc import Callable

import pytest
from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.test import Client
from django.utils import timezone

from checks.filters import DueFilter
from checks.models import DuePoint, Procedure, RecurringCheck
from checks.selectors.due import STATES, StateCount, due_points, due_rows
from checks.views import due as due_view
from checks.views.access import needs
from checks.views.paging import KeyPage
from fleet.models import Aircraft
from tests.world import World, build_world

pytestmark = [pytest.mark.benchmark, pytest.mark.django_db]
AIRCRAFT, TASKS, ROUNDS = 1000, 20, 15
READ_ALL = """
    SELECT d.id, a.registration, a.id, b.name, p.title, d.due_on, d.estimated, d.governing, d.hours_left,
           d.landings_left, d.latest_on, d.done_on, d.last_event_id, d.calendar_on, d.season_on,
           c.tolerance_days, c.tolerance_hours, c.tolerance_landings, a.state
    FROM checks_duepoint d
    JOIN fleet_aircraft a ON a.id = d.aircraft_id
    JOIN fleet_base b ON b.id = a.base_id
    JOIN checks_recurringcheck c ON c.id = d.check_due_id
    JOIN checks_procedure p ON p.id = c.procedure_id
"""


def generate(world: World, rng: random.Random) -> None:
    """20 tasks on 1,000 aircraft over four bases: due points in every state, seeded."""
    variant = world.forward.variant
    checks = [world.master.recurring[key] for key in world.master.recurring if key[0] == variant.code]
    while len(checks) < TASKS:
        number = len(checks)
        procedure = Procedure.objects.create(variant=variant, code=f"task-{number}", title=f"Task {number}")
        check = RecurringCheck.objects.create(procedure=procedure, interval_days=90, tolerance_days=number)
        checks.append(check)
    bases = list(world.master.bases.values())
    fleet = Aircraft.objects.bulk_create(
        Aircraft(
            registration=f"Q-X{n:03}",
            serial_number=f"X{n}",
            type_name="Demo Single",
            variant=variant,
            base=bases[n % len(bases)],
            entered_service_on=dt.date(2018, 1, 1),
            state=Aircraft.State.STORED if n % 50 == 0 else Aircraft.State.IN_SERVICE,
        )
        for n in range(AIRCRAFT)
    )
    today, now = timezone.localdate(), timezone.now()
    points = [generated(one, check, today, now, rng) for one in fleet for check in checks]
    rng.shuffle(points)
    DuePoint.objects.bulk_create(points, batch_size=500)


def generated(
    aircraft: Aircraft, check: RecurringCheck, today: dt.date, now: dt.datetime, rng: random.Random
) -> DuePoint:
    if rng.random() < 0.02:
        return DuePoint(aircraft=aircraft, check_due=check, computed_at=now)
    due = today + dt.timedelta(days=rng.randrange(-40, 300))
    by_hours = rng.random() < 0.3
    return DuePoint(
        aircraft=aircraft,
        check_due=check,
        done_on=due - dt.timedelta(days=90),
        done_hours=2000,
        calendar_on=due,
        due_on=due,
        latest_on=due + dt.timedelta(days=check.tolerance_days),
        governing="hours" if by_hours else "calendar",
        estimated=by_hours,
        hours_left=rng.randrange(0, 400),
        landings_left=rng.randrange(0, 400),
        computed_at=now,
    )


def bare(context: dict) -> Callable[[HttpRequest], HttpResponse]:
    """The same page from prepared rows: middleware, access, frame and template as they are."""

    @needs("checks.view_records")
    def view(request: HttpRequest) -> HttpResponse:
        return render(request, "checks/due_list.html", context)

    return view


def prepared(query: dict) -> dict:
    """What the page shows, the choices of the filter included, read before the clock runs."""
    today = timezone.localdate()
    points = due_points(today=today, soon_days=30)
    found = DueFilter(query, queryset=points, today=today)
    for field in ("base", "task"):
        found.form.fields[field].widget.choices = list(found.form.fields[field].choices)
    page = KeyPage(range(due_view.PER_PAGE), before="", after="after-1", whole=AIRCRAFT * TASKS)
    return {
        "filter": found,
        "understood": True,
        "today": today,
        "counts": [StateCount(state, 999) for state in STATES],
        "chosen": "",
        "page_obj": page,
        "rows": list(due_rows(points[: due_view.PER_PAGE], today=today)),
    }


def cpu(work: Callable[[], object]) -> float:
    """CPU seconds of one go."""
    before = time.process_time()
    work()
    return time.process_time() - before


def read_all() -> None:
    with connection.cursor() as cursor:
        cursor.execute(READ_ALL)
        assert len(cursor.fetchall()) >= AIRCRAFT * TASKS


def test_first_page_against_its_floor(
    client_of: Callable[..., Client], auditor, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = build_world()
    generate(world, random.Random(11))
    browse = client_of(auditor)
    real = due_view.due_list
    view = {"now": real}
    # The address keeps its own route; what answers it is switched between goes.
    from checks import urls

    route = next(one for one in urls.urlpatterns if one.name == "due_list")
    monkeypatch.setattr(route, "callback", lambda request: view["now"](request))

    def ask() -> None:
        answer = browse.get("/due/")
        assert answer.status_code == 200 and answer.content.count(b"<tr") == due_view.PER_PAGE + 1

    def once() -> dict[str, float]:
        view["now"] = real
        page = cpu(ask)
        view["now"] = bare(context)
        return {"page": page, "bare": cpu(ask), "raw": cpu(read_all)}

    context = prepared({})
    ratios = {}
    for counted in (False, True):  # a database may plan worse, or better, once it has counted its rows
        if counted:
            with connection.cursor() as cursor:
                cursor.execute("ANALYZE")
        once()  # warms templates and caches
        goes = [once() for _ in range(ROUNDS)]
        page, plain, raw = (statistics.median(go[name] for go in goes) for name in ("page", "bare", "raw"))
        ratios[counted] = page / (plain + raw)
        print(
            f"\n{AIRCRAFT} aircraft x {TASKS} tasks, {'after' if counted else 'before'} ANALYZE; CPU ms, "
            f"median of {ROUNDS}: page {page * 1e3:.1f}; bare page {plain * 1e3:.1f} + raw read "
            f"{raw * 1e3:.1f} = {(plain + raw) * 1e3:.1f}; ratio {ratios[counted]:.2f} (may be 1.00)"
        )
    assert max(ratios.values()) <= 1
