"""Planned moves of aircraft between bases: planned, then carried out or withdrawn."""

import datetime as dt

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from fleet.models import Aircraft, Base, PlannedMove, User


@transaction.atomic
def plan_move(*, aircraft: Aircraft, base: Base, on: dt.date, by: User, remark: str = "") -> PlannedMove:
    """Plan that the aircraft flies from another base from a day on. ValidationError by field: a day past, the
    base where it will be anyway, a move of that day planned already."""
    Aircraft.objects.select_for_update(no_key=True).get(pk=aircraft.pk)
    if on < timezone.localdate(timezone=aircraft.base.zone):
        raise ValidationError({"on": "That day is past. Enter the base itself with the aircraft."})
    before = aircraft.planned_moves.planned().filter(on__lt=on).select_related("base").last()
    at = before.base if before else aircraft.base
    if at == base:
        raise ValidationError({"base": f"{aircraft} is at {base} by then anyway."})
    move = PlannedMove(
        aircraft=aircraft, base=base, on=on, remark=remark.strip(), planned_by=by, planned_at=timezone.now()
    )
    move.full_clean()
    move.save(force_insert=True)
    return move


@transaction.atomic
def end_move(*, move: PlannedMove, end: str, by: User) -> PlannedMove:
    """Withdraw a planned move, or carry it out: then the aircraft's base is the new one."""
    move = (
        PlannedMove.objects.select_for_update(of=("self",)).select_related("aircraft", "base").get(pk=move.pk)
    )
    if move.end:
        raise ValidationError(f"It was {move.end} already on {move.ended_at:%d %b %Y}.")
    if end == PlannedMove.End.CARRIED_OUT:
        if move.on > timezone.localdate(timezone=move.base.zone):
            raise ValidationError("Its day is still to come: withdraw it and plan another day.")
        earlier = PlannedMove.objects.planned().filter(aircraft=move.aircraft_id, on__lt=move.on)
        if earlier.exists():
            raise ValidationError("An earlier move of this aircraft is still planned. End that one first.")
        move.aircraft.base = move.base
        move.aircraft.save(update_fields=["base"])
    move.end, move.ended_by, move.ended_at = end, by, timezone.now()
    move.full_clean()
    move.save(update_fields=["end", "ended_by", "ended_at"])
    return move
