"""An instrument is found out of calibration, and each check that it touched is reviewed: two signed acts.

Both are links of the operator's chain; a finding belongs to no aircraft, and its reviews stand beside it. No
signed check is changed by either.
"""

import datetime as dt
from collections.abc import Iterable, Sequence
from decimal import Decimal

from django.db import transaction
from django.utils import timezone

from checks.models import CheckEvent, DoubtReview, InstrumentFinding
from checks.selectors.doubt import Doubt, traceback
from checks.services import after_sign
from checks.services.chain import locked_head
from checks.services.errors import RecordError
from checks.services.freeze import first_record
from checks.services.kept import link
from checks.services.persons import Signatory, authorised, may, prove
from fleet.models import Authorisation, Calibration, Instrument, User


@transaction.atomic
def report_out_of_calibration(
    *,
    instrument: Instrument,
    by: User,
    password: str,
    found_on: dt.date,
    error: Decimal | None,
    text: str,
    replaces: InstrumentFinding | None = None,
) -> InstrumentFinding:
    """Put on record that an instrument was found out of calibration; every check that it touched since its
    last good calibration is in doubt from now on.

    error: in its unit, positive where it reads too high; None: not known. replaces: an earlier finding of the
    same instrument that says less, as where the laboratory now knows the error; its reviews fall with it.
    """
    at = timezone.now()
    may(by, "fleet.add_calibration")
    prove(by, password)
    locked_head(None)
    _reportable(instrument, found_on, error, text, replaces, at)
    finding = write_finding(
        instrument=instrument, by=by, found_on=found_on, error=error, text=text, replaces=replaces, at=at
    )
    # Those of the finding that it replaces too: what that one left out of the trend may count again.
    last = max(one.found_on for one in (finding, replaces) if one)
    used = CheckEvent.objects.signed().filter(readings__instrument=instrument, work_date__lte=last)
    after_sign.refresh_trend(used.values_list("aircraft", flat=True))
    return finding


def write_finding(
    *,
    instrument: Instrument,
    by: User,
    found_on: dt.date,
    error: Decimal | None,
    text: str,
    at: dt.datetime,
    replaces: InstrumentFinding | None = None,
) -> InstrumentFinding:
    """The pen below: one finding as a link of the operator's chain. It checks nothing about the person."""
    finding = InstrumentFinding(
        instrument=instrument,
        calibration=last_good_calibration(instrument, found_on),
        found_on=found_on,
        error=error,
        text=text.strip(),
        replaces=replaces,
        reported_by=by,
        reported_at=at,
    )
    more = {"instrument": instrument.code, "unit": instrument.unit}
    link(finding, aircraft=None, act="instrument finding", name="finding", at=at, more=more)
    return finding


def last_good_calibration(instrument: Instrument, before: dt.date) -> Calibration | None:
    """The newest calibration before a day that did not fail; one of that very day may be what found it."""
    good = instrument.calibrations.filter(calibrated_on__lt=before).exclude(result=Calibration.Result.FAILED)
    return good.order_by("-calibrated_on").first()


@transaction.atomic
def review_doubt(
    *,
    finding: InstrumentFinding,
    events: Sequence[CheckEvent],
    by: User,
    password: str,
    accepted: bool,
    text: str,
) -> list[DoubtReview]:
    """Decide about checks in doubt, with the reason: each stands, or is to be repeated. Once for each.

    A person who may release work of the variant decides. A check that is to be repeated no longer counts as
    done; its signed values stay as they are.
    """
    at = timezone.now()
    may(by, "checks.release_check")
    prove(by, password)
    locked_head(None)
    if not text.strip():
        raise RecordError("Give the reason for the decision: it stays on record.", field="text")
    chosen = _in_doubt(finding, events)
    signatories = _signatories(by, chosen, at)
    reviews = [
        _review(finding, doubt, signatories[doubt.event.aircraft.variant_id], accepted, text.strip(), at)
        for doubt in chosen
    ]
    for aircraft in {doubt.event.aircraft for doubt in chosen}:
        after_sign.refresh(aircraft)
    return reviews


def _reportable(
    instrument: Instrument,
    found_on: dt.date,
    error: Decimal | None,
    text: str,
    replaces: InstrumentFinding | None,
    at: dt.datetime,
) -> None:
    zone = instrument.base.zone if instrument.base else None
    if found_on > timezone.localdate(at, zone):
        raise RecordError("The day is still to come. Enter the day on which it was found.", field="found_on")
    if not text.strip():
        raise RecordError("Say how it was found: it stays on record.", field="text")
    span = instrument.range_high - instrument.range_low
    if error is not None and abs(error) > span:
        raise RecordError("The error is larger than the range of the instrument. Check it.", field="error")
    if error == 0:
        raise RecordError(
            "With no error it is not out of calibration. Enter the error, or mark it as not known.",
            field="error",
        )
    if replaces is None:
        return
    if replaces.instrument_id != instrument.pk:
        raise RecordError("The earlier finding is of another instrument. Choose one of this instrument.")
    if InstrumentFinding.objects.filter(replaces=replaces).exists():
        raise RecordError("A later finding took the place of that one already. Load the page again.")


def _in_doubt(finding: InstrumentFinding, events: Sequence[CheckEvent]) -> list[Doubt]:
    """The doubts about the events. RecordError where there is none, or not about each of them any more."""
    if not events:
        raise RecordError("Choose at least one check.", field="events")
    if InstrumentFinding.objects.filter(replaces=finding).exists():
        raise RecordError("A later finding took the place of this one. Review its checks there.")
    by_event = {doubt.event.pk: doubt for doubt in traceback(finding)}
    chosen = [by_event.get(event.pk) for event in events]
    for event, doubt in zip(events, chosen, strict=True):
        if doubt is None or not doubt.is_open:
            state = doubt.state if doubt else "not touched by this finding"
            raise RecordError(f"{event}: {state}. Nothing was signed; load the page again.", field="events")
    return [doubt for doubt in chosen if doubt]


def _signatories(by: User, doubts: Iterable[Doubt], at: dt.datetime) -> dict[int, Signatory]:
    """The reviewer's authorisation for each variant, on each day that it is today at a base concerned."""
    days: dict[int, set[dt.date]] = {}
    variants = {}
    for doubt in doubts:
        variant = doubt.event.aircraft.variant
        variants[variant.pk] = variant
        days.setdefault(variant.pk, set()).add(timezone.localdate(at, doubt.event.base.zone))
    act = Authorisation.Act.RELEASE
    return {key: authorised(by, act, variant, days[key]) for key, variant in variants.items()}


def _review(
    finding: InstrumentFinding, doubt: Doubt, signatory: Signatory, accepted: bool, text: str, at: dt.datetime
) -> DoubtReview:
    event = doubt.event
    review = DoubtReview(
        finding=finding,
        event=event,
        outcome=doubt.corrected.outcome if doubt.corrected else "",
        accepted=accepted,
        text=text,
        reviewed_by=signatory.person,
        reviewed_at=at,
    )
    more = {
        "aircraft": event.aircraft.registration,
        "signed_as": first_record(event).hash,
        "signature": signatory.payload(),
    }
    link(review, aircraft=None, act="doubt review", name="review", at=at, more=more)
    return review
