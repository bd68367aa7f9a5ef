"""Fitting and removing serialised parts. The day of removal is not part of the fitment."""

import datetime as dt
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction

from fleet.models import Aircraft, Fitment, Part, Position


@transaction.atomic
def fit_part(
    *, part: Part, aircraft: Aircraft, position: Position, on: dt.date, hours: Decimal | None = None
) -> Fitment:
    """Begin a fitment; `hours` is the aircraft's total then. Raises ValidationError by field where the
    position is taken or the part is fitted elsewhere, naming what is in the way."""
    fitment = Fitment(part=part, aircraft=aircraft, position=position, fitted_on=on, fitted_hours=hours)
    fitment.full_clean()
    fitment.save(force_insert=True)
    return fitment


@transaction.atomic
def remove_part(
    *,
    fitment: Fitment,
    on: dt.date,
    hours: Decimal | None = None,
    reason: str = "",
    as_planned: bool = False,
) -> Fitment:
    """End a fitment that lasts. From that day on the position and the part are free again.

    as_planned: the programme asks for the removal; any other counts as unscheduled.
    """
    fitment = Fitment.objects.select_for_update().get(pk=fitment.pk)
    if fitment.removed_on:
        raise ValidationError(f"{fitment.part} was already removed on {fitment.removed_on:%d %b %Y}.")
    fitment.removed_on, fitment.removed_hours, fitment.removal_reason = on, hours, reason
    fitment.removed_as_planned = as_planned
    fitment.full_clean()
    fitment.save(update_fields=["removed_on", "removed_hours", "removal_reason", "removed_as_planned"])
    return fitment
