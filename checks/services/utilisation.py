"""Utilisation with what follows from it, in the same transaction: due points and the use of deferrals."""

import datetime as dt
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from checks.services.due import refresh_due
from fleet import services as fleet_services
from fleet.models import Aircraft, User, UtilisationEntry


@transaction.atomic
def enter_utilisation(*, aircraft: Aircraft, **given: Any) -> UtilisationEntry:
    """As fleet.services.enter_utilisation; use that one where many entries come at once, then refresh_due."""
    entry = fleet_services.enter_utilisation(aircraft=aircraft, **given)
    refresh_due(aircraft_ids=[aircraft.pk])
    return entry


@transaction.atomic
def correct_utilisation(*, entry: UtilisationEntry, **given: Any) -> UtilisationEntry:
    """As fleet.services.correct_utilisation, with the due points counted anew."""
    correction = fleet_services.correct_utilisation(entry=entry, **given)
    refresh_due(aircraft_ids=[entry.aircraft_id])
    return correction


@transaction.atomic
def enter_sheet(
    *, on: dt.date, rows: Iterable[tuple[Aircraft, Decimal, int]], by: User
) -> tuple[dict[int, UtilisationEntry], dict[int, ValidationError]]:
    """Enter hours and landings of many aircraft at the end of one day, each row by itself.

    Returns by aircraft the entries that stand and what was refused. A row that says what the day already has
    is no fault: the entry that stands is given back, so that a sheet sent twice enters once.
    """
    entered: dict[int, UtilisationEntry] = {}
    refused: dict[int, ValidationError] = {}
    for aircraft, hours, landings in rows:
        same = aircraft.utilisation.standing().filter(on=on, hours=hours, landings=landings).first()
        try:
            entered[aircraft.pk] = same or fleet_services.enter_utilisation(
                aircraft=aircraft, on=on, hours=hours, landings=landings, by=by
            )
        except ValidationError as problem:
            refused[aircraft.pk] = problem
    if entered:
        refresh_due(aircraft_ids=list(entered))
    return entered, refused
