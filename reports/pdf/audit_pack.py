"""The overview of an audit pack on paper: what is in it, what it proves, and the state of the aircraft."""

import datetime as dt

from reports.audit_pack import AuditPack
from reports.pdf.frame import Document, Furniture, Shown, facts, paragraph, table
from reports.pdf.frame import moment as moment_words
from reports.pdf.record_parts import stamp
from reports.pdf.text import SMALL

AS_RECORDED = (
    "This pack says what is recorded. It releases no aircraft and gives no permission. The approved "
    "maintenance manual, the operator's programme and local regulations rule; a licensed person releases. "
    "Whether the records satisfy the rules that apply, the operator and the authority decide."
)
HOW = (
    "Run verify.py with the manifest's hash, which whoever made the pack tells by another way. That hash "
    "can't stand on this sheet: the manifest holds the hash of this sheet."
)


def overview_pdf(pack: AuditPack, faults: tuple[str, ...] = ()) -> bytes:
    """The overview, portrait A4. faults: what did not hold when the pack was made."""
    aircraft = pack.aircraft
    document = Document(
        Furniture(
            operator=pack.operator,
            title=f"Audit pack, {pack.span.words}",
            generated=pack.made_at,
            aircraft=aircraft.registration,
            is_demo=pack.is_demo,
        )
    )
    width = document.width
    if faults:
        words = "; ".join(faults[:20]) + (f"; and {len(faults) - 20} more" if len(faults) > 20 else "")
        document.add(stamp(f"WHAT IS STORED IS NOT WHAT WAS SIGNED: {words}", width))
    document.heading("What this is")
    number, hash_ = pack.head
    document.add(
        facts(
            [
                ("Aircraft", aircraft.registration),
                ("Serial number", aircraft.serial_number),
                ("Type and variant", f"{aircraft.type_name}, {aircraft.variant.name}"),
                ("Period", pack.span.words),
                ("Made by", pack.made_by),
                ("Newest link of the chain", str(number)),
            ],
            width,
        ),
        paragraph(f"Hash of that link: {hash_}"),
        *(paragraph(words) for words in pack.proves),
        paragraph(HOW, SMALL),
        paragraph(AS_RECORDED, SMALL),
    )
    _checks(document, pack)
    _state(document, pack)
    _beside(document, pack)
    _links(document, pack)
    return document.render()


def _checks(document: Document, pack: AuditPack) -> None:
    document.heading("Signed checks of the period")
    rows = [
        (_day(one.on), one.task, one.revision, Shown(one.outcome), Shown(one.state), one.file)
        for one in pack.checks
    ]
    head = ("Date of work", "Task", "Revision", "Outcome", "State", "Sheet")
    document.add(table(head, rows, (62, 130, 46, 92, 92, 89)))


def _state(document: Document, pack: AuditPack) -> None:
    document.heading("Recurring checks on the day the pack was made")
    rows = [
        (
            one["task"],
            Shown(one["state"]),
            _day(one["done_on"]),
            _day(one["due_on"]),
            one["governed_by"] or "–",
        )
        for one in pack.tables["recurring_checks"]
    ]
    head = ("Task", "State", "Last done", "Due", "Governed by")
    document.add(table(head, rows, (201, 100, 70, 70, 70)))
    document.heading("Defects open, or of the period")
    rows = []
    for one in pack.tables["defects"]:
        newest = one["deferrals"][-1] if one["deferrals"] else None
        under = f"{newest['mel_item']}, category {newest['category']}, {newest['holds']}" if newest else "–"
        closed = f"{_moment(one['rectified_at'])} by {one['rectified_by']}" if one["rectified_at"] else "–"
        rows.append((_moment(one["raised_at"]), Shown(one["state"]), one["description"], under, closed))
    head = ("Raised", "State", "Defect", "Deferred under", "Rectified")
    document.add(table(head, rows, (72, 84, 155, 110, 90)))


def _beside(document: Document, pack: AuditPack) -> None:
    document.heading("Parts fitted in the period")
    rows = [
        (
            one["position"],
            one["part_number"],
            one["serial_number"],
            _day(one["fitted_on"]),
            _day(one["removed_on"]),
            one["removal_reason"] or "–",
        )
        for one in pack.tables["fitments"]
    ]
    head = ("Position", "Part number", "Serial number", "Fitted", "Removed", "Reason")
    document.add(table(head, rows, (110, 90, 90, 62, 62, 97)))
    document.heading("Instruments read, with the calibrations relied on")
    rows = [
        (
            one["code"],
            one["kind"],
            one["serial_number"] or "–",
            _day(held["calibrated_on"]) if held else "none needed",
            _day(held["due_on"]) if held else "–",
            held["certificate_number"] if held else "–",
            (held["file"] if held else "") or "–",
        )
        for one in pack.tables["instruments"]
        for held in one["calibrations"] or [None]
    ]
    head = ("Instrument", "Kind", "Serial number", "Calibrated", "Due", "Certificate", "File")
    document.add(table(head, rows, (66, 76, 68, 62, 62, 87, 90)))
    document.heading("Files kept")
    rows = [(one.file, one.what, one.of) for one in pack.files]
    document.add(table(("File", "What", "Of"), rows, (121, 200, 190)))


def _links(document: Document, pack: AuditPack) -> None:
    document.heading("Links of the aircraft's chain")
    rows = [
        (str(one.number), one.act, moment_words(one.at), "yes" if one.in_period else "no", one.hash)
        for one in pack.links
    ]
    head = ("Link", "Act", "Written", "Of the period", "Hash")
    document.add(table(head, rows, (34, 80, 100, 40, 257), (0,)))


def _day(day: dt.date | None) -> str:
    return f"{day.day} {day:%b %Y}" if day else "–"


def _moment(at: dt.datetime) -> str:
    return _day(at.astimezone(dt.UTC).date())
