"""The due list on paper: the rows of the page, the filter that made them, and how dates are known."""

import datetime as dt
from decimal import Decimal

from django.utils import timezone

from checks.selectors.due import ABOUT, REACHED, DueRow
from fleet.templatetags.face import number
from reports.duelist import DueList
from reports.pdf.frame import Shown, list_document, table

# Column, width in points, whether digits stand to the right; the widths fill a landscape A4 sheet.
COLUMNS = (
    ("Aircraft", 48, False),
    ("Base", 66, False),
    ("Task", 104, False),
    ("State", 70, False),
    ("Due", 84, False),
    ("Governed by", 58, False),
    ("Days left", 38, True),
    ("Hours left", 48, True),
    ("Landings left", 46, True),
    ("Tolerance until", 84, False),
    ("Last done", 56, False),
    ("Owner", 54, False),
)
NOTES = (
    "Whichever occurs first of days, months, hours, landings and season date. "
    "No plan counts on the tolerance.",
    "“about”: an estimate from the recent use of the aircraft. “reached by”: the hours or landings "
    "recorded by that day have reached the due point. “no record”: nothing recorded to count from.",
    "This list says what is recorded and what follows from the operator's programme. "
    "It releases no aircraft.",
)


def due_list_pdf(listed: DueList) -> bytes:
    """The list as a PDF, landscape A4, as many sheets as it takes."""
    title = f"Due list as of {_day(listed.today)}"
    document = list_document(listed.operator, title, is_demo=listed.is_demo)
    document.text(f"Shown: {listed.words}. {len(listed.rows)} due points{_states(listed)}.")
    if listed.counted_at:
        moment = timezone.localtime(listed.counted_at)
        document.text(
            f"Counted from the records; the oldest count is of {_day(moment.date())} {moment:%H:%M %Z}.",
            small=True,
        )
    names, widths, right = zip(*COLUMNS, strict=True)
    numeric = [place for place, digits in enumerate(right) if digits]
    if listed.rows:
        document.add(table(names, [_line(row) for row in listed.rows], widths, numeric))
    else:
        document.text("Nothing on the due list fits this filter.")
    for note in NOTES:
        document.text(note, small=True)
    return document.render()


def _line(row: DueRow) -> tuple[str | Shown, ...]:
    return (
        row.registration,
        row.base,
        row.task,
        Shown(row.state),
        dated(row.due_on, row.known),
        row.governing,
        _number(row.days_left),
        _number(row.hours_left),
        _number(row.landings_left),
        dated(row.latest_on, row.latest_known),
        _day(row.done_on),
        row.owner,
    )


def dated(on: dt.date | None, known: str) -> str:
    """A date with how it is known, as the page words it, e.g. 1 Oct 2026 or about 3 Dec 2026."""
    words = {ABOUT: "about ", REACHED: "reached by "}
    return f"{words.get(known, '')}{_day(on)}"


def _day(on: dt.date | None) -> str:
    return f"{on.day} {on:%b %Y}" if on else ""


def _number(value: Decimal | int | None) -> str:
    return "" if value is None else number(value).replace("\u202f", "\u00a0")


def _states(listed: DueList) -> str:
    told = ", ".join(f"{count.number} {count.state}" for count in listed.counts if count.number)
    return f": {told}" if told else ""
