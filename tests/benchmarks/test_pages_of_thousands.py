"""What the first and the last page of the due list and of the icing status cost at 5,000 aircraft x 25 tasks.

Floor of a first page: the same question in raw SQL (how many in each state and the rows of the page; how many
aircraft have something recorded against, the aircraft of the page and what is recorded), plus the bare page:
the same frame, middleware and template with the rows prepared. CPU time of this process, in one run.
Run: .venv/bin/python -m pytest -m benchmark tests/benchmarks/test_pages_of_thousands.py -s
"""

import datetime as dt
import statistics
from collections.abc import Callable

import pytest
from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from checks import urls
from checks.services.due import refresh_due
from checks.views import due as due_view
from checks.views import icing as icing_view
from checks.views.access import needs
from tests.benchmarks.fleet_of_thousands import cpu, generate
from tests.world import build_world

pytestmark = [pytest.mark.benchmark, pytest.mark.django_db]
AIRCRAFT, TASKS, ROUNDS = 5000, 25, 9
MAY_BE, LAST_MAY_BE, QUERIES_MAY_BE = 1.5, 2, 6
STATE = """
    CASE WHEN a.state = 'stored' THEN 'stored'
         WHEN d.latest_on < :today OR d.hours_left < -c.tolerance_hours
              OR d.landings_left < -c.tolerance_landings THEN 'overdue'
         WHEN d.calendar_on < :today OR d.hours_left < 0 OR d.landings_left < 0 THEN 'in tolerance'
         WHEN d.untold THEN 'no record'
         WHEN d.due_on <= :soon THEN 'due soon' ELSE 'planned' END"""
DUE_FROM = """
    FROM checks_duepoint d JOIN fleet_aircraft a ON a.id = d.aircraft_id
    JOIN checks_recurringcheck c ON c.id = d.check_due_id"""
DUE_SQL = (
    f"SELECT {STATE} AS state, COUNT(*), MIN(d.computed_at) {DUE_FROM} WHERE a.state <> 'left' GROUP BY 1",
    f"""SELECT d.id, a.registration, a.id, b.name, c.title, d.due_on, d.estimated, d.governing, d.hours_left,
        d.landings_left, {STATE}, d.done_on, d.last_event_id, d.latest_on, d.calendar_on, d.season_on,
        c.tolerance_days {DUE_FROM} JOIN fleet_base b ON b.id = a.base_id WHERE d.id IN
        (SELECT id FROM checks_duepoint WHERE aircraft_id IN
         (SELECT id FROM fleet_aircraft WHERE state <> 'left') ORDER BY due_on, id LIMIT 51)
        ORDER BY d.due_on, d.id""",
)
SPEAKS = f"""
    SELECT d.aircraft_id AS of_id, SUM(({STATE}) IN ('overdue', 'no record')) AS n {DUE_FROM} GROUP BY 1"""
ICING_SQL = (
    f"""SELECT COUNT(*), SUM(a.state = 'stored' OR s.n > 0
        OR NOT EXISTS (SELECT 1 FROM fleet_utilisationentry u WHERE u.aircraft_id = a.id AND u."on" >= :stale)
        OR EXISTS (SELECT 1 FROM checks_defect f WHERE f.aircraft_id = a.id
                   AND NOT EXISTS (SELECT 1 FROM checks_rectification r WHERE r.defect_id = f.id))
        OR EXISTS (SELECT 1 FROM checks_checkevent e WHERE e.aircraft_id = a.id AND e.outcome = 'not valid'))
        FROM fleet_aircraft a LEFT JOIN ({SPEAKS}) s ON s.of_id = a.id WHERE a.state <> 'left'""",
    """SELECT a.id, a.registration, a.state, b.name FROM fleet_aircraft a
       JOIN fleet_base b ON b.id = a.base_id WHERE a.state <> 'left' ORDER BY a.registration LIMIT 101""",
    f"""SELECT d.id, d.aircraft_id, {STATE} AS state, d.due_on, c.title {DUE_FROM} WHERE d.aircraft_id IN
        (SELECT id FROM fleet_aircraft WHERE state <> 'left' ORDER BY registration LIMIT 100)
        AND ({STATE}) IN ('overdue', 'no record')""",
)


