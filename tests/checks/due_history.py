"""History for due tests, put straight into the database: signed checks and utilisation."""

import datetime as dt
from decimal import Decimal

from django.utils import timezone

from checks.models import CheckEvent, DuePoint, Revision
from fleet.models import Aircraft, User, UtilisationEntry
from tests.world import World


def done(
    world: World,
    aircraft: Aircraft,
    on: dt.date,
    *,
    revision: Revision | None = None,
    outcome: str = CheckEvent.Outcome.WITHIN,
    hours: Decimal | None = None,
    landings: int | None = None,
    **more: object,
) -> CheckEvent:
    """A check of the revision (pressure and flow unless given) signed as performed on the day."""
    return CheckEvent.objects.create(
        aircraft=aircraft,
        revision=revision or world.revision(aircraft),
        base=aircraft.base,
        state=CheckEvent.State.SIGNED,
        signed_at=timezone.make_aware(dt.datetime.combine(on, dt.time(12))),
        work_date=on,
        started_by=world.person("technician1"),
        outcome=outcome,
        hours=hours,
        landings=landings,
        **more,
    )


def fly(
    aircraft: Aircraft,
    by: User,
    first: dt.date,
    last: dt.date,
    *,
    hours: float,
    landings: int,
    start: int = 2000,
) -> None:
    """An entry a day from first to last: so many hours and landings a day, on top of start of each."""
    days = (last - first).days + 1
    UtilisationEntry.objects.bulk_create(
        UtilisationEntry(
            aircraft=aircraft,
            on=first + dt.timedelta(days=day),
            hours=Decimal(start) + Decimal(str(hours)) * day,
            landings=start + landings * day,
            entered_by=by,
        )
        for day in range(days)
    )


def point(world: World, aircraft: Aircraft, code: str = "pressure-flow") -> DuePoint:
    """The stored due point of a task."""
    return DuePoint.objects.get(aircraft=aircraft, check_due=world.recurring(aircraft, code))
