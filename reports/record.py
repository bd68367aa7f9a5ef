"""What the record of a signed check says, read from what was stored when it was signed.

14 CFR 43.9(a) asks for a description of the work or a reference to data, the date of completion, the name of
who did it where another approves, and signature, certificate number and kind; 43.11(a) for type and brief
extent, date and total time, and who approved or disapproved. Whether a record satisfies the rules that apply,
the operator decides.
"""

import datetime as dt
from dataclasses import dataclass

from django.utils import timezone

from checks.charts.scene import Scene
from checks.models import CheckEvent, Defect, Record, Signature
from checks.selectors.check_story import attempts, state_word
from checks.selectors.questions import QuestionTold, questions_told
from checks.services.verify import verify_event
from checks.views.check_panel import readings_of, series_scenes
from fleet.models import Operator
from reports import record_entry as entry
from reports import record_lines as lines
from reports import record_story as story
from reports.record_cause import CauseTold, cause_told
from reports.record_evidence import HandLine, PhotoLine, file_faults, hand_lines, photo_lines


@dataclass(frozen=True)
class CheckRecord:
    """One signed check as it stood at `made_at`; `zone` is that of the base where the work was done.

    faults: where what is stored differs from what was signed. attempts: empty where there was only this one.
    """

    operator: str
    is_demo: bool
    made_at: dt.datetime
    zone: dt.tzinfo
    key: str
    record: str
    state: str
    work: entry.Work
    conclusion: entry.Conclusion
    inspection: entry.Inspection | None
    paper: entry.Paper | None
    superseded_by: entry.Change | None
    supersedes: entry.Change | None
    correction_under_way: bool
    points: tuple[lines.PointLine, ...]
    series: tuple[Scene, ...]
    readings: tuple[lines.ReadingLine, ...]
    questions: tuple[QuestionTold, ...]
    instruments: tuple[lines.InstrumentLine, ...]
    seen: tuple[lines.Seen, ...]
    followed: tuple[lines.Followed, ...]
    conditions: tuple[tuple[str, str], ...]
    decision: story.Act | None
    defects: tuple[story.DefectStory, ...]
    attempts: tuple[story.Attempt, ...]
    signatures: tuple[story.SignaturePlace, ...]
    links: tuple[story.Link, ...]
    cause: CauseTold | None
    photos: tuple[PhotoLine, ...]
    hands: tuple[HandLine, ...]
    faults: tuple[str, ...]

    @property
    def as_signed(self) -> bool:
        """Whether rows and links are still those that were signed."""
        return not self.faults and all(link.holds for link in self.links)

    @property
    def reasons_first(self) -> bool:
        """Whether the reasons stand with the outcome; if not, they follow the readings."""
        if not self.readings:
            return True
        if self.inspection and self.inspection.discrepancies:
            return False
        return self.conclusion.outcome != CheckEvent.Outcome.WITHIN


_RELATED = (
    "aircraft__variant",
    "base",
    "revision__procedure",
    "fluid_batch",
    "import_batch__imported_by",
    "import_batch__accepted_by",
    "decision__record__chain__aircraft",
    "decision__decided_by",
    "supersedes",
    "superseded_by",
)


def check_record(key: object, *, now: dt.datetime | None = None) -> CheckRecord | None:
    """The record of a signed check; None for a draft, which is no record.

    A fixed number of queries, however many rows and attempts. CheckEvent.DoesNotExist where there is none.
    """
    event = CheckEvent.objects.select_related(*_RELATED).get(pk=key)
    if event.is_draft:
        return None
    now, operator, readings = now or timezone.now(), Operator.current(), readings_of(event)
    found = event.signatures.select_related("record__chain__aircraft").order_by("signed_at", "pk")
    given = {one.act: one for one in found}
    first = next(given[act].record for act in story.FIRST if act in given)
    told, defects = attempts(event), story.defects_of(event)
    known = story.references({*(one.pk for one in told), *story.retests(defects)})
    points, seen = lines.point_lines(event, readings), lines.seen_lines(event)
    later = entry.superseded_by(event, known)
    release, photos = given.get(Signature.Act.RELEASED), photo_lines(event)
    return CheckRecord(
        operator=operator.name,
        is_demo=operator.is_demo,
        made_at=now.astimezone(event.base.zone),
        zone=event.base.zone,
        key=str(event.pk),
        record=first.reference,
        state=state_word(
            event,
            inspected=Signature.Act.INSPECTED in given,
            released=release is not None,
            corrected=later is not None,
        ),
        work=entry.work_of(event, first),
        conclusion=entry.conclusion_of(event, points),
        inspection=entry.inspection_of(event, operator, release, points, seen),
        paper=entry.paper_of(event),
        superseded_by=later,
        supersedes=entry.supersedes(event, known),
        correction_under_way=later is None and hasattr(event, "superseded_by"),
        points=points,
        series=tuple(series_scenes(readings, {one.pk: one.mark for one in readings})),
        readings=lines.reading_lines(readings),
        questions=questions_told(event),
        instruments=lines.instrument_lines(readings),
        seen=seen,
        followed=lines.followed_lines(event),
        conditions=lines.conditions(event, bool(readings)),
        decision=story.decision_of(event),
        defects=story.defect_stories(event, defects, known, now, operator),
        attempts=story.attempt_lines(event, told, known) if len(told) > 1 else (),
        signatures=story.signature_places(event, given, later.record if later else ""),
        links=tuple(story.link(one) for one in _links(event, given, defects)),
        cause=cause_told(event),
        photos=photos,
        hands=hand_lines(event),
        faults=(*verify_event(event), *file_faults(photos)),
    )


def _links(event: CheckEvent, given: dict[str, Signature], defects: list[Defect]) -> list[Record]:
    """The links that the sheet names: its signatures, its decision, and what was done about its defects."""
    found = [one.record for one in given.values()]
    if hasattr(event, "decision"):
        found.append(event.decision.record)
    for defect in defects:
        for one in defect.deferrals.all():
            found.append(one.record)
            found += [asked.record for asked in one.extensions.all()]
            found += [asked.answer.record for asked in one.extensions.all() if hasattr(asked, "answer")]
        if hasattr(defect, "rectification"):
            found.append(defect.rectification.record)
    return sorted(found, key=lambda record: record.number)
