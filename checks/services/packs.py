"""An audit pack that was handed out is a link of the operator's chain: its hash can be asked for later."""

import datetime as dt
from typing import Any

from django.db import transaction

from checks.models import Record
from checks.services.chain import append
from checks.services.persons import may
from fleet.models import Aircraft, User

ACT = "audit pack"
TAKE = "checks.take_pack"


@transaction.atomic
def keep_pack(
    *,
    by: User,
    aircraft: Aircraft,
    since: dt.date | None,
    until: dt.date | None,
    seal: str,
    head: tuple[int, str],
    size: int,
    at: dt.datetime,
) -> Record:
    """Write down which pack was made of what, by whom, with the manifest's hash and the chain's head.

    since, until: None for the whole life up to then. RecordError where the role does not take packs.
    """
    may(by, TAKE)
    told: dict[str, Any] = {
        "aircraft_id": aircraft.pk,
        "registration": aircraft.registration,
        "serial_number": aircraft.serial_number,
        "since": since,
        "until": until,
        "manifest": seal,
        "head": {"number": head[0], "hash": head[1]},
        "size": size,
        "made_by_id": by.pk,
        "made_by": str(by),
    }
    return append(aircraft=None, act=ACT, payload={"pack": told}, at=at)
