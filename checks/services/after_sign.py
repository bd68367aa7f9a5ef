"""What rests on the signed records and is kept right with them: due points at once, drift once it is kept."""

from django.db import transaction

from checks.services.drift import refresh_aircraft_drift
from checks.services.due import refresh_due
from fleet.models import Aircraft


def refresh(aircraft: Aircraft) -> None:
    """Call inside the transaction that changed the aircraft's records."""
    refresh_due(aircraft_ids=[aircraft.pk])
    # Advice, not record: where scoring fails, that is logged and the signature stands all the same.
    transaction.on_commit(lambda: refresh_aircraft_drift(aircraft=aircraft), robust=True)
