"""Corrections: a new entry that supersedes a signed one, with a reason. Both stay on record.

The key `supersedes` is unique, drafts included: one correction is under way at a time, and discarding its
draft frees the place. While it is a draft the earlier entry stands; it is superseded from the moment in
which the correction is signed (CheckEventQuerySet.standing).
"""

import uuid

from django.db import IntegrityError, transaction

from checks.models import CheckEvent
from checks.services.errors import RecordError
from checks.services.persons import may
from fleet.models import User

# What a correction does not take over: its own key, its own signing and what only an import sets.
OWN = (
    "uuid",
    "state",
    "source",
    "started_by",
    "started_at",
    "signed_at",
    "outcome",
    "outcome_reason",
    "next_action",
    "too_low",
    "supersedes",
    "correction_reason",
    "import_batch",
    "import_line",
    "import_key",
)
COPIED_PARTS = ("readings", "observations", "cautions_followed", "photos")


@transaction.atomic
def correct(*, event: CheckEvent, by: User, reason: str) -> CheckEvent:
    """A draft with everything that the signed event holds, to be corrected and signed like any other.

    It follows the same revision: the work was done by that one. RecordError where no reason is given, the
    event is a draft, or a correction exists already.
    """
    may(by, "checks.record_check")
    event = CheckEvent.objects.select_for_update(of=("self",)).get(pk=event.pk)
    _correctable(event, reason)
    taken_over = {
        field.attname: getattr(event, field.attname)
        for field in event._meta.concrete_fields
        if field.name not in OWN
    }
    draft = CheckEvent(
        uuid=uuid.uuid4(), started_by=by, supersedes=event, correction_reason=reason.strip(), **taken_over
    )
    draft.full_clean()
    try:
        with transaction.atomic():
            draft.save(force_insert=True)
    except IntegrityError:
        raise RecordError("A correction of this check is already under way. Finish that one.") from None
    for name in COPIED_PARTS:
        _copy(event, draft, name)
    return draft


def _copy(event: CheckEvent, draft: CheckEvent, name: str) -> None:
    parts = list(getattr(event, name).all())
    for part in parts:
        part.pk, part.event, part._state.adding = None, draft, True
        if hasattr(part, "mark"):
            part.mark = ""
    getattr(draft, name).bulk_create(parts)


def _correctable(event: CheckEvent, reason: str) -> None:
    if event.is_draft:
        raise RecordError("It is a draft: change it as it is.")
    if not reason.strip():
        raise RecordError("Say why it is corrected: both entries stay on record.", field="reason")
    later = CheckEvent.objects.filter(supersedes=event).first()
    if later and later.is_draft:
        raise RecordError("A correction of this check is already under way. Finish or discard that one.")
    if later:
        raise RecordError("It was corrected already. Correct the newest entry instead.")
