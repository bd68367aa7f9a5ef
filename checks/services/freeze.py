"""The pens below every signing service: freeze an event, write a signature as a link of the chain.

They check nothing about persons: sign.py and what accepts records from paper do.
"""

import datetime as dt
from decimal import Decimal

from checks.engine.units import to_grid
from checks.models import (
    CheckEvent,
    EntryQuestion,
    ExpectedValue,
    FluidTaken,
    Reading,
    Record,
    Result,
    Signature,
)
from checks.services.chain import append
from checks.services.evaluate import Evaluation, PointLine
from checks.services.event_payload import event_payload
from checks.services.persons import Signatory
from checks.services.resets import resets_of

LONGEST_ACTION = CheckEvent._meta.get_field("next_action").max_length


def freeze(*, event: CheckEvent, evaluation: Evaluation, at: dt.datetime) -> None:
    """Write results, resets and outcome, then set the event signed: no row of it changes from here on."""
    Reading.objects.bulk_update(_marked(event, evaluation), ["mark"])
    Result.objects.bulk_create(_result(event, line) for line in evaluation.points)
    event.resets.bulk_create(resets_of(event))
    EntryQuestion.objects.bulk_update(
        _asked(event, evaluation), ["read", "temperature", "low", "high", "run"]
    )
    event.expected_values.bulk_create(
        ExpectedValue(event=event, point_id=point, low=_stored(one.low), high=_stored(one.high))
        for point, one in evaluation.expected.items()
    )
    FluidTaken.objects.bulk_create(fluid_taken(event))
    event.outcome = evaluation.outcome
    event.outcome_reason = "\n".join(evaluation.reasons)
    event.next_action = _short(evaluation.next_action)
    event.too_low = evaluation.too_low
    event.state, event.signed_at = CheckEvent.State.SIGNED, at
    event.full_clean(validate_unique=False)
    event.save(update_fields=["outcome", "outcome_reason", "next_action", "too_low", "state", "signed_at"])


def fluid_taken(event: CheckEvent) -> list[FluidTaken]:
    """What the event takes from the batch that it names, as its procedure states now; nothing where either is
    not said."""
    litres = event.revision.procedure.fluid_litres
    if not event.fluid_batch_id or not litres:
        return []
    return [FluidTaken(event=event, batch_id=event.fluid_batch_id, litres=litres)]


def write_signature(
    *, event: CheckEvent, act: str, signatory: Signatory, statement: str, at: dt.datetime
) -> Signature:
    """One signature under a signed event, as a link of its aircraft's chain.

    The first one (performed, or accepted from paper) carries the whole event; later ones name its link.
    """
    signed = {"act": act, "statement": statement, "at": at} | signatory.payload()
    payload: dict[str, object] = {"signature": signed}
    if act in (Signature.Act.PERFORMED, Signature.Act.ACCEPTED):
        payload |= event_payload(event)
    else:
        payload |= {"event": event.pk, "signed_as": first_record(event).hash}
    record = append(aircraft=event.aircraft, act=act, payload=payload, at=at)
    signature = Signature(
        event=event,
        record=record,
        act=act,
        person=signatory.person,
        name=signatory.name,
        certificate_number=signatory.certificate_number,
        certificate_kind=signatory.certificate_kind,
        authorisation=signatory.authorisation,
        statement=statement,
        signed_at=at,
    )
    signature.full_clean()
    signature.save(force_insert=True)
    return signature


def first_record(event: CheckEvent) -> Record:
    """The link that carries the whole event."""
    first = (Signature.Act.PERFORMED, Signature.Act.ACCEPTED)
    return event.signatures.select_related("record").get(act__in=first).record


def _marked(event: CheckEvent, evaluation: Evaluation) -> list[Reading]:
    return [Reading(pk=pk, event=event, mark=mark) for pk, mark in evaluation.marks.items()]


def _asked(event: CheckEvent, evaluation: Evaluation) -> list[EntryQuestion]:
    """The rows of answered questions with their figures, as judged now."""
    told = {one.step.pk: one for one in evaluation.questions}
    rows = list(event.questions.all())
    for row in rows:
        one = told.get(row.step_id)
        if one and one.words:
            row.read, row.run_id = _stored(one.read), one.run
        if one and one.expected:
            row.low, row.high = _stored(one.expected.low), _stored(one.expected.high)
            row.temperature = one.expected.temperature.quantize(Decimal("0.01"))
    return rows


def _result(event: CheckEvent, line: PointLine) -> Result:
    judged = line.judged
    return Result(
        event=event,
        point=line.point,
        value=_stored(judged.value),
        temperature=line.temperature and line.temperature.quantize(Decimal("0.01")),
        lower=_stored(judged.limit.lower if judged.limit else None),
        upper=_stored(judged.limit.upper if judged.limit else None),
        margin=_stored(line.margin),
        uncertainty=_stored(judged.uncertainty),
        outcome=line.outcome,
        reason="\n".join(judged.reasons),
    )


def _stored(value: Decimal | None) -> Decimal | None:
    return None if value is None else to_grid(value)


def _short(action: str) -> str:
    return action if len(action) <= LONGEST_ACTION else action[: LONGEST_ACTION - 1] + "…"
