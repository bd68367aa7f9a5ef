"""What an entry rests on, on paper: instruments, readings, charts, looks, cautions, the story, the chain."""

import datetime as dt

from django.utils.text import capfirst
from reportlab.platypus import Flowable

from fleet import shapes
from reports.pdf.frame import Document, Shown, facts, moment, paragraph, table
from reports.pdf.record_cause import likely_cause
from reports.pdf.record_evidence import add_evidence
from reports.pdf.record_outline import outlines
from reports.pdf.record_parts import charts, section
from reports.pdf.text import SMALL
from reports.record import CheckRecord
from reports.record_lines import Seen
from reports.record_story import Act, Attempt, day

NO_CALIBRATION = "not needed"
CHAIN = (
    "Each link is hashed (SHA-256) together with the link before it, so that a change of anything signed "
    "shows. The stored record is the original: this sheet shows how it stood when the sheet was made, and no "
    "signature or correction that came later."
)
RULES = (
    "Set out to hold what 14 CFR 43.9(a) asks of an entry, and 43.11(a) of an inspection. Whether it "
    "satisfies the rules that apply here, the operator decides."
)
AGREES = (
    "Checked while this sheet was made: the stored rows are those that were signed, and the text of each "
    "link is the one that was hashed."
)
DIFFERS = "Checked while this sheet was made: NOT stored as signed; see the top of the first sheet."


def add_rest(document: Document, record: CheckRecord) -> None:
    """Everything after the signatures, in the order of the work."""
    width = document.width
    if record.instruments:
        section(document, "Instruments", [_instruments(record)])
    elif record.readings:
        section(document, "Instruments", [paragraph("None is named.")])
    if record.readings:
        section(document, "Readings", _readings(record), keep=len(record.readings) < 30)
    if record.questions:
        section(document, "Asked about before signing", _questions(record))
    _add_charts(document, record)
    if record.conditions:
        section(document, "Conditions that move a reading", [facts(record.conditions, width, 4)])
    _add_seen(document, record)
    add_evidence(document, record)
    if record.followed:
        section(document, "Warnings, cautions and confirmations followed", [_followed(record)], keep=False)
    if record.cause:
        parts = likely_cause(record.cause, lambda at: moment(at.astimezone(record.zone)))
        section(document, "Likely cause", parts, keep=False)
    if record.attempts:
        section(document, "The story of this occasion", [_attempts(record), *_drawn_elsewhere(record, width)])
    section(document, "Record chain", _chain(record))


def _instruments(record: CheckRecord) -> Flowable:
    rows = [
        (
            f"{one.code}, {one.kind}" + (f"\nof {one.owner}" if one.owner != record.operator else ""),
            one.serial_number or "–",
            one.scale,
            one.used_for,
            day(one.calibrated_on) or "–",
            day(one.due_on) or NO_CALIBRATION,
            "\n".join(filter(None, (one.certificate_number, one.laboratory))) or "–",
        )
        for one in record.instruments
    ]
    names = (
        "Instrument",
        "Serial number",
        "Range and accuracy",
        "Read",
        "Calibrated",
        "Calibration due",
        "Certificate",
    )
    return table(names, rows, (78, 84, 86, 54, 56, 56, 97))


def _readings(record: CheckRecord) -> list[Flowable]:
    rows = [
        (str(one.step), one.what, one.instrument, one.remark, one.elapsed, one.typed, one.canonical)
        for one in record.readings
    ]
    names = ("Step", "What", "Instrument", "Remark", "Since pump on", "As typed", "Canonical")
    grid = table(names, rows, (30, 140, 62, 79, 72, 62, 66), (4, 5, 6))
    if record.reasons_first or not record.conclusion.reasons:
        return [grid]
    return [grid, paragraph(f"Reasons of the outcome: {'; '.join(record.conclusion.reasons)}.", SMALL)]


def _questions(record: CheckRecord) -> list[Flowable]:
    """Why each reading was asked about, and the answer: it decides nothing and stays on record."""
    found = []
    for one in record.questions:
        asked = f"{capfirst(one.asked)}. " if one.asked else ""
        reason = f" Reason: {one.reason}" if one.reason else ""
        found.append(paragraph(f"Step {one.step}, {one.of}: {asked}{capfirst(one.answer)}.{reason}", SMALL))
    return found


