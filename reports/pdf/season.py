"""The season plan of a base on paper: how it goes, what is left, and every aircraft with its tasks."""

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal

from django.utils import timezone

from checks.charts.wording import day_words
from checks.selectors.dormancy import WORDS
from checks.selectors.season import Line, Plan, Task
from checks.selectors.season_moves import Earlier
from checks.selectors.season_report import (
    FIRST_EXPIRY,
    PACE,
    SeasonReport,
    course,
    fluid_words,
    outlook_words,
)
from reports.pdf.chart import drawing
from reports.pdf.frame import Document, Furniture, Shown, cautions, facts, table

CHART_HEIGHT = 190
# Column, width in points, whether digits stand to the right; the widths fill a landscape A4 sheet.
COLUMNS = (
    ("Aircraft", 60, False),
    ("State", 78, False),
    ("Open", 190, False),
    ("Done", 210, False),
    ("Wanted by", 100, False),
    ("Days dry", 120, False),
)
RULE = (
    "The due list is the truth; this plan looks ahead. It releases no aircraft and gives no permission: it "
    "says what is recorded and what follows from the operator's programme."
)


def season_pdf(report: SeasonReport, operator: str, is_demo: bool) -> bytes:
    """The plan as a PDF, landscape A4."""
    plan = report.plan
    furniture = Furniture(
        operator=operator,
        title=f"Season plan of {plan.base}, {day_words(plan.date)}, as of {day_words(plan.today)}",
        generated=timezone.localtime(),
        is_demo=is_demo,
        wide=True,
    )
    document = Document(furniture)
    document.add(facts(list(_summary(report)), document.width, columns=4))
    document.text(outlook_words(plan))
    document.text(f"Fluid: {'short ' if report.fluid.cover.short else ''}{fluid_words(report)}")
    for one in report.earlier:
        document.add(*cautions([("caution", earlier_words(one))], document.width))
    if plan.lines:
        document.add(drawing(course(plan), document.width - 4, CHART_HEIGHT))
    document.text(PACE, small=True)
    document.heading("Aircraft")
    names, widths, right = zip(*COLUMNS, strict=True)
    rows = [_line(line, plan.today) for line in plan.open_first]
    document.add(table(names, rows, widths, [n for n, digits in enumerate(right) if digits]))
    for words in _beside(plan):
        document.text(words)
    for note in (FIRST_EXPIRY, WORDS, RULE):
        document.text(note, small=True)
    return document.render()


def earlier_words(one: Earlier) -> str:
    """A warning of a move as one sentence."""
    where = f"{one.aircraft} goes to {one.move.base} on {day_words(one.move.on)}, where "
    if one.running:
        told = f"the season runs since {day_words(one.season)}: its checks are wanted by the day of the move"
    else:
        told = f"the season date is {day_words(one.season)}"
    open_ = ", ".join(task.title for task in one.open_tasks)
    return f"{where}{told}, not {day_words(one.home)}. Open: {open_}."


def _summary(report: SeasonReport) -> Iterator[tuple[str, object]]:
    plan = report.plan
    yield "Complete", f"{plan.done} of {len(plan.lines)} aircraft"
    yield "Late", str(plan.late)
    yield "Work left", f"{_figure(plan.hours)} h"
    yield "Fluid needed until then", f"{_figure(report.fluid.cover.needed)} L"
    short = report.fluid.cover.short
    yield "Fluid", Shown("short" if short else "enough", f"by {short:f} L" if short else "")
    for item in report.items:
        if item.due or item.short:
            note = f"{item.pieces} on hand, {item.due} due"
            yield str(item.item), Shown("short" if item.short else "enough", note)
    if plan.unstated:
        yield "Hours or litres not stated", f"of {plan.unstated} open tasks"


def _line(line: Line, today: dt.date) -> tuple[str | Shown, ...]:
    comes = f", comes {day_words(line.comes.on)}" if line.comes else ""
    dry = Shown("no record")
    if line.dry.last:
        said = f"{line.dry.days} d, {line.dry.last.task}"
        dry = Shown("dry", said) if line.dry.prompt else said
    return (
        line.aircraft.registration,
        Shown(line.state(today), "deactivated" if line.down else ""),
        "\n".join(_open(task, today) for task in line.open_tasks),
        "\n".join(f"{task.title}, {day_words(task.done_on)}" for task in line.tasks if task.done_on),
        f"{day_words(line.by)}{comes}",
        dry,
    )


def _open(task: Task, today: dt.date) -> str:
    return f"{task.title}, from {day_words(task.opens)}" if task.opens > today else task.title


def _beside(plan: Plan) -> Iterator[str]:
    """Who is not counted, in words."""
    if plan.stored:
        yield f"Stored, not counted: {', '.join(str(line.aircraft) for line in plan.stored)}."
    for move in plan.leaving:
        yield f"Not counted: {move.aircraft} goes to {move.base} on {day_words(move.on)}."


def _figure(value: Decimal) -> str:
    return f"{value:f}"
