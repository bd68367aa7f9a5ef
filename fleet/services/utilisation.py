"""Entering and correcting utilisation: forwards only among the entries that stand.

One entry stands per aircraft and day, since an entry holds the totals at the end of that day. Hours and
landings of the standing entries never fall from one day to a later one. Triggers say the same
(fleet/guard_rules.py); here it is said in words that name the entry in the way.
"""

import datetime as dt
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from fleet.models import Aircraft, User, UtilisationEntry


@transaction.atomic
def enter_utilisation(
    *,
    aircraft: Aircraft,
    on: dt.date,
    hours: Decimal,
    landings: int,
    by: User,
    kind: str = UtilisationEntry.Kind.READING,
    remark: str = "",
    source: str = "",
) -> UtilisationEntry:
    """Add the totals at the end of a day; `hours` is total flight hours. A meter change is a `kind`.

    Raises ValidationError by field (on, hours, landings) where the figures run backwards against an
    entry that stands, the day already has one, or the day is still to come.
    """
    entry = UtilisationEntry(
        aircraft=aircraft,
        on=on,
        hours=hours,
        landings=landings,
        kind=kind,
        remark=remark,
        source=source,
        entered_by=by,
    )
    return _added(entry)


@transaction.atomic
def correct_utilisation(
    *,
    entry: UtilisationEntry,
    by: User,
    reason: str,
    on: dt.date | None = None,
    hours: Decimal | None = None,
    landings: int | None = None,
    kind: str | None = None,
    source: str = "",
) -> UtilisationEntry:
    """Put a new entry in the place of one that stands; what is not given stays as it was. Both are kept.

    Raises ValidationError where no reason is given, the entry was already corrected, or as entering does.
    """
    if not reason.strip():
        raise ValidationError({"remark": "Say why it is corrected: both entries stay on record."})
    later = UtilisationEntry.objects.filter(supersedes=entry).first()
    if later:
        raise ValidationError(f"This entry was already corrected by {words(later)}. Correct that one.")
    correction = UtilisationEntry(
        aircraft=entry.aircraft,
        on=entry.on if on is None else on,
        hours=entry.hours if hours is None else hours,
        landings=entry.landings if landings is None else landings,
        kind=entry.kind if kind is None else kind,
        remark=reason.strip(),
        source=source,
        entered_by=by,
        supersedes=entry,
    )
    return _added(correction)


def words(entry: UtilisationEntry) -> str:
    """An entry as messages name it: number, day and totals."""
    return f"entry {entry.pk} of {entry.on:%d %b %Y} ({entry.hours} h, {entry.landings} landings)"


def _added(entry: UtilisationEntry) -> UtilisationEntry:
    # Entries of one aircraft wait for each other, so that two of them can't both miss the other.
    Aircraft.objects.select_for_update(no_key=True).get(pk=entry.aircraft_id)
    entry.full_clean()
    _check_against_standing(entry)
    entry.save(force_insert=True)
    return entry


def _check_against_standing(entry: UtilisationEntry) -> None:
    today = timezone.localdate(timezone=entry.aircraft.base.zone)
    if entry.on > today:
        raise ValidationError({"on": f"{entry.on:%d %b %Y} is still to come at {entry.aircraft.base}."})
    others = UtilisationEntry.objects.standing().filter(aircraft=entry.aircraft_id)
    others = others.exclude(pk=entry.supersedes_id).order_by("on")
    same = others.filter(on=entry.on).first()
    if same:
        raise ValidationError({"on": f"The day already has {words(same)}. Correct that entry instead."})
    before, after = others.filter(on__lt=entry.on).last(), others.filter(on__gt=entry.on).first()
    errors: dict[str, list[str]] = {}
    for field, label, unit in (("hours", "Hours", " h"), ("landings", "Landings", "")):
        value = getattr(entry, field)
        if before and value < getattr(before, field):
            message = f"{label} never run backwards: {value}{unit} is below {words(before)}."
        elif after and value > getattr(after, field):
            message = f"{label} never run backwards: {value}{unit} is above the later {words(after)}."
        else:
            continue
        errors[field] = [f"{message} Check the figure, or correct that entry first."]
    if errors:
        raise ValidationError(errors)
