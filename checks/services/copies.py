"""What a phone sends of a check: kept in the draft, or beside it where the draft went on elsewhere.

A draft has no number of its own. Its revision is a digest of what is kept in it, so that the plain form and
every phone move it alike, and the same content sent twice leaves it where it is.
"""

import datetime as dt
import hashlib
import json
import uuid as uuids
from collections.abc import Mapping
from dataclasses import dataclass, field

from django.db import transaction
from django.utils import timezone

from checks.models import CheckEvent, DraftCopy
from checks.services.errors import Problem
from checks.services.inputs import EVENT_FIELDS, DraftInput
from checks.services.persons import may
from checks.services.record import PERFORM, save_draft
from fleet.models import User

CHANGED = "The draft was changed elsewhere since this phone last sent."
SIGNED = "The check was signed meanwhile."
GONE = "The draft was thrown away meanwhile."
TAKEN_OVER = "Replaced by what another phone held, as its user chose."


@dataclass(frozen=True)
class Sent:
    """One sending. text: the form by name of field; base: revision that the phone last knew; replaces: the
    person has seen what stands in the draft and sets this in its place."""

    device: str
    number: int
    base: str
    text: Mapping[str, str]
    clocks: Mapping[str, str] = field(default_factory=dict)
    clock: dt.datetime | None = None
    replaces: bool = False

    @property
    def content(self) -> dict[str, dict[str, str]]:
        return {"text": dict(self.text), "clocks": dict(self.clocks)}


@dataclass(frozen=True)
class Answer:
    """What became of it. state: 'kept', 'conflict', 'signed' or 'gone'; event: as it is now."""

    state: str
    copy: DraftCopy
    revision: str = ""
    event: CheckEvent | None = None
    problems: tuple[Problem, ...] = ()


def revision_of(event: CheckEvent) -> str:
    """The digest of everything kept in a draft. Six queries, however many rows."""
    fields = CheckEvent.objects.filter(pk=event.pk).values(*EVENT_FIELDS).get()
    rows = {
        "fields": fields,
        "readings": list(
            event.readings.order_by("step", "sequence").values_list(
                "step", "sequence", "typed", "unit", "elapsed_seconds", "instrument"
            )
        ),
        "looks": list(
            event.observations.order_by("step", "position").values_list(
                "step", "position", "satisfactory", "remark"
            )
        ),
        "cautions": list(event.cautions_followed.order_by("step").values_list("step", "restored")),
        "first": list(
            event.first_readings.order_by("step", "sequence").values_list(
                "step", "typed", "unit", "elapsed_seconds", "instrument"
            )
        ),
        "questions": list(event.questions.order_by("step").values_list("step", "answer", "reason")),
    }
    return hashlib.sha256(json.dumps(rows, default=str, sort_keys=True).encode()).hexdigest()


@transaction.atomic
def keep_sent(
    *, uuid: uuids.UUID, by: User, sent: Sent, given: DraftInput | None, standing: Mapping[str, str]
) -> Answer:
    """Keep what a phone sent; the same sent twice has the same answer and makes nothing new.

    given: the text as save_draft takes it, None where no such check exists; standing: what the draft holds
    now, as text by field, kept as a copy where `sent` replaces it. Nothing sent is ever dropped: what can't
    be in the draft is a copy beside it.
    """
    may(by, PERFORM)
    event = CheckEvent.objects.select_for_update(of=("self",)).filter(pk=uuid).first()
    if event is None:
        return Answer("gone", _beside(uuid, by, sent, GONE))
    if not event.is_draft:
        return Answer("signed", _beside(uuid, by, sent, SIGNED), event=event)
    now = revision_of(event)
    mine = DraftCopy.objects.filter(event=uuid, person=by, device=sent.device, state=DraftCopy.State.KEPT)
    last = mine.first()
    if sent.base != now:
        if last and last.content == sent.content and sent.base in (last.base, last.revision):
            return Answer("kept", last, last.revision, event)  # the answer to the first sending was lost
        return Answer("conflict", _beside(uuid, by, sent, CHANGED), now, event)
    if sent.replaces:
        _replaced(event, by, standing)
    saved = save_draft(event=event, by=by, given=given)
    copy = _keep(last, uuid, by, sent, revision_of(saved.event))
    return Answer("kept", copy, copy.revision, saved.event, saved.problems)


def _keep(last: DraftCopy | None, uuid: uuids.UUID, by: User, sent: Sent, revision: str) -> DraftCopy:
    """The one row of this person's phone, moved on to what was sent last."""
    copy = last or DraftCopy(event_id=uuid, person=by, device=sent.device, state=DraftCopy.State.KEPT)
    copy.number, copy.base, copy.revision = sent.number, sent.base, revision
    return _stored(copy, sent)


def _beside(uuid: uuids.UUID, by: User, sent: Sent, why: str) -> DraftCopy:
    """A copy beside the draft; sent again, the one that is there."""
    earlier = DraftCopy.objects.filter(
        event=uuid, person=by, device=sent.device, state=DraftCopy.State.CONFLICT, base=sent.base
    )
    same = next((copy for copy in earlier if copy.content == sent.content), None)
    if same:
        return same
    copy = DraftCopy(event_id=uuid, person=by, device=sent.device, state=DraftCopy.State.CONFLICT, why=why)
    copy.number, copy.base = sent.number, sent.base
    return _stored(copy, sent)


def _stored(copy: DraftCopy, sent: Sent) -> DraftCopy:
    copy.content, copy.client_clock, copy.sent_at = sent.content, sent.clock, timezone.now()
    copy.full_clean(exclude=["event", "person"], validate_constraints=False)
    copy.save()
    return copy


def _replaced(event: CheckEvent, by: User, standing: Mapping[str, str]) -> None:
    """What stood in the draft until now, so that both are kept."""
    DraftCopy.objects.create(
        event=event,
        person=by,
        device="",
        state=DraftCopy.State.REPLACED,
        sent_at=timezone.now(),
        content={"text": dict(standing), "clocks": {}},
        why=TAKEN_OVER,
    )
