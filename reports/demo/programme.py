"""The demo's programme beyond what its checks recur by: a bulletin, a task by modification, a revision that
waits. Invented, like everything of the demo."""

import datetime as dt

from checks.models import IntervalRevision, RecurringCheck
from checks.services.programme import TERMS
from fleet.models import Aircraft, Embodiment, Modification
from reports.demo.master import Master

TYPED_BY = "controller1"
BULLETIN, LETTER = "Invented bulletin 30-07", "Invented letter 30-21"
WAITS_SINCE_DAYS = 1


def load_programme(master: Master, fleet: list[Aircraft]) -> None:
    """Tasks for every way of counting stand in fixtures/demo/procedures.json; these come on top of them."""
    forward = [one for one in fleet if one.variant.code == "forward"]
    modification = Modification.objects.create(code="30-21", title="Second drain in the line to the tail")
    Embodiment.objects.bulk_create(
        Embodiment(
            aircraft=aircraft,
            modification=modification,
            embodied_on=master.days_ago(300 + 10 * n),
            reference=f"Invented work order {410 + n}",
        )
        for n, aircraft in enumerate(forward[:4])
    )
    _by_modification(master, modification)
    _bulletin(master)
    _waiting(master)


def _by_modification(master: Master, modification: Modification) -> None:
    """A check of the drain, where it is embodied, first due by a letter and then on a grid of months."""
    RecurringCheck.objects.create(
        procedure=master.procedures["forward", "strainer-filter"],
        title="Second drain: strainer",
        reference=LETTER,
        interval_months=12,
        to_month_end=True,
        tolerance_days=20,
        counting=RecurringCheck.Counting.KEEP_GRID,
        first_due=RecurringCheck.First.GIVEN,
        first_on=master.today + dt.timedelta(days=50),
        counts_from=master.today - dt.timedelta(days=20),
        modification=modification,
        fit=RecurringCheck.Fit.EMBODIED,
        work_hours="0.5",
    )


def _bulletin(master: Master) -> None:
    """A one-time look at every panel's line, by a date or hours, whichever first."""
    RecurringCheck.objects.create(
        procedure=master.procedures["underfloor", "wet-out"],
        title="Bulletin: wet-out after the hard winter",
        once=True,
        reference=BULLETIN,
        first_due=RecurringCheck.First.GIVEN,
        first_on=master.today + dt.timedelta(days=75),
        counts_from=master.today - dt.timedelta(days=10),
        work_hours="1",
    )


def _waiting(master: Master) -> None:
    """A shorter interval for the skin of the panels, typed yesterday: some aircraft would be overdue."""
    task = master.recurring["underfloor", "panel-skin"]
    terms = {name: getattr(task, name) for name in TERMS}
    IntervalRevision.objects.create(
        **terms | {"interval_days": 90, "tolerance_days": 10, "reference": "Invented programme item 30-14"},
        check_revised=task,
        number=1,
        reason="Invented: after two winters dirt sets in the holes well before 120 days.",
        typed_by=master.people[TYPED_BY],
        typed_at=dt.datetime.combine(master.days_ago(WAITS_SINCE_DAYS), dt.time(10), tzinfo=dt.UTC),
    )
