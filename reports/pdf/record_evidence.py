"""Small pictures of a check's photos, and its changes of hands, on paper."""

import io

from reportlab.platypus import Flowable, Image, Table, TableStyle

from reports.pdf import fonts
from reports.pdf.frame import Document, moment, paragraph, table
from reports.pdf.record_parts import section
from reports.pdf.text import NAME, SMALL
from reports.record import CheckRecord
from reports.record_evidence import PhotoLine

ACROSS, HIGHEST = 3, 120.0  # pictures in a row; points
ABOUT_PHOTOS = (
    "Pictures were made smaller, and their metadata removed, when they were kept; the digest (SHA-256) of "
    "each file as kept is part of the signed record. Times of taking are those of the camera's own clock."
)
_WHOLE = ((0, 0), (-1, -1))
_LOOK = TableStyle(
    [("VALIGN", *_WHOLE, "TOP"), ("LEFTPADDING", *_WHOLE, 0), ("FONTNAME", *_WHOLE, fonts.PLAIN)]
)


def add_evidence(document: Document, record: CheckRecord) -> None:
    """Two sections; each is left out where there is nothing to show."""
    if record.photos:
        rows = [_row(record, document.width, first) for first in range(0, len(record.photos), ACROSS)]
        parts = [*rows, paragraph(ABOUT_PHOTOS, SMALL)]
        section(document, "Photos and paper originals", parts, keep=len(rows) < 3)
    if record.hands:
        section(document, "Changes of hands while it was a draft", [_hands(record)], keep=False)


def _row(record: CheckRecord, width: float, first: int) -> Flowable:
    share = width / ACROSS
    cells: list = [_cell(record, one, share - 10) for one in record.photos[first : first + ACROSS]]
    made = Table([cells + [""] * (ACROSS - len(cells))], colWidths=[share] * ACROSS)
    made.setStyle(_LOOK)
    return made


def _cell(record: CheckRecord, one: PhotoLine, width: float) -> list[Flowable]:
    made: list[Flowable] = []
    if one.picture:
        shown = Image(io.BytesIO(one.picture), hAlign="LEFT")
        shown._restrictSize(width, HIGHEST)
        made.append(shown)
    words = f"{one.number}. {one.where}, {one.kind}{f': {one.remark}' if one.remark else ''}"
    made.append(paragraph(words, SMALL))
    if one.fault:
        made.append(paragraph(f"NOT SHOWN: {one.fault}", SMALL))
    taken = f"Taken {one.taken}. " if one.taken else ""
    added = moment(one.added_at.astimezone(record.zone))
    made.append(paragraph(f"{taken}Added {added} by {one.added_by}", NAME))
    made.append(paragraph(f"{one.sha256[:32]} {one.sha256[32:]}", NAME))
    return made


def _hands(record: CheckRecord) -> Flowable:
    rows = [
        (
            one.way.capitalize(),
            f"{one.giver}\nto {one.receiver}",
            moment(one.at.astimezone(record.zone)),
            moment(one.accepted_at.astimezone(record.zone)) if one.accepted_at else "not accepted",
            "\n".join([*filter(None, [one.note]), *one.open_steps]) or "nothing",
        )
        for one in record.hands
    ]
    return table(("How", "From and to", "When", "Accepted", "Note; open then"), rows, (58, 95, 74, 74, 210))
