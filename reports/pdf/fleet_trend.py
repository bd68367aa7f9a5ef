"""The drift of the fleet on paper: summary, the points to act on with their charts, all others as a table."""

import datetime as dt
from collections.abc import Callable

from django.utils import timezone
from reportlab.platypus import Paragraph, Table, TableStyle

from checks.charts.scene import Scene
from checks.charts.wording import day_words
from checks.selectors.drift import DriftRow
from checks.selectors.drift_card import Period, words_of
from checks.selectors.drift_changes import SINCE_DAYS
from checks.selectors.drift_words import ADVICE, STRICTER, TOGETHER
from reports.fleet_trend import FleetTrend
from reports.pdf.chart import drawing
from reports.pdf.frame import (
    Document,
    Shown,
    cautions,
    facts,
    list_document,
    moment,
    paragraph,
    safe,
    table,
)
from reports.pdf.text import HEADINGS

CHART_HEIGHT = 132
# Column, width in points, whether digits stand to the right; the widths fill a landscape A4 sheet.
COLUMNS = (
    ("State", 84, False),
    ("Aircraft", 50, False),
    ("Base", 72, False),
    ("Point", 108, False),
    ("Chance to cross", 92, False),
    ("Crossing date", 118, False),
    ("Margin", 42, True),
    ("Readings", 54, True),
    ("What to do", 136, False),
)
# Column, what stands in it for one period.
YEARS: tuple[tuple[str, Callable[[Period], str]], ...] = (
    ("Foretold", lambda one: str(one.grade.forecasts)),
    ("Inside 9 of 10", lambda one: one.share or "–"),
    ("Crossings", lambda one: str(one.grade.crossings)),
    ("Warned before", lambda one: str(one.grade.warned_before)),
    ("First warnings", lambda one: str(one.grade.warnings)),
    ("False alarms", lambda one: str(one.grade.false_alarms)),
    ("Date off by", lambda one: one.date_error or "–"),
)
METHOD = (
    "Each reading is set against the frozen reference table of its point at the temperature of the fluid, "
    "which brings it to 20 °C. The whole fleet together teaches what temperature and each instrument add, "
    "and how far readings scatter. A purge or a new part begins a new life of the points that it resets.",
    "For each life about 130 or more courses (none, gradual, growing, sudden; each with many beginnings) "
    "are weighed by how well they explain its readings. The chance to cross is the weight of those "
    "courses that are over the limit on the day of the next check by the programme; where none is "
    "planned, within 540 days. The crossing date is their median, with the range that holds 8 of 10.",
    "States: over limit, the last reading is over the limit that was in force; closing, more likely than "
    "not to cross before the next check; drifting, very likely rising; steady; too few readings, one or "
    "none since the last reset.",
)


def fleet_trend_pdf(told: FleetTrend) -> bytes:
    """The report as a PDF, landscape A4."""
    title = f"Drift of the fleet as of {day_words(told.today)}"
    document = list_document(told.operator, title, is_demo=told.is_demo)
    number = len(told.acting) + len(told.others)
    document.text(f"Shown: {told.words}. {number} measuring points.")
    _fit(document, told)
    document.add(*cautions([("caution", ADVICE[0])], document.width))
    if told.together:
        said = f"{TOGETHER} {', '.join(told.together)}."
        document.add(*cautions([("caution", said)], document.width))
    if not number:
        document.text("No series fits this filter." if told.fit else "No drift was computed yet.")
    else:
        _summary(document, told)
        _changes(document, told)
        _accuracy(document, told)
        _acting(document, told)
        _others(document, told)
    _method(document)
    return document.render()


def _fit(document: Document, told: FleetTrend) -> None:
    if told.fit is None:
        return
    document.text(
        f"Fit {told.fit.number}, of {moment(timezone.localtime(told.fit.run_at))}, to {told.fit.readings} "
        f"readings, model {told.fit.model}. One reading scatters by {told.fit.one:.1%} about its series; the "
        f"readings of one check share {told.fit.check:.1%}. Checked against past forecasts, the intervals "
        f"were made {told.fit.widening:.2f} times as wide.",
        small=True,
    )
    if told.fit.stale:
        document.text("The nightly fit has not run lately: chances and dates may be out of step.")


def _summary(document: Document, told: FleetTrend) -> None:
    document.heading("The fleet by base and state")
    names = ("Base", *told.states)
    rows = [(base, *(str(number or "") for number in numbers)) for base, numbers in told.summary]
    widths = (130, *(92 for _ in told.states))
    document.add(table(names, rows, widths, range(1, len(names))))


