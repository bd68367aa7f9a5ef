"""Planned moves with what follows from them: another base has another season date."""

import datetime as dt

from django.db import transaction

from checks.services.due import refresh_due
from checks.services.persons import may
from fleet.models import Aircraft, Base, PlannedMove, User
from fleet.services import moves


@transaction.atomic
def plan_move(*, aircraft: Aircraft, base: Base, on: dt.date, by: User, remark: str = "") -> PlannedMove:
    """As fleet.services.moves.plan_move, for a person who may. Due points rest on the base of today, so
    they stay as they are until it is carried out; the season plan looks ahead."""
    may(by, "fleet.add_plannedmove")
    return moves.plan_move(aircraft=aircraft, base=base, on=on, by=by, remark=remark)


@transaction.atomic
def end_move(*, move: PlannedMove, end: str, by: User) -> PlannedMove:
    """As fleet.services.moves.end_move; carried out, the aircraft's due points are counted anew."""
    may(by, "fleet.change_plannedmove")
    ended = moves.end_move(move=move, end=end, by=by)
    if end == PlannedMove.End.CARRIED_OUT:
        refresh_due(aircraft_ids=[move.aircraft_id])
    return ended
