"""The icing status of a large fleet: how every aircraft stands first, then the words of those that are shown.

Fewer rows leave the database than icing_statuses takes for the whole fleet: of overdue checks and of those
without a record only their number, until a line is shown.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.db.models import Case, IntegerField, OuterRef, QuerySet, Subquery, Sum, Value, When

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


@dataclass(frozen=True)
class Line:
    """One aircraft as it stands: its gravity sorts as that of IcingStatus does."""

    pk: int
    registration: str
    state: str
    base_id: int
    base: str
    variant_id: int
    variant: str
    gravity: tuple[int, int]

    @property
    def words(self) -> str:
        return NOTHING if self.gravity[0] == len(KINDS) else AGAINST

    def as_aircraft(self) -> Aircraft:
        """The aircraft with as much of it as a list shows, without a query."""
        base, variant = Base(self.base_id, name=self.base), Variant(self.variant_id, name=self.variant)
        of = {"registration": self.registration, "state": self.state, "base": base, "variant": variant}
        return Aircraft(self.pk, **of)


@dataclass(frozen=True)
class Board:
    """How every aircraft stands, by registration, and what is known of them besides due points."""

    operator: Operator
    today: dt.date
    lines: tuple[Line, ...]
    reasons: Mapping[int, tuple[Reason, ...]]


def board(*, at: dt.datetime, fleet: QuerySet[Aircraft]) -> Board:
    """How the aircraft of the fleet stand. Five queries for any number of aircraft, and a fixed number more
    where an instrument was found out of calibration."""
    operator = Operator.current()
    today = day_of(at, operator)
    rows = _rows(fleet.exclude(state=Aircraft.State.LEFT), today)
    reasons: dict[int, list[Reason]] = defaultdict(list)
    for aircraft_id, reason in of_other_records(fleet.order_by().values("pk"), today):
        reasons[aircraft_id].append(reason)
    for row in rows:
        reasons[row.pk] += of_the_aircraft(row, today, operator)
    return Board(
        operator,
        today,
        tuple(_line(row, reasons[row.pk]) for row in rows),
        {key: tuple(found) for key, found in reasons.items()},
    )


def statuses_of(found: Board, lines: Iterable[Line]) -> list[IcingStatus]:
    """The status of each line in words, in their order; its aircraft holds what a list shows. One query."""
    shown = list(lines)
    keys = [line.pk for line in shown]
    due: dict[int, list[Reason]] = defaultdict(list)
    for aircraft_id, reason in of_due_points(keys, found.today, found.operator):
        due[aircraft_id].append(reason)
    return [status_of(line.as_aircraft(), [*found.reasons.get(line.pk, ()), *due[line.pk]]) for line in shown]


def _rows(fleet: QuerySet[Aircraft], today: dt.date) -> list:
    """Named rows of the aircraft, with the day of the latest utilisation and the number of due points that
    speak against."""
    gone, past, untold = gone_past_untold(today)
    speaks = Case(
        When(gone, then=Value(_LATE_STEP)),
        When(past, then=Value(0)),
        When(untold, then=Value(1)),
        default=Value(0),
        output_field=IntegerField(),
    )
    points = DuePoint.objects.filter(aircraft=OuterRef("pk")).order_by().values("aircraft")
    used = UtilisationEntry.objects.standing().filter(aircraft=OuterRef("pk")).order_by("-on")
    return list(
        fleet.annotate(
            used_on=Subquery(used.values("on")[:1]), due=Subquery(points.annotate(n=Sum(speaks)).values("n"))
        )
        .order_by("registration")
        .values_list(
            "pk",
            "registration",
            "state",
            "state_since",
            "base_id",
            "base__name",
            "variant_id",
            "variant__name",
            "used_on",
            "due",
            named=True,
        )
    )


def _line(row, reasons: list[Reason]) -> Line:
    """Due points of a stored aircraft do not speak against it: that it is stored does."""
    stored = row.state == Aircraft.State.STORED
    late, unknown = (0, 0) if stored else divmod(row.due or 0, _LATE_STEP)
    places = [KINDS.index(reason.kind) for reason in reasons]
    places += [KINDS.index(LATE)] if late else []
    places += [KINDS.index(UNKNOWN)] if unknown else []
    number = len(reasons) + late + unknown
    gravity = (min(places), -number) if places else (len(KINDS), 0)
    base, variant = (row.base_id, row.base__name), (row.variant_id, row.variant__name)
    return Line(row.pk, row.registration, row.state, *base, *variant, gravity)
