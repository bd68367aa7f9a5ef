"""The record of a signed check on paper: first the entry with its signatures, then what it rests on."""

import datetime as dt

from reportlab.platypus import Flowable

from reports.pdf.frame import Document, Furniture, Shown, facts, paragraph, table
from reports.pdf.frame import moment as moment_words
from reports.pdf.parts import StateLine
from reports.pdf.record_parts import listed, section, signatures, stamp, verdict
from reports.pdf.record_rest import add_rest
from reports.pdf.text import SMALL
from reports.record import CheckRecord
from reports.record_entry import Paper
from reports.record_lines import PointLine, hours_words
from reports.record_story import Act, day

DECIDES = (
    "An outcome is what the readings say against the limits of the revision. It releases no aircraft: an "
    "authorised person does, under a signature. The approved manual and the operator's programme rule."
)
# Column, width in points, whether digits stand to the right; together 511, the width of an A4 sheet.
POINTS = (
    ("Measuring point", 98, False),
    ("Outcome", 78, False),
    ("Value", 70, True),
    ("Fluid", 42, True),
    ("Limit", 98, True),
    ("Margin", 64, True),
    ("U (k = 2)", 61, True),
)


def record_pdf(record: CheckRecord) -> bytes:
    """The record as a PDF, portrait A4."""
    work = record.work
    furniture = Furniture(
        operator=record.operator,
        title=f"{'SUPERSEDED –' if record.superseded_by else 'Maintenance record:'} {work.task}",
        generated=record.made_at,
        aircraft=work.registration,
        record=record.record,
        is_demo=record.is_demo,
        subject=f"{work.task}, {work.registration}, {day(work.done_on)}",
    )
    document = Document(furniture)
    document.add(*_stamps(record, document.width))
    section(document, "Aircraft and work", _work(record, document.width))
    section(document, "Outcome", _outcome(record, document.width))
    section(document, "Inspection", _inspection(record, document.width))
    section(document, "Signatures", _signed(record, document.width))
    for title, parts in _found(record, document.width):
        section(document, title, parts)
    add_rest(document, record)
    return document.render()


def when(record: CheckRecord, at: dt.datetime) -> str:
    """A moment in the zone of the base where the work was done, with its distance from UTC."""
    return moment_words(at.astimezone(record.zone))


def _stamps(record: CheckRecord, width: float) -> list[Flowable]:
    made: list[Flowable] = []
    if not record.as_signed:
        words = "; ".join(record.faults) or "a link of the record chain is not the one that was hashed"
        made.append(stamp(f"DO NOT RELY ON THIS SHEET: not stored as it was signed. {words}", width))
    later, earlier = record.superseded_by, record.supersedes
    if later:
        made.append(stamp(f"SUPERSEDED BY record {later.record}, signed {when(record, later.at)}", width))
        made.append(paragraph(f"Reason for the correction: {later.reason}"))
    if earlier:
        words = f"CORRECTION: SUPERSEDES record {earlier.record}, signed {when(record, earlier.at)}"
        made += [stamp(words, width, "plain"), paragraph(f"Reason for the correction: {earlier.reason}")]
    if record.correction_under_way:
        made.append(paragraph("A correction is being written. Until it is signed, this record stands."))
    if record.paper:
        made.append(
            stamp("FROM PAPER RECORDS: a copy of an entry on paper, which stays the original", width, "heed")
        )
    return made


def _work(record: CheckRecord, width: float) -> list[Flowable]:
    work = record.work
    pairs: list[tuple[str, object]] = [
        ("Aircraft", work.registration),
        ("Aircraft serial number", work.serial_number),
        ("Type and variant", f"{work.aircraft_type}, {work.variant}"),
        ("Date of work (completed)", day(work.done_on)),
        ("Accepted" if record.paper else "Signed as performed", when(record, work.signed_at)),
        ("Where", work.base),
        ("Aircraft total time", hours_words(work.hours)),
        ("Total landings", "not recorded" if work.landings is None else str(work.landings)),
        ("State of the record", Shown(record.state)),
        ("Procedure", f"{work.task_code}, revision {work.revision}"),
        ("Revision effective", day(work.effective_on)),
        ("JASC code", work.jasc),
    ]
    done = (
        f"Work done: {work.task}, carried out by procedure {work.task_code}, "
        f"revision {work.revision}. Reference: {work.source_reference}."
    )
    made: list[Flowable] = [facts(pairs, width), paragraph(done)]
    if work.resets:
        made.append(paragraph(f"Series that start anew after this work: {', '.join(work.resets)}."))
    if work.remarks:
        made.append(paragraph(f"Remarks: {work.remarks}"))
    if record.paper:
        made.append(paragraph(_from_paper(record, record.paper)))
    return made


