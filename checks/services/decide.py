"""A person's written decision on a reading far under the aircraft's baseline."""

from django.db import transaction
from django.utils import timezone

from checks.engine.outcome import DECIDE_IN_WRITING
from checks.models import CheckEvent, Decision
from checks.selectors.events import may_be_decided
from checks.services import after_sign
from checks.services.chain import append, locked_head
from checks.services.errors import RecordError
from checks.services.freeze import first_record
from checks.services.persons import authorised, may, prove
from fleet.models import Authorisation, User


@transaction.atomic
def decide_too_low(*, event: CheckEvent, by: User, password: str, accepted: bool, text: str) -> Decision:
    """Record whether the reading is accepted as true, with the reason. Once, and never changed.

    Only where too low a reading is all that is not valid: what else is not valid must be repeated.
    """
    at = timezone.now()
    may(by, "checks.decide_reading")
    prove(by, password)
    event = CheckEvent.objects.select_related("aircraft__variant", "base").get(pk=event.pk)
    locked_head(event.aircraft)
    _decidable(event, text)
    today = timezone.localdate(at, event.base.zone)
    signatory = authorised(by, Authorisation.Act.RELEASE, event.aircraft.variant, {today})
    decided = {"accepted": accepted, "text": text.strip(), "at": at}
    payload = {
        "decision": decided,
        "event": event.pk,
        "signed_as": first_record(event).hash,
        "signature": signatory.payload(),
    }
    decision = Decision(
        event=event,
        record=append(aircraft=event.aircraft, act="decision", payload=payload, at=at),
        accepted=accepted,
        text=text.strip(),
        decided_by=by,
        decided_at=at,
    )
    decision.full_clean()
    decision.save(force_insert=True)
    after_sign.refresh(event.aircraft)
    return decision


def _decidable(event: CheckEvent, text: str) -> None:
    if event.is_draft:
        raise RecordError("It is not signed as performed yet. That signature comes first.")
    earlier = Decision.objects.filter(event=event).select_related("decided_by").first()
    if earlier:
        raise RecordError(f"{earlier.decided_by} decided on {earlier.decided_at:%d %b %Y}: {earlier}.")
    if not event.too_low:
        raise RecordError("No reading of this check is far under the baseline: there is nothing to decide.")
    if not may_be_decided(event):
        raise RecordError(
            f"More than that is not valid, so the check must be repeated. {event.next_action} "
            f"A check comes to this only as “{DECIDE_IN_WRITING}”."
        )
    if CheckEvent.objects.signed().filter(supersedes=event).exists():
        raise RecordError("It was corrected. Decide on the correction instead.")
    if not text.strip():
        raise RecordError("Give the reason for the decision: it stays on record.", field="text")
