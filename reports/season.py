"""The season plan of a base as a file: its rows, one for each aircraft and task."""

from collections.abc import Iterator

from checks.selectors.season import Plan
from reports.tables.csv import Cell

COLUMNS = (
    "Base",
    "Season date",
    "Aircraft",
    "State",
    "Wanted by",
    "Task",
    "Done on",
    "First day that counts",
    "Due on",
    "Hours of work",
    "Litres of fluid",
    "Days dry",
    "Deactivated on",
    "Comes on",
)


def csv_rows(plan: Plan) -> Iterator[tuple[Cell, ...]]:
    """One row for each task of each aircraft; one without a task where nothing is due before a season."""
    for line in (*plan.lines, *plan.stored):
        stored = line in plan.stored
        first = (plan.base.name, plan.date, line.aircraft.registration)
        first = (*first, "stored" if stored else line.state(plan.today), line.by)
        last = (line.dry.days, line.down.on if line.down else None, line.comes.on if line.comes else None)
        if not line.tasks:
            yield (*first, "", None, None, None, None, None, *last)
        for task in line.tasks:
            dates = (task.done_on, task.opens, task.due_on)
            yield (*first, task.title, *dates, task.hours, task.litres, *last)
