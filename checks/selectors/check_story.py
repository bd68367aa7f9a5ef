"""The story that a check belongs to: every attempt of one occasion, and who may do what next."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from uuid import UUID

from checks.engine.outcome import ESCALATE
from checks.models import CheckEvent, Procedure, Revision, Signature
from checks.selectors.events import may_be_decided
from fleet.models import User


def attempts(event: CheckEvent) -> list[CheckEvent]:
    """Every event linked with this one by what follows or corrects what, oldest first. Two queries.

    Each has its revision and procedure, `superseded_by` where it was corrected, and `released` (bool).
    """
    edges: dict[UUID, set[UUID]] = defaultdict(set)
    known = CheckEvent.objects.filter(aircraft=event.aircraft_id).values_list("uuid", "follows", "supersedes")
    for uuid, *others in known:
        for other in others:
            if other:
                edges[uuid].add(other)
                edges[other].add(uuid)
    found, ahead = {event.pk}, [event.pk]
    while ahead:
        for link in edges[ahead.pop()] - found:
            found.add(link)
            ahead.append(link)
    events = CheckEvent.objects.filter(pk__in=found).select_related("revision__procedure", "superseded_by")
    signed = set(
        Signature.objects.filter(event__in=found, act=Signature.Act.RELEASED).values_list("event", flat=True)
    )
    listed = sorted(events, key=lambda e: e.signed_at or e.started_at)
    for one in listed:
        one.released = one.pk in signed
    return listed


def tested_before(event: CheckEvent, story: Iterable[CheckEvent]) -> Procedure | None:
    """The task that a purge or a repeated check leads back to: that of the check which led to this event."""
    if event.revision.procedure.kind == Procedure.Kind.CHECK:
        return event.revision.procedure
    known = {one.pk: one for one in story}
    link = event.follows_id
    while link in known:
        procedure = known[link].revision.procedure
        if procedure.kind == Procedure.Kind.CHECK:
            return procedure
        link = known[link].follows_id
    return None


def remedies_for(event: CheckEvent) -> list[Procedure]:
    """What may help a check that is outside: the purge tasks of the variant in force on the day of work.

    Where it is escalated the changes of part or line come first. One query.
    """
    kinds = [Procedure.Kind.PURGE]
    if event.next_action == ESCALATE:
        kinds.insert(0, Procedure.Kind.CHANGE)
    revisions = Revision.objects.in_force(event.work_date).filter(
        procedure__variant=event.aircraft.variant_id, procedure__kind__in=kinds
    )
    found = [revision.procedure for revision in revisions.select_related("procedure__variant")]
    return sorted(found, key=lambda procedure: (kinds.index(procedure.kind), procedure.code))


def acts_open(event: CheckEvent, person: User, given: Collection[str], corrected: bool) -> set[str]:
    """What this person may do next with a signed event: 'inspect', 'release', 'decide', 'correct', 'go on'.

    given: the acts signed already. Only what the role allows and the record still lacks; the service looks
    at everything else. No query but for the decision and the permissions.
    """
    if event.is_draft or corrected:
        return set()
    entered = event.source == CheckEvent.Source.ENTERED
    wanted = {
        "go on": person.has_perm("checks.record_check"),
        "correct": person.has_perm("checks.record_check"),
        "inspect": entered
        and event.revision.procedure.needs_inspection
        and Signature.Act.INSPECTED not in given
        and person.has_perm("checks.inspect_check"),
        "release": entered
        and Signature.Act.RELEASED not in given
        and person.has_perm("checks.release_check"),
        "decide": may_be_decided(event)
        and not hasattr(event, "decision")
        and person.has_perm("checks.decide_reading"),
    }
    return {act for act, open_ in wanted.items() if open_}


def decision_open(event: CheckEvent) -> bool:
    """Whether a written decision is still to be made on a signed event. One query at most."""
    return (
        may_be_decided(event)
        and not hasattr(event, "decision")
        and not CheckEvent.objects.signed().filter(supersedes=event).exists()
    )


def state_word(event: CheckEvent, *, inspected: bool, released: bool, corrected: bool) -> str:
    """How far a record has come, as one of the words of fleet.shapes. No query."""
    if event.is_draft:
        return "draft"
    if corrected:
        return "superseded"
    if released:
        return "released"
    lacks = event.revision.procedure.needs_inspection and not inspected
    return "awaiting second signature" if lacks and event.source == CheckEvent.Source.ENTERED else "signed"