def asked(statements: tuple[str, ...]) -> Callable[[], None]:
    """The question in raw SQL, without Django in between."""
    today = timezone.localdate()
    day = {"today": today.isoformat(), "soon": (today + dt.timedelta(days=30)).isoformat()}
    day["stale"] = (today - dt.timedelta(days=10)).isoformat()

    def ask() -> None:
        cursor = connection.connection.cursor()
        for statement in statements:
            assert cursor.execute(statement, day).fetchall()

    return ask


def bare(template: str, context: dict) -> Callable[[HttpRequest], HttpResponse]:
    """The same page from what the real one had prepared."""

    @needs("checks.view_records")
    def view(request: HttpRequest) -> HttpResponse:
        return render(request, template, context)

    return view


def test_pages_against_their_floors(
    client_of: Callable[..., Client], auditor, monkeypatch: pytest.MonkeyPatch
) -> None:
    generate(build_world(), aircraft=AIRCRAFT, tasks=TASKS)
    refresh_due()
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    browse = client_of(auditor)
    found = {
        name: measured(browse, monkeypatch, name, path, real, template, sql)
        for name, path, real, template, sql in (
            ("due_list", "/due/", due_view.due_list, "checks/due_list.html", DUE_SQL),
            ("icing_status", "/icing/", icing_view.icing_status, "checks/icing_status.html", ICING_SQL),
        )
    }
    for first, last, queries in found.values():
        assert first <= MAY_BE and last <= LAST_MAY_BE and queries <= QUERIES_MAY_BE


def measured(
    browse: Client,
    monkeypatch: pytest.MonkeyPatch,
    name: str,
    path: str,
    real: Callable,
    template: str,
    sql: tuple[str, ...],
) -> tuple[float, float, int]:
    """Ratio of the first page to its floor, of the last to the first, and queries beyond the bare page."""
    view = {"now": real}
    # The address keeps its own route; what answers it is switched between goes.
    route = next(one for one in urls.urlpatterns if one.name == name)
    monkeypatch.setattr(route, "callback", lambda request: view["now"](request))
    context = prepared(browse, path)
    floor = bare(template, context)
    raw = asked(sql)

    def get(address: str, answer: Callable) -> None:
        view["now"] = answer
        assert browse.get(address).status_code == 200

    def once() -> dict[str, float]:
        return {
            "first": cpu(lambda: get(path, real)),
            "last": cpu(lambda: get(f"{path}?page=last", real)),
            "bare": cpu(lambda: get(path, floor)),
            "raw": cpu(raw),
        }

    once()  # warms templates and caches
    goes = [once() for _ in range(ROUNDS)]
    took = {part: statistics.median(go[part] for go in goes) * 1e3 for part in goes[0]}
    queries = counted(lambda: get(path, real)) - counted(lambda: get(path, floor))
    first, last = took["first"] / (took["bare"] + took["raw"]), took["last"] / took["first"]
    print(
        f"\n{name}, {AIRCRAFT} aircraft x {TASKS} tasks; CPU ms, median of {ROUNDS}: first page "
        f"{took['first']:.0f}; bare page {took['bare']:.0f} + the question in raw SQL {took['raw']:.0f}; "
        f"ratio {first:.2f} (may be {MAY_BE}); last page {took['last']:.0f}, {last:.2f} of the first (may be "
        f"{LAST_MAY_BE}); {queries} queries beyond the bare page (may be {QUERIES_MAY_BE})"
    )
    return first, last, queries


def prepared(browse: Client, path: str) -> dict:
    """What the page shows, the choices of its filter included, read before the clock runs."""
    shown = browse.get(path).context
    context = {name: shown[name] for name in shown.keys()}  # noqa: SIM118, it has no other way in
    for field in context["filter"].form.fields.values():
        if hasattr(field, "choices"):
            field.widget.choices = list(field.choices)
    kept = ("request", "user", "perms", "messages", "csrf_token", "nav_items", "user_role", "demo_banner")
    return {name: value for name, value in context.items() if name not in kept}


def counted(work: Callable[[], None]) -> int:
    with CaptureQueriesContext(connection) as caught:
        work()
    return len(caught)
