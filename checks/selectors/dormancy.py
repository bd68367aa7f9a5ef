"""How long the panels have been dry by the records, and which systems are deactivated.

Only what was recorded is known: fluid used in flight wets panels too and stands nowhere here.
"""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery

from checks.models import CheckEvent, Procedure, Revision
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
    """Aircraft -> its newest signed work that puts fluid through the panels. One query.

    Its outcome does not matter: fluid went through where a check was over its limit, too.
    """
    fleet = Aircraft.objects.all()
    if aircraft_ids is not None:
        fleet = fleet.filter(pk__in=list(aircraft_ids))
    wetting = _signed().filter(revision__procedure__wets_panels=True)
    own = wetting.filter(aircraft=OuterRef("pk")).order_by("-work_date", "-signed_at", "pk")
    keys = fleet.annotate(newest=Subquery(own.values("pk")[:1])).values("newest")
    columns = ("aircraft_id", "pk", "work_date", "revision__procedure__title")
    found = CheckEvent.objects.filter(pk__in=keys).values_list(*columns)
    return {aircraft: Work(*work) for aircraft, *work in found}


def _revisions(use_after: str) -> QuerySet[Revision]:
    """Asked for by themselves, beside the checks of one aircraft that they are sought among."""
    return Revision.objects.filter(procedure__use_after=use_after)


def standing_deactivations() -> QuerySet[CheckEvent]:
    """The newest deactivation of each system that nothing returned to use since.

    A deactivation counts once it is signed; a return to use only with every signature that it asks for.
    """
    after = Q(work_date__gt=OuterRef("work_date"))
    after |= Q(work_date=OuterRef("work_date"), signed_at__gt=OuterRef("signed_at"))
    # Joined here: procedures that deactivate are few, and lead to their checks along an index.
    down = _signed().filter(revision__procedure__use_after=Procedure.UseAfter.DEACTIVATED)
    again = _signed().filter(revision__in=_revisions(Procedure.UseAfter.DEACTIVATED))
    back = CheckEvent.objects.standing().filter(revision__in=_revisions(Procedure.UseAfter.IN_USE))
    later, returned = (some.filter(after, aircraft=OuterRef("aircraft")) for some in (again, back))
    return down.filter(~Exists(later), ~Exists(returned))


def deactivated(aircraft_ids: Iterable[int] | None = None) -> dict[int, Work]:
    """Aircraft -> the deactivation of its system that stands. One query."""
    found = standing_deactivations()
    if aircraft_ids is not None:
        found = found.filter(aircraft__in=list(aircraft_ids))
    columns = ("aircraft_id", "pk", "work_date", "revision__procedure__title")
    return {aircraft: Work(*work) for aircraft, *work in found.order_by("pk").values_list(*columns)}


def dryness(aircraft: Iterable[Aircraft], *, today: dt.date, operator_days: int) -> dict[int, Dryness]:
    """Aircraft -> how long it is dry. One query; each aircraft comes with its variant."""
    fleet = list(aircraft)
    wetted = last_wetted([one.pk for one in fleet])
    found = {}
    for one in fleet:
        last = wetted.get(one.pk)
        days = (today - last.on).days if last else None
        found[one.pk] = Dryness(last, days, one.variant.dry_days or operator_days)
    return found


def _signed() -> QuerySet[CheckEvent]:
    """Signed work that no signed correction has taken the place of."""
    return CheckEvent.objects.signed().exclude(superseded_by__state=CheckEvent.State.SIGNED)
