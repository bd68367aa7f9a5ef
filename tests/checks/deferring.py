"""Deferring a defect in a test as the maintenance controller would."""

import datetime as dt

from checks.models import Defect, Deferral
from checks.services.defects import defer
from tests.world import PASSWORD, World

#: Items of the invented MEL by repair category.
OF_CATEGORY = {"B": "30-10-03", "C": "30-10-01", "D": "30-10-02", "A": "30-20-01"}
CONFIRMED = {"maintenance_confirmed": True, "operations_confirmed": True, "placard_placed": True}


def deferred(
    world: World,
    defect: Defect,
    number: str = "30-10-01",
    *,
    by: str = "controller1",
    recorded_on: dt.date | None = None,
    **change: object,
) -> Deferral:
    """Under the item of this number, or of this repair category, with all that it asks for confirmed."""
    given: dict[str, object] = {
        "item": world.item(OF_CATEGORY.get(number, number)),
        "recorded_on": recorded_on or world.today,
        **CONFIRMED,
    }
    return defer(defect=defect, by=world.person(by), password=PASSWORD, **given | change)
