"""Questions about who carries a draft on."""

from collections.abc import Iterable
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet

from checks.models import CheckEvent, Handover
from fleet.models import User

ASSIGNERS = ("checks.record_check", "checks.change_recurringcheck")


def may_assign(person: User) -> bool:
    """Whether the person may begin work for somebody else: who carries out checks, or plans them."""
    return any(person.has_perm(permission) for permission in ASSIGNERS)


def technicians() -> QuerySet[User]:
    """Who may carry out checks now, by name."""
    found = User.objects.with_perm(
        "checks.record_check",
        include_superusers=False,
        backend="django.contrib.auth.backends.ModelBackend",
    )
    return found.order_by("last_name", "first_name", "username")


def handovers_of(event: CheckEvent) -> list[Handover]:
    """Every change of hands, oldest first. One query."""
    return list(event.handovers.order_by("pk").select_related("giver", "receiver"))


def accepted_of(event: CheckEvent) -> Handover | None:
    """The newest change of hands that was accepted. One query."""
    accepted = event.handovers.filter(accepted_at__isnull=False)
    return accepted.order_by("-pk").select_related("receiver").first()


def holder_of(event: CheckEvent) -> User:
    """Who carries the draft on: the newest receiver who accepted it, else who started it. One query."""
    last = accepted_of(event)
    return last.receiver if last else event.started_by


def offer_of(event: CheckEvent) -> Handover | None:
    """The offer that waits to be accepted: the newest row, while it is not. One query."""
    newest = event.handovers.order_by("-pk").select_related("giver", "receiver").first()
    return newest if newest and newest.accepted_at is None else None


def holders(events: Iterable[CheckEvent]) -> dict[UUID, User]:
    """Who holds each draft that changed hands; one that did not is with who started it. One query."""
    accepted = Handover.objects.filter(event__in=list(events), accepted_at__isnull=False)
    rows = accepted.select_related("receiver").order_by("pk")
    return {row.event_id: row.receiver for row in rows}


def offered_to(person: User) -> QuerySet[Handover]:
    """Drafts handed or assigned to the person that wait for an answer, newest first."""
    later = Handover.objects.filter(event=OuterRef("event"), pk__gt=OuterRef("pk"))
    waiting = Handover.objects.filter(
        ~Exists(later), receiver=person, accepted_at=None, event__state=CheckEvent.State.DRAFT
    )
    related = ("event__aircraft", "event__revision__procedure", "giver")
    return waiting.select_related(*related).order_by("-pk")


def held_by(person: User) -> QuerySet[CheckEvent]:
    """Drafts that changed hands and are with the person now."""
    mine = Handover.objects.filter(event=OuterRef("pk"), receiver=person, accepted_at__isnull=False)
    later = Handover.objects.filter(event=OuterRef("event"), accepted_at__isnull=False, pk__gt=OuterRef("pk"))
    return CheckEvent.objects.filter(Exists(mine.filter(~Exists(later))), state=CheckEvent.State.DRAFT)