def _changes(document: Document, told: FleetTrend) -> None:
    """What is another state than in the report of a month ago."""
    document.heading("What changed since the last report")
    document.text(f"{told.changes.words} The last report is taken to be {SINCE_DAYS} days old.")
    if told.changes.rows:
        names = ("Change", "Aircraft", "Point", "Now", "Then and now")
        rows = [
            (row.kind, row.registration, row.point, Shown(row.now), row.words) for row in told.changes.rows
        ]
        document.add(table(names, rows, (72, 66, 150, 110, document.width - 398)))


def _accuracy(document: Document, told: FleetTrend) -> None:
    """How the forecasts did, the last twelve months in words and every year as a row."""
    document.heading("Forecast accuracy so far")
    if told.card is None:
        document.text(words_of(None)[0])
        return
    document.text(f"In the last twelve months: {told.card.last.headline}")
    for words in told.card.last.words:
        document.text(words, small=True)
    names = ("Period", *(name for name, _ in YEARS))
    rows = [(period.name, *(text(period) for _, text in YEARS)) for period in told.card.periods]
    document.add(table(names, rows, (130, *(89 for _ in YEARS)), range(1, len(names))))
    document.text(
        "Each forecast was made anew from what was on record on the first day of the month after a reading, "
        "and held against the next reading of the same life. The whole fleet, whatever the filter.",
        small=True,
    )


def _acting(document: Document, told: FleetTrend) -> None:
    document.heading("Points to act on")
    if not told.acting:
        document.text("None: no point shown is over its limit, closing or drifting.")
        return
    if told.left_without_chart:
        document.text(
            f"The {len(told.acting)} most urgent with their charts; {told.left_without_chart} more stand "
            "first in the table that follows."
        )
    for row, scene in told.acting:
        document.add(_block(document, told, row, scene))


def _block(document: Document, told: FleetTrend, row: DriftRow, scene: Scene) -> Table:
    """One point: what is said of it on the left, its course on the right."""
    left, right = 262.0, document.width - 262.0
    said = [
        Paragraph(safe(f"{row.registration} · {row.point}"), HEADINGS[3]),
        facts(
            [
                ("State", Shown(row.state)),
                ("Next check", _next(row, told.today)),
                ("Chance to cross by then", row.chance or row.crossing),
                ("Margin when last read", row.margin),
                ("Crossing date", row.crossing),
                ("8 of 10 lie between", row.interval),
            ],
            left - 12,
            2,
        ),
        paragraph(f"{row.base}. Readings in this life: {_readings(row)}."),
        paragraph(f"What to do: {row.advice.what}. {_why(row)}"),
    ]
    made = Table([[said, drawing(scene, right - 8, CHART_HEIGHT)]], colWidths=[left, right], spaceAfter=6)
    made.setStyle(TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (0, -1), 0)]))
    return made


def _why(row: DriftRow) -> str:
    """What to know about it, and what is in store."""
    store = f"{row.part[0].upper()}{row.part[1:]}." if row.part else ""
    return " ".join(filter(None, (*row.advice.why, store)))


def _next(row: DriftRow, today: dt.date) -> str:
    if row.next_check_on is None:
        return "none planned"
    return day_words(row.next_check_on) + (", overdue" if row.next_check_on < today else "")


def _others(document: Document, told: FleetTrend) -> None:
    if not told.others:
        return
    document.heading("All others")
    names, widths, right = zip(*COLUMNS, strict=True)
    numeric = [place for place, digits in enumerate(right) if digits]
    document.add(table(names, [_line(row) for row in told.others], widths, numeric))


def _line(row: DriftRow) -> tuple[str | Shown, ...]:
    return (
        Shown(row.state),
        row.registration,
        row.base,
        row.point,
        row.chance,
        f"{row.crossing}, {row.interval}" if row.interval else row.crossing,
        row.margin,
        _readings(row),
        ". ".join(
            filter(None, (row.advice.what, row.part, *(words.rstrip(".") for words in row.advice.why)))
        ),
    )


def _readings(row: DriftRow) -> str:
    """How many, and how many of them are from paper records."""
    return f"{row.readings}, {row.imported} from paper" if row.imported else str(row.readings)


def _method(document: Document) -> None:
    document.heading("How it was reckoned, and what it can't say")
    for words in (*METHOD, *ADVICE[1:], STRICTER):
        document.text(words, small=True)
