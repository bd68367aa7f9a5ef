"""The icing status of a large fleet: how every aircraft stands first, then the words of those that are shown.

It is worked out anew from the records each time: a state kept in a table could speak of a record that is no
more, or be silent of one that is. Of due points only what the order of the list needs leaves the database:
whether one speaks against, or how many where the gravest are to come first.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from django.db.models import Case, Exists, IntegerField, OuterRef, QuerySet, Subquery, Sum, Value, When

from checks.models import DuePoint
from checks.selectors.due import gone_past_untold
from checks.selectors.icing import (
    AGAINST,
    KINDS,
    LATE,
    NOTHING,
    UNKNOWN,
    IcingStatus,
    Reason,
    day_of,
    of_due_points,
    of_other_records,
    of_the_aircraft,
    status_of,
)
from fleet.models import Aircraft, Base, Operator, UtilisationEntry, Variant

_LATE_STEP = 10_000  # one number from the database: so many for each overdue check, one for each unknown


class Line(NamedTuple):
    """One aircraft with the day of its latest utilisation. due: of a ranked board so many _LATE_STEP and ones
    as due points speak against, of another one whether any does; of a stored aircraft it does not count."""

    pk: int
    registration: str
    state: str
    state_since: dt.date | None
    base_id: int
    base: str
    variant_id: int
    variant: str
    used_on: dt.date | None
    due: int | None

    def as_aircraft(self) -> Aircraft:
        """The aircraft with as much of it as a list shows, without a query."""
        base, variant = Base(self.base_id, name=self.base), Variant(self.variant_id, name=self.variant)
        of = {"registration": self.registration, "state": self.state, "base": base, "variant": variant}
        return Aircraft(self.pk, **of)


@dataclass(frozen=True)
class Board:
    """The aircraft by registration, and what is known of them besides due points."""

    operator: Operator
    today: dt.date
    lines: Sequence[Line]
    reasons: Mapping[int, Sequence[Reason]]
    ranked: bool

    def of_itself(self, line: Line) -> list[Reason]:
        """What follows from the aircraft's own state and use. No query."""
        return of_the_aircraft(line, self.today, self.operator)

    def against(self, line: Line) -> bool:
        """Whether anything is recorded against. A stored aircraft is, whatever is due on it. No query."""
        return bool(line.due or line.pk in self.reasons or self.of_itself(line))

    def words(self, line: Line) -> str:
        return AGAINST if self.against(line) else NOTHING

    def gravity(self, line: Line) -> tuple[int, int]:
        """That of its IcingStatus, of a ranked board. No query."""
        if not self.ranked:
            raise ValueError("The board was made without ranks.")
        reasons = [*self.reasons.get(line.pk, ()), *self.of_itself(line)]
        late, unknown = (0, 0) if line.state == Aircraft.State.STORED else divmod(line.due or 0, _LATE_STEP)
        places = [KINDS.index(reason.kind) for reason in reasons]
        places += [KINDS.index(LATE)] if late else []
        places += [KINDS.index(UNKNOWN)] if unknown else []
        return (min(places), -len(reasons) - late - unknown) if places else (len(KINDS), 0)


def board(*, at: dt.datetime, fleet: QuerySet[Aircraft], ranked: bool = True) -> Board:
    """How the aircraft of the fleet stand; ranked: by how much, too, which costs a look at every due point.
    Five queries for any number of aircraft, and a fixed number more where an instrument was found out of
    calibration."""
    operator = Operator.current()
    today = day_of(at, operator)
    lines = _lines(fleet.exclude(state=Aircraft.State.LEFT), today, ranked)
    reasons: dict[int, list[Reason]] = defaultdict(list)
    for aircraft_id, reason in of_other_records(fleet.order_by().values("pk"), today):
        reasons[aircraft_id].append(reason)
    return Board(operator, today, lines, dict(reasons), ranked)


def statuses_of(found: Board, lines: Iterable[Line]) -> list[IcingStatus]:
    """The status of each line in words, in their order; its aircraft holds what a list shows. One query."""
    shown = list(lines)
    keys = [line.pk for line in shown]
    due: dict[int, list[Reason]] = defaultdict(list)
    for aircraft_id, reason in of_due_points(keys, found.today, found.operator):
        due[aircraft_id].append(reason)
    return [
        status_of(
            line.as_aircraft(), [*found.reasons.get(line.pk, ()), *found.of_itself(line), *due[line.pk]]
        )
        for line in shown
    ]


def _lines(fleet: QuerySet[Aircraft], today: dt.date, ranked: bool) -> list[Line]:
    """The lines by registration. One query."""
    gone, past, untold = gone_past_untold(today)
    speaks = Case(
        When(gone, then=Value(_LATE_STEP)),
        When(past, then=Value(0)),
        When(untold, then=Value(1)),
        default=Value(0),
        output_field=IntegerField(),
    )
    points = DuePoint.objects.filter(aircraft=OuterRef("pk")).order_by().annotate(speaks=speaks)
    number = Subquery(points.values("aircraft").annotate(n=Sum("speaks")).values("n"))
    used = UtilisationEntry.objects.standing().filter(aircraft=OuterRef("pk")).order_by("-on")
    fleet = fleet.annotate(
        used_on=Subquery(used.values("on")[:1]), due=number if ranked else Exists(points.filter(speaks__gt=0))
    )
    columns = (*Line._fields[:5], "base__name", "variant_id", "variant__name", "used_on", "due")
    return [Line._make(row) for row in fleet.order_by("registration").values_list(*columns)]
