"""How long the panels have been dry by the records, and which systems are deactivated.

Only what was recorded is known: fluid used in flight wets panels too and stands nowhere here.
"""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from django.db.models import OuterRef, QuerySet, Subquery

from checks.models import CheckEvent, Procedure
from fleet.models import Aircraft

#: said wherever days dry are shown
WORDS = (
    "Days dry count from the last recorded work that puts fluid through the panels; use in flight is not "
    "recorded here. The number of days after which it prompts is a setting: common practice, no source."
)


@dataclass(frozen=True)
class Work:
    """A signed piece of work: which, when, what."""

    event_id: UUID
    on: dt.date
    task: str


@dataclass(frozen=True)
class Dryness:
    """When the panels of an aircraft were last wetted by the records; None: never on record.

    prompt: the days that are set for its variant or the operator have passed, or nothing is on record.
    """

    last: Work | None
    days: int | None
    after: int

    @property
    def prompt(self) -> bool:
        return self.days is None or self.days > self.after


def last_wetted(aircraft_ids: Iterable[int] | None = None) -> dict[int, Work]:
    """Aircraft -> its newest signed work that puts fluid through the panels. Two queries.

    Its outcome does not matter: fluid went through where a check was over its limit, too.
    """
    signed = CheckEvent.objects.signed().exclude(superseded_by__state=CheckEvent.State.SIGNED)
    return _newest(signed.filter(revision__procedure__wets_panels=True), aircraft_ids)


def deactivated(aircraft_ids: Iterable[int] | None = None) -> dict[int, Work]:
    """Aircraft -> the deactivation of its system, where nothing returned it to use since. Two queries.

    A deactivation counts once it is signed; a return to use only with every signature that it asks for.
    """
    signed = CheckEvent.objects.signed().exclude(superseded_by__state=CheckEvent.State.SIGNED)
    back = CheckEvent.objects.standing().filter(
        revision__procedure__use_after=Procedure.UseAfter.IN_USE, aircraft=OuterRef("aircraft")
    )
    newest = back.order_by("-work_date", "-signed_at")
    down = signed.filter(revision__procedure__use_after=Procedure.UseAfter.DEACTIVATED).annotate(
        back_on=Subquery(newest.values("work_date")[:1]), back_at=Subquery(newest.values("signed_at")[:1])
    )
    found = _newest(down, aircraft_ids, "back_on", "back_at")
    return {
        aircraft: work
        for aircraft, (work, signed_at, on, at) in found.items()
        if on is None or (on, at) < (work.on, signed_at)
    }


def dryness(aircraft: Iterable[Aircraft], *, today: dt.date, operator_days: int) -> dict[int, Dryness]:
    """Aircraft -> how long it is dry. Two queries; each aircraft comes with its variant."""
    fleet = list(aircraft)
    wetted = last_wetted([one.pk for one in fleet])
    found = {}
    for one in fleet:
        last = wetted.get(one.pk)
        days = (today - last.on).days if last else None
        found[one.pk] = Dryness(last, days, one.variant.dry_days or operator_days)
    return found


def _newest(events: QuerySet[CheckEvent], aircraft_ids: Iterable[int] | None, *more: str) -> dict:
    """Aircraft -> its newest event of those; with `more`, a tuple of it, its time of signing and these."""
    fleet = Aircraft.objects.all()
    if aircraft_ids is not None:
        fleet = fleet.filter(pk__in=list(aircraft_ids))
    own = events.filter(aircraft=OuterRef("pk")).order_by("-work_date", "-signed_at", "pk")
    keys = fleet.annotate(newest=Subquery(own.values("pk")[:1])).values("newest")
    columns = ("aircraft_id", "pk", "work_date", "revision__procedure__title", "signed_at", *more)
    found = {}
    for aircraft, pk, on, task, signed_at, *rest in events.filter(pk__in=keys).values_list(*columns):
        work = Work(pk, on, task)
        found[aircraft] = (work, signed_at, *rest) if more else work
    return found
