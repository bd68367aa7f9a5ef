"""Who signed a check, what it belongs to, and its links of the record chain, as lines for paper."""

import datetime as dt
import json
import zoneinfo
from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from django.db.models import Prefetch

from checks.engine.canonical import record_hash
from checks.models import CheckEvent, Defect, Deferral, Extension, Record, Signature
from checks.selectors.events import occasion
from checks.selectors.story import told
from fleet.models import Operator

FIRST = (Signature.Act.PERFORMED, Signature.Act.ACCEPTED)


@dataclass(frozen=True)
class Signed:
    """One signature with everything written beside it."""

    act: str
    name: str
    certificate_kind: str
    certificate_number: str
    authorisation: str
    statement: str
    at: dt.datetime
    record: str


@dataclass(frozen=True)
class SignaturePlace:
    """One of the places for a signature: who signed there, or words that nobody did."""

    title: str
    signed: Signed | None
    unsigned: str


@dataclass(frozen=True)
class Attempt:
    """One check of the story: its record (empty: a draft), what it was, and how it stands to the others."""

    record: str
    on: dt.date
    task: str
    outcome: str
    note: str
    is_this: bool
    at: dt.datetime
    said: tuple[str, ...]
    looks: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Act:
    """Something that a person put on record: words, who with certificate where it was signed, when."""

    title: str
    text: str
    by: str
    at: dt.datetime
    record: str


@dataclass(frozen=True)
class DefectStory:
    """One defect of the occasion with its state today in the operator's time base for deferrals.

    found_here: raised by the signing of this very check, so that its description says what the outcome says.
    """

    state: str
    description: str
    found_here: bool
    raised_by: str
    raised_at: dt.datetime
    acts: tuple[Act, ...]


@dataclass(frozen=True)
class Link:
    """One link of the aircraft's record chain. holds: its text is still the one that was hashed."""

    act: str
    record: str
    at: dt.datetime
    hash: str
    previous_hash: str
    holds: bool


def signed(signature: Signature) -> Signed:
    """No query where its record and chain were fetched with it."""
    return Signed(
        act=signature.act,
        name=signature.name,
        certificate_kind=signature.certificate_kind,
        certificate_number=signature.certificate_number,
        authorisation=signature.authorisation,
        statement=signature.statement,
        at=signature.signed_at,
        record=signature.record.reference,
    )


def signature_places(
    event: CheckEvent, given: dict[str, Signature], superseded_by: str
) -> tuple[SignaturePlace, ...]:
    """Performed, inspected, released; what is not signed says so. No query."""
    imported = event.source == CheckEvent.Source.IMPORTED
    wants_second = event.revision.procedure.needs_inspection
    first = ("Accepted from paper records", Signature.Act.ACCEPTED, "Not signed.")
    if not imported:
        first = ("Performed", Signature.Act.PERFORMED, "Not signed.")
    second = "Not inspected: the second signature is missing." if wants_second else _NO_SECOND
    release = f"Not released. Superseded by record {superseded_by}." if superseded_by else "Not released."
    places = (
        first,
        ("Inspected", Signature.Act.INSPECTED, _ON_PAPER.format("an inspection") if imported else second),
        (
            "Released to service",
            Signature.Act.RELEASED,
            f"Not released here. {_ON_PAPER.format('a release')}" if imported else release,
        ),
    )
    return tuple(
        SignaturePlace(title, signed(given[act]) if act in given else None, unsigned)
        for title, act, unsigned in places
    )


_NO_SECOND = "No second signature is asked for by this task."
_ON_PAPER = "The paper record holds {} where there was one."


def references(keys: Iterable[UUID]) -> dict[UUID, str]:
    """Record numbers of signed checks by their keys. One query."""
    found = Signature.objects.filter(event__in=list(keys), act__in=FIRST)
    return {one.event_id: one.record.reference for one in found.select_related("record__chain__aircraft")}


def attempt_lines(
    event: CheckEvent, story: Iterable[CheckEvent], known: dict[UUID, str]
) -> tuple[Attempt, ...]:
    """Every attempt of the occasion, oldest first; story as selectors.check_story.attempts gives it.

    Eight queries, however many attempts.
    """
    said = {line.event.pk: line for line in told(story) if line.event}
    return tuple(
        Attempt(
            at=said[one.pk].at,
            said=said[one.pk].words,
            looks=said[one.pk].looks,
            record=known.get(one.pk, ""),
            on=one.work_date,
            task=one.revision.procedure.title,
            outcome="draft" if one.is_draft else one.outcome,
            note="; ".join(_relations(one, known)),
            is_this=one.pk == event.pk,
        )
        for one in story
    )


