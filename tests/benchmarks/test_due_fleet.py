"""What counting every due point of 5,000 aircraft x 25 tasks anew costs, beside reading these rows.

Peer: one query that reads all due points with what a list shows of them into pandas. Counting: from what is
read to the fields of every due point, without writing. Reading the records it counts from is shown apart, and
so is the loop over single aircraft and tasks. CPU time of this process.
Run: .venv/bin/python -m pytest -m benchmark tests/benchmarks/test_due_fleet.py -s
"""

import statistics

import pandas as pd
import pytest
from django.db import connection
from django.utils import timezone

from checks.models import DuePoint, UseSeason
from checks.selectors.due_counting import count_due
from checks.selectors.due_fleet import counted, read
from checks.services.due import refresh_due, stored_values
from fleet.models import Aircraft
from tests.benchmarks.fleet_of_thousands import cpu, generate
from tests.benchmarks.test_duelist import READ_ALL
from tests.world import build_world

pytestmark = [pytest.mark.benchmark, pytest.mark.django_db]
AIRCRAFT, TASKS, ROUNDS, LOOPED, MAY_BE = 5000, 25, 5, 100, 3


def test_counting_the_fleet_against_reading_it() -> None:
    generate(build_world(), aircraft=AIRCRAFT, tasks=TASKS)
    for kind in UseSeason.Kind:
        told = {"years": 4, "aircraft": AIRCRAFT, "kept": 0.9, "learned_at": timezone.now()}
        UseSeason.objects.create(kind=kind, months=[800, 1200] * 6, **told)
    today = timezone.localdate()
    wrote = cpu(lambda: refresh_due(today=today))
    assert DuePoint.objects.count() >= AIRCRAFT * TASKS
    known = read(today=today)
    some = list(Aircraft.objects.order_by("-pk").values_list("pk", flat=True)[:LOOPED])

    def once() -> dict[str, float]:
        return {
            "pandas": cpu(lambda: pd.read_sql_query(READ_ALL, connection.connection)),
            "arrays": cpu(lambda: counted(known, today=today)),
            "fields": cpu(lambda: list(stored_values(counted(known, today=today), today))),
            "records": cpu(lambda: read(today=today)),
            "loop": cpu(lambda: count_due(aircraft_ids=some, today=today)) * AIRCRAFT / LOOPED,
        }

    goes = [once() for _ in range(ROUNDS)]
    took = {name: statistics.median(go[name] for go in goes) for name in goes[0]}
    ratios = {name: took[name] / took["pandas"] for name in took}
    print(
        f"\n{AIRCRAFT} aircraft x {TASKS} tasks; CPU s, median of {ROUNDS}: one query into pandas "
        f"{took['pandas']:.2f}; counting in arrays {took['arrays']:.2f} (ratio {ratios['arrays']:.2f}), to "
        f"the fields of every point {took['fields']:.2f} (ratio {ratios['fields']:.2f}, may be {MAY_BE}); "
        f"reading the records it counts from {took['records']:.2f}, together ratio "
        f"{ratios['records'] + ratios['fields']:.2f}; written too, once {wrote:.1f}; the loop over single "
        f"aircraft and tasks, records read, {took['loop']:.1f} (ratio {ratios['loop']:.1f}, EXTRAPOLATED "
        f"from {LOOPED} aircraft)"
    )
    assert ratios["fields"] <= MAY_BE
