"""What pens of appended rows share: a row is whole before it is linked, and its link names its columns."""

import datetime as dt

from django.core.exceptions import ValidationError
from django.db.models import Model
from django.utils import timezone

from checks.services.chain import append, row
from checks.services.errors import RecordError, from_validation
from fleet.models import Aircraft


def whole(row_: Model, *later: str) -> None:
    """full_clean before the link is made, so that nothing is linked that can't be kept; later: the fields
    that are set afterwards."""
    try:
        row_.full_clean(exclude=["record", *later])
    except ValidationError as error:
        raise RecordError(*from_validation(error)) from None


def unlinked(row_: Model) -> dict[str, object]:
    """Every column but the key and the link, which are not known before the link is made."""
    return {name: value for name, value in row(row_).items() if name not in ("id", "record_id")}


def link(
    row_: Model,
    *,
    aircraft: Aircraft | None,
    act: str,
    name: str,
    at: dt.datetime,
    more: dict[str, object] | None = None,
) -> None:
    """Keep a row with a link of its own: `name` is what its columns are called in the record."""
    whole(row_)
    row_.record = append(aircraft=aircraft, act=act, payload={name: unlinked(row_)} | (more or {}), at=at)
    row_.save(force_insert=True)


def base_day(aircraft: Aircraft, at: dt.datetime) -> dt.date:
    """The day at the aircraft's base, for which a person's authorisation must hold."""
    return timezone.localdate(at, aircraft.base.zone)
