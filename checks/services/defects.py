"""Defects: raised by a check or a person, deferred under the operator's MEL, closed by a signature alone."""

import datetime as dt

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from checks.engine.deferral import deferral_expiry
from checks.models import CheckEvent, Defect, Deferral, Rectification
from checks.selectors.events import defects_of_occasion
from checks.selectors.release import deferral_day, is_within, retest_of
from checks.services import after_sign
from checks.services.chain import append, locked_head, row
from checks.services.errors import RecordError, from_validation
from checks.services.persons import authorised, may, prove
from fleet.models import Aircraft, Authorisation, Position, User


@transaction.atomic
def raise_defect(
    *,
    aircraft: Aircraft,
    by: User,
    description: str,
    position: Position | None = None,
) -> Defect:
    """Put a finding of a person on record."""
    may(by, "checks.raise_defect")
    if not description.strip():
        raise RecordError("Say what was found.", field="description")
    if position and position.variant_id != aircraft.variant_id:
        raise RecordError(
            f"{position} is no position of {aircraft}. Choose one of its own.", field="position"
        )
    return _raised(
        Defect(
            aircraft=aircraft,
            position=position,
            description=description.strip(),
            raised_by=by,
            raised_at=timezone.now(),
        )
    )


def raise_for_event(*, event: CheckEvent, by: User, at: dt.datetime) -> Defect | None:
    """The defect of a signed event outside a limit or not satisfactory; None where there is none to raise.

    A retest or a correction raises no second one while the one of the same occasion is open: it is the
    same defect, and it stays open until a person closes it.
    """
    if event.outcome != CheckEvent.Outcome.OVER:
        return None
    if any(not hasattr(defect, "rectification") for defect in defects_of_occasion(event)):
        return None
    description = f"{event.revision.procedure.title} of {event.work_date:%d %b %Y}: {event.outcome_reason}"
    return _raised(
        Defect(aircraft=event.aircraft, event=event, description=description, raised_by=by, raised_at=at)
    )


@transaction.atomic
def defer(
    *,
    defect: Defect,
    by: User,
    password: str,
    mel_item: str,
    category: str,
    recorded_on: dt.date,
    limitation: str,
    stated_days: int | None = None,
    limits_icing: bool = True,
) -> Deferral:
    """Defer an open defect under the operator's MEL. The last day follows from the recorded date alone.

    A later deferral of the same defect never runs from a later recorded date: the clock is not set back.
    """
    at = timezone.now()
    may(by, "checks.defer_defect")
    prove(by, password)
    defect = _locked_open(defect)
    _deferrable(defect, recorded_on, deferral_day(at))
    try:
        expires_on = deferral_expiry(category, recorded_on, stated_days=stated_days)
    except ValueError as error:
        raise RecordError(f"{error}.".capitalize(), field="stated_days") from None
    deferral = Deferral(
        defect=defect,
        mel_item=mel_item.strip(),
        category=category,
        recorded_on=recorded_on,
        expires_on=expires_on,
        limits_icing=limits_icing,
        limitation=limitation.strip(),
        deferred_by=by,
        deferred_at=at,
    )
    _whole(deferral)
    deferral.record = append(
        aircraft=defect.aircraft, act="deferral", payload={"deferral": _unlinked(deferral)}, at=at
    )
    deferral.save(force_insert=True)
    after_sign.refresh(defect.aircraft)
    return deferral


@transaction.atomic
def rectify(
    *,
    defect: Defect,
    by: User,
    password: str,
    text: str,
    retest: CheckEvent | None = None,
    without_retest: str = "",
) -> Rectification:
    """Close a defect under a signature. One that a check raised asks for a later retest of the same task
    within its limits, or for the written reason why there is none; the retest alone closes nothing."""
    at = timezone.now()
    may(by, "checks.rectify_defect")
    prove(by, password)
    defect = _locked_open(defect)
    signatory = authorised(by, Authorisation.Act.RELEASE, defect.aircraft.variant, {_today(defect, at)})
    _rectifiable(defect, text, retest, without_retest)
    if retest is None and without_retest.strip():
        text = f"{text.strip()}\nNo retest: {without_retest.strip()}"
    rectification = Rectification(
        defect=defect, retest=retest, text=text.strip(), rectified_by=by, rectified_at=at
    )
    _whole(rectification)
    payload = {"rectification": _unlinked(rectification), "signature": signatory.payload()}
    rectification.record = append(aircraft=defect.aircraft, act="rectification", payload=payload, at=at)
    rectification.save(force_insert=True)
    after_sign.refresh(defect.aircraft)
    return rectification


def _raised(defect: Defect) -> Defect:
    defect.full_clean()
    defect.save(force_insert=True)
    append(aircraft=defect.aircraft, act="defect", payload={"defect": row(defect)}, at=defect.raised_at)
    return defect


def _locked_open(defect: Defect) -> Defect:
    """The defect with its aircraft's chain held. RecordError where it is closed."""
    defect = Defect.objects.select_related("aircraft__variant", "aircraft__base", "event").get(pk=defect.pk)
    locked_head(defect.aircraft)
    closed = Rectification.objects.filter(defect=defect).select_related("rectified_by").first()
    if closed:
        day = f"{closed.rectified_at:%d %b %Y}"
        raise RecordError(
            f"{closed.rectified_by} signed it as rectified on {day}. Raise a new one if it is back."
        )
    return defect


def _deferrable(defect: Defect, recorded_on: dt.date, today: dt.date) -> None:
    if recorded_on > today:
        raise RecordError("The recorded date is still to come.", field="recorded_on")
    raised_on = deferral_day(defect.raised_at)
    first = defect.deferrals.order_by("recorded_on").first()
    if first and recorded_on > first.recorded_on:
        raise RecordError(
            f"It was recorded on {first.recorded_on:%d %b %Y}: a later deferral counts from that day too.",
            field="recorded_on",
        )
    if recorded_on > raised_on:
        raise RecordError(
            f"It is on record since {raised_on:%d %b %Y}, and the days count from there. Enter that date "
            "or an earlier one.",
            field="recorded_on",
        )


def _rectifiable(defect: Defect, text: str, retest: CheckEvent | None, without_retest: str) -> None:
    if not text.strip():
        raise RecordError("Say what was done.", field="text")
    if retest is None:
        if defect.event_id and not without_retest.strip():
            raise RecordError(
                "A check found it: name the later retest within limits, or say why there is none.",
                field="without_retest",
            )
        return
    why = retest_of(defect, retest)
    if why:
        raise RecordError(why, field="retest")
    if not is_within(retest):
        raise RecordError(
            f"The retest is {retest.outcome}, so it can't support closing. Purge and test again, or close "
            "without a retest and say why.",
            field="retest",
        )


def _today(defect: Defect, at: dt.datetime) -> dt.date:
    return timezone.localdate(at, defect.aircraft.base.zone)


def _whole(row_: Deferral | Rectification) -> None:
    """full_clean before the link is made, so that nothing is linked that can't be kept."""
    try:
        row_.full_clean(exclude=["record"])
    except ValidationError as error:
        raise RecordError(*from_validation(error)) from None


def _unlinked(row_: Deferral | Rectification) -> dict[str, object]:
    """Every column but the key and the link, which are not known before the link is made."""
    return {name: value for name, value in row(row_).items() if name not in ("id", "record_id")}