def _from_paper(record: CheckRecord, paper: Paper) -> str:
    return (
        f"Source: {paper.source}. Imported by {paper.imported_by} on {when(record, paper.imported_at)}; "
        f"accepted by {paper.accepted_by}. Readings alone were copied; that they had settled, how long was "
        "collected, what was seen and which cautions were followed, the paper answers for."
    )


def _outcome(record: CheckRecord, width: float) -> list[Flowable]:
    concluded = record.conclusion
    made: list[Flowable] = [verdict(concluded.outcome, width)]
    if concluded.next_action:
        made.append(paragraph(f"Next, as recorded when signed: {concluded.next_action}."))
    if record.points:
        names, widths, right = zip(*POINTS, strict=True)
        numeric = [place for place, digits in enumerate(right) if digits]
        made.append(table(names, [_point(one) for one in record.points], widths, numeric))
    made += _reasons(record)
    made += [paragraph(f"Blind spot of the method: {words}", SMALL) for words in concluded.blind_spots]
    return [*made, paragraph(DECIDES, SMALL)]


def _reasons(record: CheckRecord) -> list[Flowable]:
    """Where no table above and no list of discrepancies gives them; else they follow the readings."""
    return listed(record.conclusion.reasons) if record.reasons_first else []


def _point(one: PointLine) -> tuple[str | Shown, ...]:
    return (
        one.name,
        Shown(one.outcome, one.note),
        _with(one.value, one.unit),
        _with(one.temperature, "°C"),
        _with(one.limit, one.unit),
        _with(one.margin, one.unit),
        _with(one.uncertainty, one.unit),
    )


def _with(value: str, unit: str) -> str:
    return f"{value}\u00a0{unit}" if value else "–"


def _inspection(record: CheckRecord, width: float) -> list[Flowable]:
    one, work = record.inspection, record.work
    if one is None:
        return []
    pairs: list[tuple[str, object]] = [
        ("Type of inspection", work.task),
        ("Date", day(work.done_on)),
        ("Aircraft total time", hours_words(work.hours)),
    ]
    made: list[Flowable] = [facts(pairs, width), paragraph(f"Extent: {one.extent}"), paragraph(one.statement)]
    if not one.discrepancies:
        return [*made, paragraph("List of discrepancies: none recorded in this check.")]
    return [*made, paragraph("List of discrepancies:"), *listed(one.discrepancies)]


def _found(record: CheckRecord, width: float) -> list[tuple[str, list[Flowable]]]:
    """Decision and defects, each a section."""
    made = []
    if record.decision:
        made.append(("Decision in writing", _act(record, record.decision)))
    for defect in record.defects:
        raised = f"by {defect.raised_by}, {when(record, defect.raised_at)}."
        parts: list[Flowable] = [StateLine(Shown(defect.state), width)]
        if defect.found_here:
            parts.append(paragraph(f"Found by this check, as told above; raised {raised}"))
        else:
            parts += [paragraph(defect.description), paragraph(f"Raised {raised}", SMALL)]
        for act in defect.acts:
            parts += _act(record, act)
        made.append(("Defect", parts))
    return made


def _act(record: CheckRecord, act: Act) -> list[Flowable]:
    signed = paragraph(f"{act.by}, {when(record, act.at)}. Record {act.record}.", SMALL)
    return [paragraph(f"{act.title}: {act.text}"), signed]


def _signed(record: CheckRecord, width: float) -> list[Flowable]:
    made: list[Flowable] = [signatures(record.signatures, width, lambda at: when(record, at))]
    words = "A signature stands for the work recorded here alone, and for the day on which it was given."
    return [*made, paragraph(words, SMALL)]
