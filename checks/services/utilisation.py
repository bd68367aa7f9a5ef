"""Utilisation with what follows from it, in the same transaction: due points and the use of deferrals."""

from typing import Any

from django.db import transaction

from checks.services.deferral_use import refresh_deferral_use
from checks.services.due import refresh_due
from fleet import services as fleet_services
from fleet.models import Aircraft, UtilisationEntry


@transaction.atomic
def enter_utilisation(*, aircraft: Aircraft, **given: Any) -> UtilisationEntry:
    """As fleet.services.enter_utilisation; use that one where many entries come at once, then refresh_due."""
    entry = fleet_services.enter_utilisation(aircraft=aircraft, **given)
    refresh_due(aircraft_ids=[aircraft.pk])
    refresh_deferral_use(aircraft_ids=[aircraft.pk])
    return entry


@transaction.atomic
def correct_utilisation(*, entry: UtilisationEntry, **given: Any) -> UtilisationEntry:
    """As fleet.services.correct_utilisation, with the due points counted anew."""
    correction = fleet_services.correct_utilisation(entry=entry, **given)
    refresh_due(aircraft_ids=[entry.aircraft_id])
    refresh_deferral_use(aircraft_ids=[entry.aircraft_id])
    return correction