def _add_charts(document: Document, record: CheckRecord) -> None:
    """The series and each value against the limits that it was judged by, with where those come from."""
    scenes = [*record.series, *(one.scene for one in record.points if one.scene)]
    if not scenes:
        return
    rows = charts(scenes, document.width)
    sources: dict[str, list[str]] = {}
    for one in record.points:
        sources.setdefault(one.limits_from, []).append(one.name)
    words = "; ".join(f"{', '.join(names)}: {source}" for source, names in sources.items())
    source_words = paragraph(f"Limits used – {words}.", SMALL)
    section(document, "Series and limits used", [*rows, source_words], keep=False)


def _add_seen(document: Document, record: CheckRecord) -> None:
    if not record.seen:
        return
    cells = [(str(one.step), one.where, _seen(one)) for one in record.seen]
    cells += [("", "", "")] * (len(cells) % 2)
    rows = [left + right for left, right in zip(cells[::2], cells[1::2], strict=True)]
    asked = {one.step: one.asked for one in record.seen}
    words = [paragraph(f"Step {step}: {text}", SMALL) for step, text in asked.items()]
    grid = table(("Step", "Where", "Seen") * 2, rows, (30, 98, 127.5) * 2)
    drawn = outlines(((one.where, one.remark) for one in record.seen if not one.satisfactory), document.width)
    section(document, "Looked at", [*words, grid, *drawn])


def _seen(one: Seen) -> Shown:
    note = f"– {one.remark}" if one.remark else ""
    return Shown("satisfactory" if one.satisfactory else "not satisfactory", note)


def _followed(record: CheckRecord) -> Flowable:
    rows = []
    for one in record.followed:
        back = f"\nPut back: {one.put_back}" if one.put_back else ""
        kind = Shown(one.kind) if one.kind in ("warning", "caution") else "Confirmed"
        rows.append((str(one.step), kind, one.text + back))
    return table(("Step", "Kind", "Acknowledged by who did the work"), rows, (30, 76, 405))


def _attempts(record: CheckRecord) -> Flowable:
    """Attempts and what people did about their defects, in order of time."""
    lines = [(one.at, _attempt(one)) for one in record.attempts]
    lines += [(act.at, _act(act, record.zone)) for defect in record.defects for act in defect.acts]
    rows = [row for _, row in sorted(lines, key=lambda line: line[0])]
    names = ("Record", "Date", "What was done", "Outcome", "What it found, and how it belongs here")
    return table(names, rows, (66, 58, 104, 68, 215))


def _drawn_elsewhere(record: CheckRecord, width: float) -> list[Flowable]:
    """What the other attempts marked on panels; this one's drawings stand above."""
    others = (one for one in record.attempts if not one.is_this)
    looks = ((f"{one.task}, {day(one.on)}, {place}", remark) for one in others for place, remark in one.looks)
    return outlines(looks, width)


def _attempt(one: Attempt) -> tuple[str | Shown, ...]:
    said = () if one.is_this else one.said  # its own findings stand above
    return (
        one.record or "not signed",
        day(one.on),
        one.task + (" (this record)" if one.is_this else ""),
        Shown(one.outcome) if one.outcome in shapes.STATES else one.outcome,
        " – ".join(filter(None, (*said, one.note))) or "–",
    )


def _act(act: Act, zone: dt.tzinfo) -> tuple[str | Shown, ...]:
    state = {"Deferred": "deferred", "Rectified": "closed"}.get(act.title)
    shown = Shown(state) if state else ""
    return act.record, day(act.at.astimezone(zone).date()), f"Defect {act.title.lower()}", shown, act.by


def _chain(record: CheckRecord) -> list[Flowable]:
    rows = [
        (
            f"{one.record}\n{one.act}",
            moment(one.at.astimezone(record.zone)),
            one.hash,
            one.previous_hash,
        )
        for one in record.links
    ]
    grid = table(("Record", "Written", "Hash", "Hash of the link before"), rows, (77, 74, 180, 180))
    checked = AGREES if record.as_signed else DIFFERS
    words = f"Key of the check: {record.key}. {checked}"
    return [grid, paragraph(words, SMALL), paragraph(CHAIN, SMALL), paragraph(RULES, SMALL)]
