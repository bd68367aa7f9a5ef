"""Extending a deferral: asked for by one person, answered by another; once for a defect, B and C only."""

import datetime as dt

from django.db import transaction
from django.utils import timezone

from checks.engine.deferral import latest_extension
from checks.models import Deferral, Extension, ExtensionAnswer
from checks.selectors.release import deferral_day
from checks.services import after_sign
from checks.services.chain import locked_head
from checks.services.errors import RecordError
from checks.services.kept import link
from checks.services.persons import may, prove
from fleet.models import User


@transaction.atomic
def ask_extension(
    *, deferral: Deferral, by: User, password: str, expires_on: dt.date, justification: str
) -> Extension:
    """Ask for an extension to a later last day. Nothing is extended by it: another person answers."""
    at = timezone.now()
    may(by, "checks.defer_defect")
    prove(by, password)
    deferral = _locked(deferral)
    _extendable(deferral, deferral_day(at))
    _no_other(deferral)
    if not justification.strip():
        raise RecordError("Give the justification: it stays on record.", field="justification")
    latest = latest_extension(deferral.category, deferral.expires_on)
    if not deferral.expires_on < expires_on <= latest:
        raise RecordError(
            f"Enter a day after {deferral.expires_on:%d %b %Y} and no later than {latest:%d %b %Y}: the "
            f"interval of category {deferral.category} once more.",
            field="expires_on",
        )
    asked = Extension(
        deferral=deferral,
        expires_on=expires_on,
        justification=justification.strip(),
        asked_by=by,
        asked_at=at,
    )
    link(asked, aircraft=deferral.defect.aircraft, act="extension asked", name="extension", at=at)
    return asked


@transaction.atomic
def answer_extension(
    *, extension: Extension, by: User, password: str, approved: bool, text: str
) -> ExtensionAnswer:
    """Approve or refuse an extension, with the reason. Not by the person who asked for it."""
    at = timezone.now()
    may(by, "checks.approve_extension")
    prove(by, password)
    deferral = _locked(extension.deferral)
    earlier = ExtensionAnswer.objects.filter(extension=extension).select_related("answered_by").first()
    if earlier:
        raise RecordError(f"{earlier.answered_by} answered on {earlier.answered_at:%d %b %Y}: {earlier}.")
    if extension.asked_by_id == by.pk:
        raise RecordError("The person who asked for an extension can't approve it. Ask another person.")
    if not text.strip():
        raise RecordError("Give the reason: it stays on record.", field="text")
    if approved:
        _extendable(deferral, deferral_day(at))
    answer = ExtensionAnswer(
        extension=extension,
        defect=deferral.defect,
        approved=approved,
        text=text.strip(),
        answered_by=by,
        answered_at=at,
    )
    asked = {"asked_in": extension.record.hash, "expires_on": extension.expires_on}
    link(answer, aircraft=deferral.defect.aircraft, act="extension answer", name="answer", at=at, more=asked)
    after_sign.refresh(deferral.defect.aircraft)
    return answer


def _locked(deferral: Deferral) -> Deferral:
    related = ("defect__aircraft", "defect__rectification")
    deferral = Deferral.objects.select_related(*related).get(pk=deferral.pk)
    locked_head(deferral.defect.aircraft)
    return deferral


def _extendable(deferral: Deferral, today: dt.date) -> None:
    """RecordError unless the deferral governs, is of a category that can be extended, holds and was not."""
    defect = deferral.defect
    if hasattr(defect, "rectification"):
        raise RecordError("The defect is closed: there is nothing to extend.")
    if defect.deferrals.filter(pk__gt=deferral.pk).exists():
        raise RecordError("A later deferral took the place of this one. Look at that one.")
    try:
        if deferral.expires_on is None:
            raise ValueError("a limit in flight hours or flight days can't be extended")
        latest_extension(deferral.category, deferral.expires_on)
    except ValueError as error:
        raise RecordError(f"{str(error)[0].upper()}{str(error)[1:]}.") from None
    if ExtensionAnswer.objects.filter(defect=defect, approved=True).exists():
        raise RecordError("This defect was extended once already. It can't be extended again: rectify it.")
    if deferral.expires_on < today:
        raise RecordError(
            f"It expired after {deferral.expires_on:%d %b %Y}. What has run out is not extended: rectify it."
        )


def _no_other(deferral: Deferral) -> None:
    waiting = deferral.extensions.filter(answer=None).select_related("asked_by").first()
    if waiting:
        raise RecordError(f"{waiting.asked_by} asked for one on {waiting.asked_at:%d %b %Y}; it waits.")
