"""Questions about check events: what led to this one, and who may still sign it."""

from dataclasses import dataclass
from uuid import UUID

from checks.engine.outcome import DECIDE_IN_WRITING
from checks.models import CheckEvent, Defect, Deferral, Procedure


@dataclass(frozen=True)
class Occasion:
    """The purge and retest loop that an event belongs to, seen backwards from it.

    before: keys of the events that it follows or corrects, directly or through others.
    purges: how many of those that it follows are purges.
    """

    before: frozenset[UUID]
    purges: int


def occasion(event: CheckEvent) -> Occasion:
    """What led to this event. One query over the aircraft's events, however long the loop."""
    known = {
        uuid: (follows, supersedes, kind)
        for uuid, follows, supersedes, kind in CheckEvent.objects.filter(
            aircraft=event.aircraft_id
        ).values_list("uuid", "follows", "supersedes", "revision__procedure__kind")
    }
    purges, link = 0, event.follows_id
    seen: set[UUID] = set()
    while link in known and link not in seen:
        seen.add(link)
        purges += known[link][2] == Procedure.Kind.PURGE
        link = known[link][0]
    before: set[UUID] = set()
    ahead = [event.follows_id, event.supersedes_id]
    while ahead:
        link = ahead.pop()
        if link in known and link not in before:
            before.add(link)
            ahead += known[link][:2]
    return Occasion(frozenset(before), purges)


def may_be_decided(event: CheckEvent) -> bool:
    """Whether a person may decide in writing: only where too low a reading is all that is not valid."""
    only = event.outcome != CheckEvent.Outcome.NOT_VALID or event.next_action == DECIDE_IN_WRITING
    return event.too_low and only


def defects_of_occasion(event: CheckEvent) -> list[Defect]:
    """The defects that this event, or what led to it, raised; closed ones included. Three queries."""
    keys = {event.pk, *occasion(event).before}
    return list(
        Defect.objects.filter(event__in=keys)
        .select_related("event", "rectification")
        .prefetch_related(*Deferral.WHOLE)
        .order_by("raised_at")
    )
