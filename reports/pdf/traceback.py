"""The traceback of an instrument out of calibration on paper: the finding, then every check touched."""

import datetime as dt

from reports.pdf.frame import Document, Furniture, Shown, cautions, facts, table
from reports.traceback import InstrumentTraceback, TracedCheck

# Column, width in points; the widths fill a landscape A4 sheet.
COLUMNS = (
    ("Date of work", 60),
    ("Record", 70),
    ("Aircraft", 46),
    ("Base", 62),
    ("Task", 96),
    ("As recorded", 68),
    ("Error corrected", 72),
    ("Read with it", 168),
    ("Doubt", 115),
)
NOTES = (
    "It lists every signed check that holds a reading of the instrument, from its last good calibration to "
    "the day of the finding, both days included, as the records stand when this sheet is made: a draft "
    "signed later joins it. Signed values never change.",
    "“Error corrected” is the outcome that the same readings would have had with the error taken away from "
    "every value of this instrument, at the temperature, limits and baseline of that check. The error is "
    "taken as one difference over the whole range, and as there from the first day; where it grew, earlier "
    "checks were nearer to the truth than this shows.",
    "A check is in doubt until an authorised person has reviewed it in writing. This sheet releases no "
    "aircraft: the approved maintenance manual, the operator's programme and the regulations rule.",
)


def traceback_pdf(told: InstrumentTraceback) -> bytes:
    """The traceback as a PDF, landscape A4."""
    document = Document(
        Furniture(
            operator=told.operator,
            title=f"Traceback of {told.instrument_code}, out of calibration",
            generated=told.made_at,
            record=told.record,
            is_demo=told.is_demo,
            wide=True,
        )
    )
    document.add(facts(_finding(told), document.width, 4))
    if told.replaced_by:
        said = f"A later finding took the place of this one: record {told.replaced_by}."
        document.add(*cautions([("caution", said)], document.width))
    document.heading("Checks that it touched")
    document.text(_summary(told))
    names, widths = zip(*COLUMNS, strict=True)
    if told.checks:
        document.add(table(names, [_line(check) for check in told.checks], widths))
    for note in NOTES:
        document.text(note, small=True)
    return document.render()


def _finding(told: InstrumentTraceback) -> list[tuple[str, object]]:
    good = f"{_day(told.begins_on)}, certificate {told.certificate}" if told.begins_on else "none on file"
    return [
        ("Instrument", told.instrument),
        ("Serial number", told.serial_number),
        ("Owner", told.owner),
        ("Day found", _day(told.found_on)),
        ("Error found", told.error),
        ("Last good calibration", good),
        ("Reported by", told.reported),
        ("How it was found", told.text),
    ]


def _summary(told: InstrumentTraceback) -> str:
    number = len(told.checks)
    if not number:
        return "No signed check holds a reading of it from that time."
    changed = f"{told.would_change} would have had another outcome"
    if not told.error_known:
        changed = "what they would have been can't be told, since the error is not known"
    drafts = f" Drafts with its readings, not signed yet: {told.drafts}." if told.drafts else ""
    return f"Touched: {number}; {changed}; {told.in_doubt} in doubt, not reviewed yet.{drafts}"


def _line(check: TracedCheck) -> tuple[str | Shown, ...]:
    note = "would change" if check.would_change and check.corrected != "not known" else ""
    return (
        _day(check.on),
        check.record,
        check.registration,
        check.base,
        check.task,
        Shown(check.recorded) if check.recorded else "",
        Shown(check.corrected, note),
        "\n".join(check.shifts),
        Shown(check.state, check.review),
    )


def _day(on: dt.date) -> str:
    return f"{on.day} {on:%b %Y}"
