"""The sheet of a work package: read at the hangar door, signed when it changes hands."""

from reportlab.platypus import CondPageBreak, Flowable, Table, TableStyle

from reports.package import PackageSheet, SheetCheck
from reports.pdf import fonts
from reports.pdf.frame import Document, Furniture, Shown, facts, paragraph
from reports.pdf.qr import Code
from reports.pdf.text import BODY, INK, LINE, NAME, SMALL, WASHES
from reports.pdf.worksheet_parts import Tick, places
from reports.worksheet import Box, Place

CODE = 47.0
ROOM_TO_SIGN = 150.0
ADVICE = (
    "A plan, no instruction and no release. The due list rules where it differs. Each check follows its own "
    "procedure with the warnings and cautions there; the approved maintenance manual, the operator’s "
    "programme and local regulations rule, and an authorised person signs."
)
CLOSE = "Close and put back everything of this list once, after the last check that needs it."
HAND = (Box("Name"), Box("Date and time"), Box("Signature"))
HANDS = (Place("Handed over", True, HAND), Place("Taken over", True, HAND))
_WHOLE = ((0, 0), (-1, -1))


def package_pdf(sheet: PackageSheet) -> bytes:
    """The sheet as a PDF."""
    document = Document(
        Furniture(
            operator=sheet.operator,
            title=f"Work package {sheet.number}",
            generated=sheet.made_at,
            aircraft=f"{sheet.registration}, {sheet.on:%d %b %Y}",
            is_demo=sheet.is_demo,
            subject=f"Work package {sheet.number}, {sheet.registration}, {sheet.base}",
        )
    )
    width = document.width
    document.add(_head(sheet, width), paragraph(ADVICE, SMALL))
    for words in sheet.says:
        document.add(paragraph(f"Note: {words}"))
    document.heading("Checks, in this order", 2)
    document.add(_checks(sheet, width))
    document.heading("Made ready once", 2)
    document.add(*_ready(sheet, width))
    words = "; ".join(sheet.needed) or "none entered for these procedures, see the procedures themselves"
    document.add(paragraph(f"Parts and fluid needed: {words}."))
    document.add(CondPageBreak(ROOM_TO_SIGN))
    document.heading("Handover", 2)
    document.add(places(HANDS, width))
    return document.render()


def _head(sheet: PackageSheet, width: float) -> Flowable:
    left = width - CODE - 8
    pairs = [
        ("Aircraft", sheet.registration),
        ("Serial number", sheet.serial_number),
        ("Type", sheet.aircraft_type),
        ("Variant", sheet.variant),
        ("Base", sheet.base),
        ("Day", f"{sheet.on:%a %d %b %Y}"),
        ("Work", f"{sheet.hours:.1f} h, {sheet.saved:.0f} min saved by sharing"),
        ("State", Shown(sheet.state)),
        ("Accepted by", sheet.accepted),
    ]
    side = [Code(sheet.link, CODE), paragraph("opens this package", NAME)]
    made = Table([[facts(pairs, left, 3), side]], [left, CODE + 8])
    made.setStyle(_style(("VALIGN", *_WHOLE, "TOP"), ("LEFTPADDING", *_WHOLE, 0), ("TOPPADDING", *_WHOLE, 0)))
    return made


def _checks(sheet: PackageSheet, width: float) -> Flowable:
    head = [paragraph(name, NAME) for name in ("", "Check", "Due", "Hours", "On a phone", "Done, initials")]
    rows = [_row(one) for one in sheet.checks]
    widths = [20, width - 20 - 92 - 40 - CODE - 14 - 92, 92, 40, CODE + 14, 92]
    made = Table([head, *rows], widths, repeatRows=1, spaceAfter=6)
    made.setStyle(
        _style(
            ("GRID", *_WHOLE, 0.5, LINE),
            ("BACKGROUND", (0, 0), (-1, 0), WASHES["plain"]),
            ("VALIGN", *_WHOLE, "TOP"),
        )
    )
    return made


def _row(one: SheetCheck) -> list[object]:
    words: list[Flowable] = [paragraph(one.task, BODY)]
    words.append(paragraph(f"Procedure {one.code}, revision {one.revision}", NAME))
    words.append(paragraph(f"The code {one.link_words}.", NAME))
    if one.says:
        words.append(paragraph(one.says, SMALL))
    code = Code(one.link, CODE)
    return [
        paragraph(str(one.number)),
        words,
        paragraph(one.due),
        paragraph(f"{one.hours.normalize():f}"),
        code,
        Tick(),
    ]


def _ready(sheet: PackageSheet, width: float) -> list[Flowable]:
    if not sheet.ready:
        return [paragraph("No access or equipment is entered for these procedures.")]
    head = [paragraph(name, NAME) for name in ("Access or equipment", "For checks", "Ready", "Put back")]
    rows = [
        [paragraph(f"{name} ({kind})"), paragraph(checks), Tick(), Tick()]
        for name, kind, checks in sheet.ready
    ]
    made = Table([head, *rows], [width - 210, 90, 60, 60], repeatRows=1, spaceAfter=2)
    made.setStyle(
        _style(
            ("GRID", *_WHOLE, 0.5, LINE),
            ("BACKGROUND", (0, 0), (-1, 0), WASHES["plain"]),
            ("VALIGN", *_WHOLE, "MIDDLE"),
            ("TEXTCOLOR", *_WHOLE, INK),
        )
    )
    return [made, paragraph(CLOSE, SMALL)]


def _style(*rules: tuple) -> TableStyle:
    tight = [(side, *_WHOLE, 3) for side in ("LEFTPADDING", "RIGHTPADDING", "TOPPADDING", "BOTTOMPADDING")]
    return TableStyle([("FONTNAME", *_WHOLE, fonts.PLAIN), *tight, *rules])
