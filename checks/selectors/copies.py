"""Questions about what phones sent of a check."""

import datetime as dt
import uuid as uuids

from checks.models import CautionFollowed, CheckEvent, DraftCopy, Signature, Step
from fleet.models import User

# Another phone that sent within this time is taken to be at work.
AT_WORK = dt.timedelta(minutes=30)
HEEDED = (Step.Kind.WARNING, Step.Kind.CAUTION)


def others_at_work(uuid: uuids.UUID, person: User, device: str, now: dt.datetime) -> list[DraftCopy]:
    """The other phones that sent something of this check lately, newest first. One query."""
    found = DraftCopy.objects.filter(event=uuid, state=DraftCopy.State.KEPT, sent_at__gte=now - AT_WORK)
    return list(found.exclude(person=person, device=device).select_related("person"))


def clocks_of(uuid: uuids.UUID) -> dict[str, int]:
    """When pump and collection were started, in milliseconds of the server's clock, as last sent.

    A phone's own time is set right by how far its clock was ahead when it sent. One query.
    """
    clocks: dict[str, int] = {}
    for copy in DraftCopy.objects.filter(event=uuid, state=DraftCopy.State.KEPT).order_by("sent_at"):
        skew = copy.client_clock - copy.sent_at if copy.client_clock else dt.timedelta(0)
        for name, text in copy.content.get("clocks", {}).items():
            clocks[name] = round((dt.datetime.fromisoformat(text) - skew).timestamp() * 1000)
    return clocks


def beside(uuid: uuids.UUID) -> list[DraftCopy]:
    """Every copy of a check, newest first, with its person. One query."""
    return list(DraftCopy.objects.filter(event=uuid).select_related("person"))


def heeded_today(event: CheckEvent, person: User) -> set[int]:
    """Keys of the warnings and cautions that the person acknowledged, word for word, earlier the same day in
    the work that this check follows: shown again, not asked again. Queries: one for each link, then two.
    """
    before, link = [], event.follows
    while link and link.work_date == event.work_date:
        before.append(link.pk)
        link = link.follows
    if not before:
        return set()
    own = Signature.objects.filter(event__in=before, act=Signature.Act.PERFORMED, person=person)
    followed = CautionFollowed.objects.filter(event__in=own.values("event"), step__kind__in=HEEDED)
    read = set(followed.values_list("step__kind", "step__text"))
    steps = event.revision.steps.filter(kind__in=HEEDED).values_list("pk", "kind", "text")
    return {pk for pk, kind, text in steps if (kind, text) in read}