def _relations(one: CheckEvent, known: dict[UUID, str]) -> Iterable[str]:
    if one.follows_id:
        yield f"follows {known.get(one.follows_id, 'a draft')}"
    if one.supersedes_id:
        yield f"corrects {known.get(one.supersedes_id, 'an earlier entry')}"
    later = getattr(one, "superseded_by", None)
    if later and not later.is_draft:
        yield f"superseded by {known.get(later.pk, 'a later entry')}"
    if getattr(one, "released", False):
        yield "released"


def defects_of(event: CheckEvent) -> list[Defect]:
    """The defects that this check, or what led to it, raised, with what was done. Four queries."""
    keys = {event.pk, *occasion(event).before}
    deferrals = Deferral.objects.select_related("deferred_by", "use", "record__chain__aircraft")
    asked = Extension.objects.select_related(
        "asked_by", "record__chain__aircraft", "answer__answered_by", "answer__record__chain__aircraft"
    )
    deferrals = deferrals.prefetch_related(Prefetch("extensions", asked))
    related = ("raised_by", "rectification__rectified_by", "rectification__record__chain__aircraft")
    found = Defect.objects.filter(event__in=keys).select_related(*related)
    return list(found.prefetch_related(Prefetch("deferrals", deferrals)).order_by("raised_at"))


def retests(defects: Iterable[Defect]) -> set[UUID]:
    """Keys of the checks by which defects were closed. No query."""
    closed = (one.rectification.retest_id for one in defects if hasattr(one, "rectification"))
    return {key for key in closed if key}


def defect_stories(
    event: CheckEvent, defects: Iterable[Defect], known: dict[UUID, str], now: dt.datetime, operator: Operator
) -> tuple[DefectStory, ...]:
    """Defects as told on paper, with their state in the operator's time base for deferrals. No query."""
    today = now.astimezone(zoneinfo.ZoneInfo(operator.deferral_time_zone)).date()
    return tuple(
        DefectStory(
            state=defect.state(today),
            description=defect.description,
            found_here=defect.event_id == event.pk,
            raised_by=str(defect.raised_by),
            raised_at=defect.raised_at,
            acts=(*_deferrals(defect), *_rectified(defect, known)),
        )
        for defect in defects
    )


def _deferrals(defect: Defect) -> Iterable[Act]:
    for one in sorted(defect.deferrals.all(), key=lambda d: d.deferred_at):
        icing = " Holds against flight in icing." if one.limits_icing else ""
        yield Act(
            "Deferred",
            f"MEL item {one.mel_item}, category {one.get_category_display()}, recorded "
            f"{day(one.recorded_on)}, {one.first_told}.{icing} Limitation: {one.limitation}",
            str(one.deferred_by),
            one.deferred_at,
            one.record.reference,
        )
        for asked in one.extensions.all():
            yield from _extension(asked)


def _extension(asked: Extension) -> Iterable[Act]:
    yield Act(
        "Extension asked",
        f"To {day(asked.expires_on)}. {asked.justification}",
        str(asked.asked_by),
        asked.asked_at,
        asked.record.reference,
    )
    answer = getattr(asked, "answer", None)
    if answer:
        title = "Extension approved" if answer.approved else "Extension refused"
        yield Act(title, answer.text, str(answer.answered_by), answer.answered_at, answer.record.reference)


def _rectified(defect: Defect, known: dict[UUID, str]) -> Iterable[Act]:
    one = getattr(defect, "rectification", None)
    if one is None:
        return
    retest = f" Retest: record {known.get(one.retest_id, '–')}." if one.retest_id else ""
    by = signatory_words(one.record) or str(one.rectified_by)
    yield Act("Rectified", one.text + retest, by, one.rectified_at, one.record.reference)


def decision_of(event: CheckEvent) -> Act | None:
    """The written decision on a reading far under the baseline. No query where it was fetched with it."""
    one = getattr(event, "decision", None)
    if one is None:
        return None
    title = "Reading accepted in writing" if one.accepted else "Reading not accepted"
    by = signatory_words(one.record) or str(one.decided_by)
    return Act(title, one.text, by, one.decided_at, one.record.reference)


def signatory_words(record: Record) -> str:
    """Name, kind and number of certificate as they were written into the link; empty where none was."""
    who = json.loads(record.canonical).get("signature", {})
    if not who.get("name"):
        return ""
    return f"{who['name']}, {who['certificate_kind']} {who['certificate_number']}"


def link(record: Record) -> Link:
    """One link of the chain, its text hashed anew."""
    return Link(
        act=record.act,
        record=record.reference,
        at=record.written_at,
        hash=record.hash,
        previous_hash=record.previous_hash,
        holds=record_hash(record.previous_hash, record.canonical) == record.hash,
    )


def day(on: dt.date | None) -> str:
    """A date as 12 Mar 2025; empty for none."""
    return f"{on.day} {on:%b %Y}" if on else ""
