"""What stands beside a defect: parts on order and ferry permits. A permit is recorded, never granted here."""

import datetime as dt

from django.db import transaction
from django.utils import timezone

from checks.models import Defect, FerryPermit, PartOrder
from checks.services.chain import locked_head
from checks.services.errors import RecordError
from checks.services.kept import link, whole
from checks.services.persons import may, prove
from fleet.models import User


@transaction.atomic
def order_part(
    *,
    defect: Defect,
    by: User,
    what: str,
    reference: str,
    expected_on: dt.date,
    arrived_on: dt.date | None = None,
    replaces: PartOrder | None = None,
) -> PartOrder:
    """Put a part on order on record; replaces: the entry that this one changes. Both stay."""
    may(by, "checks.defer_defect")
    if replaces and (replaces.defect_id != defect.pk or PartOrder.objects.filter(replaces=replaces).exists()):
        raise RecordError("That entry was changed since. Load the page again.", field="replaces")
    order = PartOrder(
        defect=defect,
        what=what.strip(),
        reference=reference.strip(),
        expected_on=expected_on,
        arrived_on=arrived_on,
        replaces=replaces,
        entered_by=by,
        entered_at=timezone.now(),
    )
    whole(order)
    order.save(force_insert=True)
    return order


@transaction.atomic
def record_ferry_permit(
    *,
    defect: Defect,
    by: User,
    password: str,
    number: str,
    issuer: str,
    valid_from: dt.date,
    valid_until: dt.date,
    conditions: str,
) -> FerryPermit:
    """Record a permit that somebody else granted. It changes neither the defect nor the icing status."""
    at = timezone.now()
    may(by, "checks.defer_defect")
    prove(by, password)
    defect = Defect.objects.select_related("aircraft").get(pk=defect.pk)
    locked_head(defect.aircraft)
    permit = FerryPermit(
        aircraft=defect.aircraft,
        defect=defect,
        number=number.strip(),
        issuer=issuer.strip(),
        valid_from=valid_from,
        valid_until=valid_until,
        conditions=conditions.strip(),
        recorded_by=by,
        recorded_at=at,
    )
    link(permit, aircraft=defect.aircraft, act="ferry permit", name="permit", at=at)
    return permit
