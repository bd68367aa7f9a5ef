"""A blank worksheet on paper, portrait A4: filled in by hand, entered afterwards on the page of the check."""

from collections.abc import Iterator

from reportlab.platypus import CondPageBreak, Flowable, Table, TableStyle

from reports.pdf import fonts
from reports.pdf.frame import Document, Furniture, facts, paragraph
from reports.pdf.qr import Code
from reports.pdf.record_parts import section, stamp
from reports.pdf.text import NAME, SMALL
from reports.pdf.worksheet_parts import heed, lines_to_fill, places, put_back, ruled, task
from reports.worksheet import REMARK_LINES, Heed, Worksheet

QR = 96.0
RULES = (
    "This sheet is an aid for the work, and no record. The approved maintenance manual, the operator's "
    "programme and local regulations rule; the sheet gives no permission and releases no aircraft.",
    "Write what you read, as you read it. Strike out what is wrong so that it stays readable, and put your "
    "initials beside it. Limits are read at the measured temperature of the fluid.",
)
AFTERWARDS = (
    "Enter this sheet afterwards at a desk or on a phone: the code at its head opens the check; give it the "
    "date of work that stands on this sheet. The outcome is worked out there, and the people who sign here "
    "sign there too. Keep the sheet where the operator's programme keeps originals."
)
#: what is left of a sheet under its head and above its foot, less a little
MOST_KEPT = 700.0


def worksheet_pdf(sheet: Worksheet) -> bytes:
    """The sheet as a PDF."""
    document = Document(
        Furniture(
            operator=sheet.operator,
            title=f"Worksheet: {sheet.title}",
            generated=sheet.made_at,
            aircraft=f"{sheet.registration}, revision {sheet.revision}",
            is_demo=sheet.is_demo,
            subject=f"{sheet.title}, revision {sheet.revision}, {sheet.registration}",
        )
    )
    width = document.width
    if sheet.stamp:
        document.add(stamp(sheet.stamp, width, "heed" if sheet.in_force else "act"))
    document.add(_head(sheet, width), *(paragraph(words, SMALL) for words in RULES))
    document.add(lines_to_fill(sheet.work, width, 4))
    document.heading("Steps", 2)
    for parts in _kept(sheet, width):
        document.add(*parts)
    if sheet.put_back:
        section(document, "Put back", [put_back(sheet.put_back, width)])
    if sheet.conditions:
        section(document, "Conditions that move a reading", [lines_to_fill(sheet.conditions, width, 3)])
    section(document, "Remarks", [ruled(REMARK_LINES, width)])
    section(document, "Signatures on this sheet", [places(sheet.places, width), paragraph(AFTERWARDS, SMALL)])
    return document.render()


def _head(sheet: Worksheet, width: float) -> Flowable:
    """What it is a sheet of, and the code that leads to the check."""
    left = width - QR - 8
    pairs = [
        ("Aircraft", sheet.registration),
        ("Aircraft serial number", sheet.serial_number),
        ("Type", sheet.aircraft_type),
        ("Variant", sheet.variant),
        ("Base", sheet.base),
        ("Task", sheet.title),
        ("Procedure", f"{sheet.procedure_code}, revision {sheet.revision}"),
        ("Revision effective", f"{sheet.effective_on:%d %b %Y}"),
        ("JASC code", sheet.jasc),
    ]
    said = [facts(pairs, left, 3), paragraph(f"Source: {sheet.source_reference}.")]
    if sheet.extent:
        said.append(paragraph(f"Extent of the inspection: {sheet.extent}"))
    made = Table([[said, [Code(sheet.link, QR), paragraph(f"{sheet.link_words}.", NAME)]]], [left, QR + 8])
    edges = [("LEFTPADDING", (0, 0), (-1, -1), 0), ("TOPPADDING", (0, 0), (-1, -1), 0)]
    plain = ("FONTNAME", (0, 0), (-1, -1), fonts.PLAIN)
    made.setStyle(TableStyle([plain, ("VALIGN", (0, 0), (-1, -1), "TOP"), *edges]))
    return made


def _kept(sheet: Worksheet, width: float) -> Iterator[list[Flowable]]:
    """The steps; warnings and cautions stand on the sheet of the step that they guard."""
    guards: list[Flowable] = []
    for block in sheet.blocks:
        if isinstance(block, Heed):
            guards.append(heed(block, width))
            continue
        parts = [*guards, *task(block, width)]
        needed = sum(_height(part, width) for part in parts)
        yield [CondPageBreak(min(needed, MOST_KEPT)), *parts]
        guards = []
    if guards:
        yield guards


def _height(part: Flowable, width: float) -> float:
    return part.wrap(width, 100_000)[1] + part.getSpaceBefore() + part.getSpaceAfter()
