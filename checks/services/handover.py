"""Who carries a draft on: handed over by name, taken over, assigned; accepted with the steps then open.

Anybody who may record may write in a draft; who holds it answers for it, and alone signs it as performed.
"""

import datetime as dt
import hashlib
import uuid as uuids

from django.db import transaction
from django.utils import timezone

from checks.models import CheckEvent, Handover, Procedure
from checks.selectors.aircraft import still_disturbed
from checks.selectors.handover import holder_of, may_assign, offer_of
from checks.services.errors import Problem, RecordError
from checks.services.evaluate import Evaluation, evaluate
from checks.services.persons import may
from checks.services.record import PERFORM, begin, locked_draft
from fleet.models import Aircraft, User

CHANGED = "The open steps changed since this page was loaded. Read them again, then accept."


def open_steps(event: CheckEvent, evaluation: Evaluation | None = None) -> list[str]:
    """What is still to be done before a draft can be signed: first what is disturbed and not put back.

    One query, and those of evaluate where it was not called before.
    """
    disturbed = still_disturbed([event]).get(event.pk, [])
    missing = [problem.message for problem in (evaluation or evaluate(event)).missing]
    return [*(f"Not put back: {words}" for words in disturbed), *dict.fromkeys(missing)]


def seen_key(lines: list[str]) -> str:
    """A short key of a list as it was shown, to be sent back with the acceptance."""
    return hashlib.sha256("\n".join(lines).encode()).hexdigest()[:16]


@transaction.atomic
def hand_over(*, event: CheckEvent, by: User, to: User, note: str = "") -> Handover:
    """Offer the draft to a person by name; until it is accepted the holder stays. Only the holder offers."""
    may(by, PERFORM)
    event = locked_draft(event)
    holder = holder_of(event)
    if holder != by:
        raise RecordError(f"{holder} holds this check. Take it over first, or let them hand it over.")
    _receiver(to, by)
    return _write(event, Handover.Way.GIVEN, by, to, note)


@transaction.atomic
def take_over(*, event: CheckEvent, by: User, seen: str) -> Handover:
    """Carry a draft on from here: accepts an offer to this person, else takes the draft over by name.

    seen: seen_key of the open steps as the person read them. RecordError where they changed meanwhile, or
    where the person holds it already. Works for the draft of a leaver as for any other.
    """
    may(by, PERFORM)
    event = locked_draft(event)
    lines, at = open_steps(event), timezone.now()
    if seen != seen_key(lines):
        raise RecordError(CHANGED)
    offer, holder = offer_of(event), holder_of(event)
    if offer and offer.receiver_id == by.pk:
        offer.open_steps, offer.accepted_at = "\n".join(lines), at
        offer.save(update_fields=["open_steps", "accepted_at"])
        return offer
    if holder == by and not offer:
        raise RecordError("You hold this check already.")
    return _write(event, Handover.Way.TAKEN, holder, by, accepted=at, lines=lines)


@transaction.atomic
def assign_check(
    *,
    aircraft: Aircraft,
    procedure: Procedure,
    by: User,
    to: User,
    work_date: dt.date,
    note: str = "",
    uuid: uuids.UUID | None = None,
) -> CheckEvent:
    """Begin a draft for somebody else, who accepts it; the same call with the same uuid gives the same one.

    Raises what start_check raises, and RecordError where the person may not carry out checks.
    """
    if not may_assign(by):
        raise RecordError(f"{by} may not assign work: the role lacks it. Ask a controller or a technician.")
    _receiver(to, by)
    event = begin(aircraft=aircraft, procedure=procedure, by=by, work_date=work_date, uuid=uuid)
    if event.is_draft and not event.handovers.exists():
        _write(event, Handover.Way.ASSIGNED, by, to, note)
    return event


def not_held(event: CheckEvent, by: User) -> list[Problem]:
    """What bars a person's signature as performed: somebody else holds the draft, or was never asked."""
    holder = holder_of(event)
    if holder == by:
        return []
    return [
        Problem(f"{holder} holds this check. Who signs it takes it over first: read what is open, one tap.")
    ]


def _receiver(to: User, by: User) -> None:
    if to == by:
        raise RecordError("Choose somebody else: it is with you already.", field="to")
    if not to.is_active or not to.has_perm(PERFORM):
        raise RecordError(f"{to} may not carry out checks. Choose another person.", field="to")


def _write(
    event: CheckEvent,
    way: str,
    giver: User,
    to: User,
    note: str = "",
    *,
    accepted: dt.datetime | None = None,
    lines: list[str] | None = None,
) -> Handover:
    row = Handover(
        event=event,
        way=way,
        giver=giver,
        giver_name=str(giver),
        receiver=to,
        receiver_name=str(to),
        at=accepted or timezone.now(),
        note=note.strip(),
        open_steps="\n".join(open_steps(event) if lines is None else lines),
        accepted_at=accepted,
    )
    row.full_clean(exclude=["event", "giver", "receiver"])
    row.save(force_insert=True)
    return row
