"""The confirmed cause of a check: appended by the person who found it, beside what had been ranked."""

import datetime as dt

from django.db import transaction
from django.utils import timezone

from checks.engine.diagnosis_data import NOT_LOOKED
from checks.models import CauseFound, CheckEvent
from checks.selectors.cause import may_record_cause
from checks.services.cause import likely_cause
from checks.services.errors import RecordError
from fleet.models import Position, User


@transaction.atomic
def record_cause(
    *,
    event: CheckEvent,
    by: User,
    cause: str,
    position: Position | None = None,
    remark: str = "",
    wet: str = NOT_LOOKED,
    at: dt.datetime | None = None,
) -> CauseFound:
    """Keep what turned out to be the cause, with the ranking as it was shown. A later one takes its place.

    wet: the answer that the shown ranking was made with. It weighs in the rankings of checks signed after it.
    """
    if not may_record_cause(by):
        raise RecordError(f"{by} may not do this: the role lacks it. Ask a technician or a releaser.")
    event = CheckEvent.objects.select_related("aircraft__variant", "revision__procedure", "base").get(
        pk=event.pk
    )
    if event.is_draft:
        raise RecordError("It is not signed as performed yet. That signature comes first.")
    if CheckEvent.objects.signed().filter(supersedes=event).exists():
        raise RecordError("It was corrected. Record the cause with the correction instead.")
    if position and position.variant_id != event.aircraft.variant_id:
        raise RecordError(f"{position} is not a position of {event.aircraft}: choose one of its own.")
    shown = likely_cause(event, wet=wet)
    if shown is None:
        raise RecordError("This check is within its limits and this aircraft's scatter: nothing to explain.")
    found = CauseFound(
        event=event,
        cause=cause,
        position=position,
        remark=remark.strip(),
        ranking=shown.ranking,
        found_by=by,
        found_at=at or timezone.now(),
    )
    found.full_clean()
    found.save(force_insert=True)
    return found
