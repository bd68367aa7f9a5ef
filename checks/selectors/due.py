"""The due list: stored due points with their state as of a day, and the rows that page and files show."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from uuid import UUID

from django.db.models import Case, CharField, Count, F, FloatField, Func, Min, Q, QuerySet, Value, When

from checks.engine.due import DUE_SOON, IN_TOLERANCE, NO_RECORD, OVERDUE, PLANNED
from checks.models import DuePoint
from fleet.models import Aircraft

#: An aircraft that is stored: its points are shown for the day it comes back, and nothing of it is pressing.
STORED = "stored"
STATES = (OVERDUE, IN_TOLERANCE, DUE_SOON, NO_RECORD, PLANNED, STORED)
#: How a due date is known: counted on the calendar, told from the rate of use, or a number already reached.
COUNTED, ABOUT, REACHED = "counted", "about", "reached"
_USE = (DuePoint.Governing.HOURS, DuePoint.Governing.LANDINGS)


@dataclass(frozen=True)
class DueRow:
    """One line of the due list. Days, hours and landings left are negative where they are past.

    days_left is None where hours or landings are reached already: no date says how late that is.
    """

    point_id: int
    registration: str
    aircraft_id: int
    base: str
    task: str
    due_on: dt.date | None
    known: str
    governing: str
    days_left: int | None
    hours_left: Decimal | None
    landings_left: int | None
    latest_on: dt.date | None
    latest_known: str
    state: str
    done_on: dt.date | None
    event_id: UUID | None
    owner: str


@dataclass(frozen=True)
class StateCount:
    """How many due points are in a state, of those that the other filters leave."""

    state: str
    number: int


def due_points(*, today: dt.date, soon_days: int) -> QuerySet[DuePoint]:
    """Due points of the fleet with `state` as of today, earliest first, those without a date before all.

    The words are those of checks.engine.due.state, told in SQL so that filters, counts and order need no
    second pass; 'stored' is added for aircraft out of service. Where nothing was counted since an earlier
    day, a tolerance that was estimated to end by now is taken as ended.
    """
    gone, past, untold = gone_past_untold(today)
    # Whole sets of aircraft instead of a join: the list can then be read along its index.
    stored = Aircraft.objects.filter(state=Aircraft.State.STORED)
    left = Aircraft.objects.filter(state=Aircraft.State.LEFT)
    state = Case(
        When(aircraft__in=stored, then=Value(STORED)),
        When(gone, then=Value(OVERDUE)),
        When(past, then=Value(IN_TOLERANCE)),
        When(untold, then=Value(NO_RECORD)),
        When(due_on__lte=today + dt.timedelta(days=soon_days), then=Value(DUE_SOON)),
        default=Value(PLANNED),
        output_field=CharField(),
    )
    return DuePoint.objects.exclude(aircraft__in=left).annotate(state=state).order_by(*ORDER)


ORDER = (F("due_on").asc(nulls_first=True), "pk")


def gone_past_untold(today: dt.date) -> tuple[Q, Q, Q]:
    """Due points past their tolerance, past their due point, and of which no due point can be told. The
    first that is true decides: fields without a value make the others neither true nor false."""
    gone = Q(latest_on__lt=today)
    gone |= Q(hours_left__lt=_minus("check_due__tolerance_hours"))
    gone |= Q(landings_left__lt=_minus("check_due__tolerance_landings"))
    past = Q(calendar_on__lt=today) | Q(hours_left__lt=0) | Q(landings_left__lt=0)
    return gone, past, Q(untold=True)


def _minus(field: str) -> Func:
    """-F(field), without the conversion to text and back that Django asks of SQLite for each row."""
    return Func(F(field), template="(-%(expressions)s)", output_field=FloatField())


def count_states(points: QuerySet[DuePoint]) -> tuple[list[StateCount], dt.datetime | None]:
    """How many of the points are in each state, every state named, and when the oldest was counted.

    One query.
    """
    found = points.order_by().values_list("state").annotate(number=Count("pk"), oldest=Min("computed_at"))
    numbers, moments = {}, []
    for state, number, oldest in found:
        numbers[state] = number
        moments.append(oldest)
    return [StateCount(state, numbers.get(state, 0)) for state in STATES], min(moments, default=None)


def due_rows(points: QuerySet[DuePoint], *, today: dt.date) -> Iterator[DueRow]:
    """The rows of a due_points queryset, in its order. One query."""
    values = points.values_list(
        "pk",
        "aircraft__registration",
        "aircraft_id",
        "aircraft__base__name",
        "check_due__title",
        "due_on",
        "estimated",
        "governing",
        "hours_left",
        "landings_left",
        "state",
        "done_on",
        "last_event_id",
        "latest_on",
        "calendar_on",
        "season_on",
        "check_due__tolerance_days",
        "owner__first_name",
        "owner__last_name",
        "owner__username",
    )
    for pk, registration, aircraft, base, task, due, estimated, governing, hours, landings, *rest in values:
        state, done, event, latest, *latest_parts, first_name, last_name, username = rest
        known = "" if due is None else ABOUT if estimated else REACHED if governing in _USE else COUNTED
        yield DueRow(
            point_id=pk,
            registration=registration,
            aircraft_id=aircraft,
            base=base,
            task=task,
            due_on=due,
            known=known,
            governing=GOVERNING.get(governing, ""),
            days_left=(due - today).days if due and known != REACHED else None,
            hours_left=hours,
            landings_left=landings,
            latest_on=latest,
            latest_known=_latest_known(latest, known == REACHED and state == OVERDUE, *latest_parts),
            state=state,
            done_on=done,
            event_id=event,
            owner=f"{first_name or ''} {last_name or ''}".strip() or username or "",
        )


def _latest_known(
    latest: dt.date | None,
    reached: bool,
    calendar: dt.date | None,
    season: dt.date | None,
    tolerance_days: int,
) -> str:
    """How the end of the tolerance is known: by calendar or season date, else by hours or landings."""
    if latest is None:
        return ""
    if latest == season or (calendar and latest == calendar + dt.timedelta(days=tolerance_days)):
        return COUNTED
    return REACHED if reached else ABOUT


GOVERNING = dict(DuePoint.Governing.choices)
