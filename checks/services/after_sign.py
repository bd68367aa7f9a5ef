"""What rests on the signed records and is kept right with them: due points at once, drift once it is kept."""

from collections.abc import Iterable

from django.db import transaction

from checks.services.drift import refresh_aircraft_drift, refresh_some_drift
from checks.services.due import refresh_due
from fleet.models import Aircraft


def refresh(aircraft: Aircraft) -> None:
    """Call inside the transaction that changed the aircraft's records.

    Drift is advice: where it fails, the records stand and the log says so; the next night scores again.
    """
    refresh_due(aircraft_ids=[aircraft.pk])

    def score() -> None:
        refresh_aircraft_drift(aircraft=aircraft)

    transaction.on_commit(score, robust=True)


def refresh_trend(aircraft_ids: Iterable[int]) -> None:
    """Call inside the transaction that puts readings of the aircraft in doubt, or takes them out of it."""
    asked = sorted(set(aircraft_ids))
    if asked:
        transaction.on_commit(lambda: refresh_some_drift(aircraft_ids=asked), robust=True)
