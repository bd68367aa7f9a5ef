"""Three signatures by three acts: performed, inspected, released. An outcome releases nothing; a person does.

The tool says what is recorded, and refuses a signature that its own records speak against. It gives no
permission and knows nothing that was not recorded.
"""

import datetime as dt

from django.db import transaction
from django.utils import timezone

from checks.models import CheckEvent, Signature
from checks.selectors.release import release_obstacles
from checks.services import after_sign
from checks.services.chain import locked_head
from checks.services.defects import raise_for_event
from checks.services.errors import RecordError, refuse_if
from checks.services.evaluate import evaluate
from checks.services.freeze import freeze, write_signature
from checks.services.handover import not_held
from checks.services.persons import Signatory, authorised, may, prove
from checks.services.record import locked_draft
from fleet.models import Authorisation, Operator, User

STATEMENTS = {
    Signature.Act.PERFORMED: "I carried out the work recorded here on the date of work by its revision.",
    Signature.Act.INSPECTED: "I have inspected the work recorded here, which another person carried out.",
    Signature.Act.RELEASED: "I approve the aircraft for return to service as far as this work goes.",
}


@transaction.atomic
def sign_performed(*, event: CheckEvent, by: User, password: str) -> CheckEvent:
    """Freeze a draft under the signature of who did the work; gives the event as signed.

    Stores results, resets and outcome, links the record, raises a defect where it is outside a limit or not
    satisfactory. RecordError lists everything that is missing, by name of form field.
    """
    at = timezone.now()
    may(by, "checks.record_check")
    prove(by, password)
    event = locked_draft(event)
    signatory = authorised(by, Authorisation.Act.PERFORM, event.aircraft.variant, _days(event, at))
    evaluation = evaluate(event)
    refuse_if((*not_held(event, by), *evaluation.missing))
    _total_time(event)
    freeze(event=event, evaluation=evaluation, at=at)
    _sign(event, Signature.Act.PERFORMED, signatory, at)
    raise_for_event(event=event, by=by, at=at)
    after_sign.refresh(event.aircraft)
    return event


@transaction.atomic
def sign_inspected(*, event: CheckEvent, by: User, password: str) -> Signature:
    """The second signature, by a person who did not sign the work as performed."""
    at = timezone.now()
    may(by, "checks.inspect_check")
    prove(by, password)
    event = _locked_signed(event)
    _once(event, Signature.Act.INSPECTED)
    if not event.revision.procedure.needs_inspection:
        raise RecordError("This task asks for no second signature. Nothing was signed.")
    if event.signatures.filter(person=by).exists():
        raise RecordError("Who signed the work as performed can't inspect it. Ask another inspector.")
    signatory = authorised(by, Authorisation.Act.INSPECT, event.aircraft.variant, {_today(event, at)})
    signature = _sign(event, Signature.Act.INSPECTED, signatory, at)
    after_sign.refresh(event.aircraft)
    return signature


@transaction.atomic
def sign_released(*, event: CheckEvent, by: User, password: str) -> Signature:
    """The release by an authorised person. RecordError lists all that the records hold against it."""
    at = timezone.now()
    may(by, "checks.release_check")
    prove(by, password)
    event = _locked_signed(event)
    _once(event, Signature.Act.RELEASED)
    signatory = authorised(by, Authorisation.Act.RELEASE, event.aircraft.variant, {_today(event, at)})
    refuse_if(release_obstacles(event, at))
    return _sign(event, Signature.Act.RELEASED, signatory, at)


def _sign(event: CheckEvent, act: str, signatory: Signatory, at: dt.datetime) -> Signature:
    return write_signature(event=event, act=act, signatory=signatory, statement=STATEMENTS[act], at=at)


def _locked_signed(event: CheckEvent) -> CheckEvent:
    """The event with its aircraft's chain held, so that nothing is recorded between looking and signing."""
    fetched = CheckEvent.objects.select_related("aircraft__variant", "revision__procedure", "base")
    event = fetched.get(pk=event.pk)
    locked_head(event.aircraft)
    if event.is_draft:
        raise RecordError("It is not signed as performed yet. That signature comes first.")
    if event.source == CheckEvent.Source.IMPORTED:
        raise RecordError("It was accepted from paper records: its signatures are on that paper.")
    return event


def _once(event: CheckEvent, act: str) -> None:
    earlier = event.signatures.filter(act=act).first()
    if earlier:
        day = f"{earlier.signed_at:%d %b %Y}"
        raise RecordError(f"Already signed as {earlier.get_act_display()} by {earlier.name} on {day}.")


def _today(event: CheckEvent, at: dt.datetime) -> dt.date:
    return timezone.localdate(at, event.base.zone)


def _days(event: CheckEvent, at: dt.datetime) -> set[dt.date]:
    return {event.work_date, _today(event, at)}


def _total_time(event: CheckEvent) -> None:
    """An inspection's record carries the total time (14 CFR 43.11(a)) where the operator asks for it."""
    wanted = event.revision.procedure.is_inspection and Operator.current().inspection_records
    if wanted and event.hours is None:
        raise RecordError("Enter the total flight hours: an inspection's record carries them.", field="hours")
