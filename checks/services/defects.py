"""Defects: raised by a check or a person, deferred under the operator's MEL, closed by a signature alone."""

import datetime as dt
from dataclasses import dataclass
from decimal import Decimal
from hashlib import sha256

from django.core.files.base import File
from django.db import transaction
from django.utils import timezone

from checks.engine.deferral import deferral_expiry
from checks.models import CheckEvent, Defect, Deferral, MelItem, OutsideRelease, Rectification
from checks.selectors.defects import recorded_day
from checks.selectors.events import defects_of_occasion
from checks.selectors.release import deferral_day, is_within, retest_of
from checks.services import after_sign
from checks.services.chain import append, locked_head, row
from checks.services.deferral_use import refresh_deferral_use
from checks.services.errors import Problem, RecordError, refuse_if
from checks.services.kept import base_day, link, unlinked, whole
from checks.services.persons import authorised, may, prove
from fleet.models import Aircraft, Authorisation, MeasuringPoint, Position, User, UtilisationEntry


@dataclass(frozen=True)
class OutsideWork:
    """The release certificate of another organisation; file None: kept on paper only."""

    organisation: str
    certificate_number: str
    released_on: dt.date
    file: File | None = None


@transaction.atomic
def raise_defect(
    *,
    aircraft: Aircraft,
    by: User,
    description: str,
    position: Position | None = None,
    point: MeasuringPoint | None = None,
    source: str = Defect.Source.HAND,
    reported_by: str = "",
    reference: str = "",
    recorded_on: dt.date | None = None,
) -> Defect:
    """Put a finding of a person on record. recorded_on: the day of its write-up, where it is typed later."""
    at = timezone.now()
    may(by, "checks.raise_defect")
    if not description.strip():
        raise RecordError("Say what was found.", field="description")
    for field, place in (("position", position), ("point", point)):
        if place and place.variant_id != aircraft.variant_id:
            raise RecordError(f"{place} is no {field} of {aircraft}. Choose one of its own.", field=field)
    if recorded_on and recorded_on > deferral_day(at):
        raise RecordError("The recorded date is still to come.", field="recorded_on")
    if source == Defect.Source.PILOT and not reported_by.strip():
        raise RecordError("Say who reported it.", field="reported_by")
    return _raised(
        Defect(
            aircraft=aircraft,
            position=position,
            point=point,
            description=description.strip(),
            source=source,
            reported_by=reported_by.strip(),
            reference=reference.strip(),
            recorded_on=recorded_on,
            raised_by=by,
            raised_at=at,
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
    item: MelItem,
    recorded_on: dt.date,
    from_hours: Decimal | None = None,
    maintenance_confirmed: bool = False,
    operations_confirmed: bool = False,
    placard_placed: bool = False,
) -> Deferral:
    """Defer an open defect under an item of the operator's MEL. The last day follows from the recorded date
    alone; an item in flight hours or flight days is counted against the recorded utilisation.

    A later deferral of the same defect never runs from a later recorded date: the clock is not set back.
    from_hours: total flight hours when it was recorded, where the item states flight hours.
    """
    at = timezone.now()
    may(by, "checks.defer_defect")
    prove(by, password)
    defect = _locked_open(defect)
    _deferrable(defect, recorded_on, deferral_day(at))
    confirmed = {
        "maintenance_confirmed": maintenance_confirmed,
        "operations_confirmed": operations_confirmed,
        "placard_placed": placard_placed,
    }
    _item_serves(item, defect, confirmed)
    deferral = written_deferral(defect=defect, item=item, recorded_on=recorded_on, by=by, at=at, **confirmed)
    if item.stated_unit == MelItem.Unit.HOURS:
        deferral.from_hours = _hours_when_recorded(defect.aircraft, recorded_on, from_hours)
    keep_deferral(deferral)
    after_sign.refresh(defect.aircraft)
    return deferral


def written_deferral(
    *,
    defect: Defect,
    item: MelItem,
    recorded_on: dt.date,
    by: User,
    at: dt.datetime,
    maintenance_confirmed: bool,
    operations_confirmed: bool,
    placard_placed: bool,
) -> Deferral:
    """The row of a deferral with what the item states; None where the item asks for nothing to confirm."""
    unit = item.stated_unit
    by_day = not unit or unit == MelItem.Unit.DAYS
    stated = item.stated if unit == MelItem.Unit.DAYS else None
    return Deferral(
        defect=defect,
        item=item,
        mel_item=item.number,
        category=item.category,
        recorded_on=recorded_on,
        expires_on=deferral_expiry(item.category, recorded_on, stated_days=stated) if by_day else None,
        limit_hours=item.stated if unit == MelItem.Unit.HOURS else None,
        limit_flight_days=item.stated if unit == MelItem.Unit.FLIGHT_DAYS else None,
        limits_icing=item.limits_icing,
        limitation=item.limitation,
        placard=item.placard,
        placard_placed=placard_placed if item.placard else None,
        maintenance_confirmed=maintenance_confirmed if item.maintenance_steps else None,
        operations_confirmed=operations_confirmed if item.operations_steps else None,
        deferred_by=by,
        deferred_at=at,
    )


def keep_deferral(deferral: Deferral) -> None:
    """The pen below: a deferral as a link of the chain that carries the item as it was."""
    aircraft = deferral.defect.aircraft
    more = {"item": row(deferral.item)} if deferral.item else {}
    link(deferral, aircraft=aircraft, act="deferral", name="deferral", at=deferral.deferred_at, more=more)
    refresh_deferral_use(aircraft_ids=[aircraft.pk])


@transaction.atomic
def rectify(
    *,
    defect: Defect,
    by: User,
    password: str,
    text: str,
    retest: CheckEvent | None = None,
    without_retest: str = "",
    outside: OutsideWork | None = None,
) -> Rectification:
    """Close a defect under a signature. One that a check raised asks for a later retest of the same task
    within its limits, or for the written reason why there is none; the retest alone closes nothing.

    outside: the release certificate with which work done elsewhere came back; its file is kept and hashed.
    """
    at = timezone.now()
    may(by, "checks.rectify_defect")
    prove(by, password)
    defect = _locked_open(defect)
    days = {base_day(defect.aircraft, at)}
    signatory = authorised(by, Authorisation.Act.RELEASE, defect.aircraft.variant, days)
    _rectifiable(defect, text, retest, without_retest)
    if outside and outside.released_on > days.copy().pop():
        raise RecordError("The release certificate is dated in the future.", field="released_on")
    if retest is None and without_retest.strip():
        text = f"{text.strip()}\nNo retest: {without_retest.strip()}"
    rectification = Rectification(
        defect=defect, retest=retest, text=text.strip(), rectified_by=by, rectified_at=at
    )
    whole(rectification)
    release = _outside(outside)
    payload = {"rectification": unlinked(rectification), "signature": signatory.payload()}
    if release:
        told = ("organisation", "certificate_number", "released_on", "digest")
        payload["outside"] = {name: getattr(release, name) for name in told}
    rectification.record = append(aircraft=defect.aircraft, act="rectification", payload=payload, at=at)
    rectification.save(force_insert=True)
    if release:
        release.rectification = rectification
        release.save(force_insert=True)
    after_sign.refresh(defect.aircraft)
    return rectification


def _outside(given: OutsideWork | None) -> OutsideRelease | None:
    """The row of a release certificate, whole but for the rectification that it belongs to."""
    if given is None:
        return None
    release = OutsideRelease(
        organisation=given.organisation.strip(),
        certificate_number=given.certificate_number.strip(),
        released_on=given.released_on,
    )
    whole(release, "rectification")
    if given.file:
        content = given.file.read()
        given.file.seek(0)
        release.digest = sha256(content).hexdigest()
        release.file.save(given.file.name, given.file, save=False)
    return release


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
    first = defect.deferrals.order_by("recorded_on").first()
    if first and recorded_on > first.recorded_on:
        raise RecordError(
            f"It was recorded on {first.recorded_on:%d %b %Y}: a later deferral counts from that day too.",
            field="recorded_on",
        )
    recorded = recorded_day(defect)
    if recorded_on > recorded:
        raise RecordError(
            f"It is on record since {recorded:%d %b %Y}, and the days count from there. Enter that date "
            "or an earlier one.",
            field="recorded_on",
        )


def _item_serves(item: MelItem, defect: Defect, confirmed: dict[str, bool]) -> None:
    """RecordError unless the item is in force for the aircraft, and what it asks for is confirmed."""
    serving = MelItem.objects.in_force().for_variant(defect.aircraft.variant_id)
    if not serving.filter(pk=item.pk).exists():
        raise RecordError(
            "This item is not in force for the aircraft. Choose one that is approved for its variant.",
            field="item",
        )
    asked = (
        (
            "maintenance_confirmed",
            item.maintenance_steps,
            "The item has (M) steps: confirm that they are done.",
        ),
        (
            "operations_confirmed",
            item.operations_steps,
            "The item has (O) steps: confirm that the crew has them.",
        ),
        ("placard_placed", item.placard, "The item asks for a placard: confirm that it is in place."),
    )
    refuse_if(Problem(words, name) for name, text, words in asked if text.strip() and not confirmed[name])


def _hours_when_recorded(aircraft: Aircraft, recorded_on: dt.date, given: Decimal | None) -> Decimal:
    """The total flight hours from which an item's hours count, held to what is entered around that day."""
    if given is None:
        raise RecordError(
            "The item states flight hours: give the total when it was recorded.", field="from_hours"
        )
    entries = UtilisationEntry.objects.standing().filter(aircraft=aircraft)
    before = entries.filter(on__lt=recorded_on).order_by("-on").first()
    after = entries.filter(on__gte=recorded_on).order_by("on").first()
    if (before and given < before.hours) or (after and given > after.hours):
        known = " and ".join(f"{one.hours} h on {one.on:%d %b %Y}" for one in (before, after) if one)
        raise RecordError(f"That does not fit what is entered: {known}.", field="from_hours")
    return given


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
