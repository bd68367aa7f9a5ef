"""What rests on the signed records and is kept right with them: due points at once, drift once it is kept."""

from django.db import transaction

from checks.services.due import refresh_due
from fleet.models import Aircraft


def refresh(aircraft: Aircraft) -> None:
    """Call inside the transaction that changed the aircraft's records."""
    refresh_due(aircraft_ids=[aircraft.pk])
    transaction.on_commit(lambda: _refresh_drift(aircraft))


def _refresh_drift(aircraft: Aircraft) -> None:
    try:
        from checks.services.drift import refresh_aircraft_drift
    except ImportError:
        return
    refresh_aircraft_drift(aircraft=aircraft)
