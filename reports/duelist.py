"""What the due list says as a file: one list of columns, one row-maker, for all kinds of file.

The rows are those of the page (checks.selectors.due), so that all three say the same.
"""

import datetime as dt
from dataclasses import dataclass

from django.http import QueryDict
from django.utils import timezone

from checks.filters import DueFilter
from checks.selectors.due import DueRow, StateCount, count_states, due_points, due_rows
from fleet.models import Operator
from reports.tables.csv import Cell

COLUMNS = (
    "Aircraft",
    "Base",
    "Task",
    "State",
    "Due on",
    "Date is",
    "Governed by",
    "Days left",
    "Hours left",
    "Landings left",
    "Tolerance until",
    "That is",
    "Last done",
    "Owner",
)


@dataclass(frozen=True)
class DueList:
    """A due list to be written: what was asked for in words, as of which day, and the rows."""

    operator: str
    is_demo: bool
    words: str
    today: dt.date
    counted_at: dt.datetime | None
    counts: tuple[StateCount, ...]
    rows: tuple[DueRow, ...]


def due_list(query: QueryDict, *, today: dt.date | None = None) -> DueList | None:
    """All rows that the page shows for the same query, over all its pages; None: not understood.

    Three queries, and one for each of the filters base, task and owner.
    """
    today = today or timezone.localdate()
    operator = Operator.current()
    points = due_points(today=today, soon_days=operator.due_soon_days)
    found = DueFilter(query, queryset=points, today=today)
    if not found.is_valid():
        return None
    listed = found.listed
    counts, counted_at = count_states(listed)
    rows = tuple(due_rows(listed, today=today))
    return DueList(operator.name, operator.is_demo, found.words, today, counted_at, tuple(counts), rows)


def cells(row: DueRow) -> tuple[Cell, ...]:
    """The cells of one row, in the order of COLUMNS, as values."""
    return (
        row.registration,
        row.base,
        row.task,
        row.state,
        row.due_on,
        row.known,
        row.governing,
        row.days_left,
        row.hours_left,
        row.landings_left,
        row.latest_on,
        row.latest_known,
        row.done_on,
        row.owner,
    )
