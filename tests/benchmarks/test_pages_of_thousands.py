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
from fleet.models import Operator
from tests.benchmarks import raw_questions
from tests.benchmarks.fleet_of_thousands import cpu, generate, trouble
from tests.world import build_world

pytestmark = [pytest.mark.benchmark, pytest.mark.django_db]
AIRCRAFT, TASKS, ROUNDS = 5000, 25, 9
MAY_BE, LAST_MAY_BE, QUERIES_MAY_BE = 1.5, 2, 6
Ask = Callable[[], list[list[tuple]]]


def day() -> dict[str, str]:
    today, operator = timezone.localdate(), Operator.current()
    soon, stale = (dt.timedelta(days=n) for n in (operator.due_soon_days, operator.stale_use_days))
    days = {"today": today, "soon": today + soon, "stale": today - stale}
    return {name: on.isoformat() for name, on in days.items()}


def asked(statement: str, given: dict[str, str]) -> list[tuple]:
    """In raw SQL, without Django in between."""
    return connection.connection.cursor().execute(statement, given).fetchall()


def due() -> list[list[tuple]]:
    given = day()
    return [asked(statement, given) for statement in raw_questions.DUE]


def icing() -> list[list[tuple]]:
    """The numbers and the first aircraft, then the words of these."""
    given = day()
    first = asked(raw_questions.FIRST, given)
    return [asked(raw_questions.NUMBERS, given), first, *words_of(first, given)]


def gravest() -> list[list[tuple]]:
    """The order, and the aircraft that stand first in it with their words."""
    given = day()
    ranks = asked(raw_questions.RANKS, given)
    of_these = f"{raw_questions.AIRCRAFT} WHERE a.id IN ({keys_of(ranks)})"
    return [ranks, asked(of_these, given), *words_of(ranks, given)]


def words_of(first: list[tuple], given: dict[str, str]) -> list[list[tuple]]:
    statements = (*raw_questions.words_of(keys_of(first)), raw_questions.FINDINGS)
    return [asked(statement, given) for statement in statements]


def keys_of(rows: list[tuple]) -> str:
    return ", ".join(str(row[0]) for row in rows)


def bare(template: str, context: dict) -> Callable[[HttpRequest], HttpResponse]:
    """The same page from what the real one had prepared."""

    @needs("checks.view_records")
    def view(request: HttpRequest) -> HttpResponse:
        return render(request, template, context)

    return view


def test_pages_against_their_floors(
    client_of: Callable[..., Client], auditor, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = build_world()
    generate(world, aircraft=AIRCRAFT, tasks=TASKS)
    refresh_due()
    trouble(world)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    browse = client_of(auditor)
    status = (icing_view.icing_status, "checks/icing_status.html")
    hold_to_the_pages(browse)  # first: measuring puts the bare pages in their place
    found = [
        measured(browse, monkeypatch, *asking)
        for asking in (
            ("due_list", "/due/", due_view.due_list, "checks/due_list.html", due),
            ("icing_status", "/icing/", *status, icing),
            ("icing_status", "/icing/?sort=status", *status, gravest),
        )
    ]
    for first, last, queries in found:
        assert first <= MAY_BE and last <= LAST_MAY_BE and queries <= QUERIES_MAY_BE


def hold_to_the_pages(browse: Client) -> None:
    """The raw questions answer what the pages do: numbers, order and as many reasons."""
    shown = browse.get("/due/").context
    counts, rows = due()
    assert {state: n for state, n, _ in counts} == {
        one.state: one.number for one in shown["counts"] if one.number
    }
    assert [row[0] for row in rows[:50]] == [row.point_id for row in shown["rows"]]
    for path, (head, aircraft, late, others, _) in (("/icing/", icing()), ("/icing/?sort=status", gravest())):
        shown = browse.get(path).context
        keys = [line["aircraft"].pk for line in shown["lines"]]
        assert [row[0] for row in (head if len(head) > 1 else aircraft)][:100] == keys
        number, against = head[0] if len(head) == 1 else (head[0][-1], head[0][-2])
        assert (number, against) == (shown["number"], shown["against"])
        told = [reason.text for line in shown["lines"] for reason in line["reasons"]]
        own = sum("utilisation" in text or "stored" in text for text in told)
        assert len(told) - own == sum(row[0] in keys for row in [*late, *others])


def measured(
    browse: Client,
    monkeypatch: pytest.MonkeyPatch,
    name: str,
    path: str,
    real: Callable,
    template: str,
    raw: Ask,
) -> tuple[float, float, int]:
    """Ratio of the first page to its floor, of the last to the first, and queries beyond the bare page."""
    view = {"now": real}
    # The address keeps its own route; what answers it is switched between goes.
    route = next(one for one in urls.urlpatterns if one.name == name)
    monkeypatch.setattr(route, "callback", lambda request: view["now"](request))
    context = prepared(browse, path)
    floor = bare(template, context)

    def get(address: str, answer: Callable) -> None:
        view["now"] = answer
        assert browse.get(address).status_code == 200

    def once() -> dict[str, float]:
        return {
            "first": cpu(lambda: get(path, real)),
            "last": cpu(lambda: get(f"{path}{'&' if '?' in path else '?'}page=last", real)),
            "bare": cpu(lambda: get(path, floor)),
            "raw": cpu(raw),
        }

    once()  # warms templates and caches
    goes = [once() for _ in range(ROUNDS)]
    took = {part: statistics.median(go[part] for go in goes) * 1e3 for part in goes[0]}
    queries = counted(lambda: get(path, real)) - counted(lambda: get(path, floor))
    first, last = took["first"] / (took["bare"] + took["raw"]), took["last"] / took["first"]
    print(
        f"\n{name} {path}, {AIRCRAFT} aircraft x {TASKS} tasks; CPU ms, median of {ROUNDS}: first page "
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
