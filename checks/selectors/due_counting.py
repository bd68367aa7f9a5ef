"""Due points counted from the records, aircraft by aircraft, each with its own explanation.

What was last done, the totals, the recent use and the base's season are read in a fixed number of queries
however many aircraft are asked for; the engine counts. The page that says how a point was counted shows the
engine's own lines. due_fleet counts the same in arrays for services.due, which stores what comes out.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from uuid import UUID

from django.db.models import (
    BigIntegerField,
    Case,
    Exists,
    F,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
    When,
    Window,
)
from django.db.models.functions import Cast, Coalesce, Round, RowNumber

from checks.engine.due import Done, Due, Interval, Projection, SeasonDate, project
from checks.engine.first_due import First, due_after
from checks.engine.use_range import UseRange, use_range
from checks.engine.use_rate import RECENT_DAYS, use_per_day
from checks.engine.use_season import Season
from checks.models import CheckEvent, DoubtReview, RecurringCheck, Terms
from checks.selectors.effectivity import Effectivity, active_tasks, effectivity
from checks.selectors.use_season import seasons
from fleet.models import Aircraft, Base, UtilisationEntry

#: Aircraft whose checks are counted: stored ones too, since their calendar runs on.
COUNTED_STATES = (Aircraft.State.IN_SERVICE, Aircraft.State.STORED)


@dataclass(frozen=True)
class Totals:
    """Latest totals of one aircraft and its use a day in the recent past; None: not recorded.

    The ranges are given only where an explanation is wanted.
    """

    on: dt.date | None = None
    hours: Decimal | None = None
    landings: int | None = None
    hours_per_day: Decimal | None = None
    landings_per_day: Decimal | None = None
    hours_range: UseRange | None = None
    landings_range: UseRange | None = None


@dataclass(frozen=True)
class Counted:
    """One check on one aircraft as counted. done and event_id None: no record of it. finished: a one-time
    check that was done, of which nothing is due any more."""

    aircraft_id: int
    check_id: int
    event_id: UUID | None
    done: Done | None
    due: Due
    projection: Projection
    totals: Totals
    finished: bool = False


@dataclass(frozen=True)
class Past:
    """A carrying out that counts as done."""

    event_id: UUID
    done: Done


def counting_events() -> QuerySet[CheckEvent]:
    """The events that count as done, for due points: usable ones, without those that a review of an
    instrument found out of calibration says are to be repeated."""
    refused = DoubtReview.objects.filter(event=OuterRef("pk"), accepted=False, finding__replaced_by=None)
    return usable_events().filter(~Exists(refused))


def usable_events() -> QuerySet[CheckEvent]:
    """The events that count as done by what was signed.

    Standing ones (accepted imports included) whose outcome is within limit, borderline or done; one that is
    not valid because a reading was far under the baseline, once a person has accepted it in writing; and an
    accepted paper record that names no outcome, for which the person who accepted it stands. A check over
    limit or not valid rolls nothing: what it was to show has not been shown, so it stays due.
    """
    outcome = CheckEvent.Outcome
    return CheckEvent.objects.standing().filter(
        Q(outcome__in=(outcome.WITHIN, outcome.BORDERLINE, outcome.DONE))
        | Q(outcome=outcome.NOT_VALID, too_low=True, decision__accepted=True)
        | Q(outcome="", source=CheckEvent.Source.IMPORTED)
    )


def count_due(
    *,
    aircraft_ids: Iterable[int] | None = None,
    today: dt.date,
    tasks: Sequence[RecurringCheck] | None = None,
    fits: Effectivity | None = None,
    finished: bool = False,
    ranges: bool = False,
) -> list[Counted]:
    """Every active recurring check of the aircraft (None: the whole fleet) as it stands today.

    tasks: these instead, active or not, with their terms as they are in memory; fits: on which aircraft they
    are due, asked of the database unless given. finished: one-time checks that were done, too. ranges: with
    the range of use, for an explanation.
    """
    fleet = Aircraft.objects.filter(state__in=COUNTED_STATES).select_related("base")
    if aircraft_ids is not None:
        fleet = fleet.filter(pk__in=list(aircraft_ids))
    aircraft = list(fleet)
    ids = None if aircraft_ids is None else [one.pk for one in aircraft]
    tasks = active_tasks() if tasks is None else tasks
    fits = fits or effectivity(tasks, today=today)
    past, totals, busy = _past(ids, tasks), totals_of(ids, today, ranges=ranges), seasons(today)
    counted = [
        count(one, task, past.get((one.pk, task.procedure_id), []), totals.get(one.pk, Totals()), busy, today)
        for one in aircraft
        for task in tasks
        if fits.holds(task, one)
    ]
    return [one for one in counted if finished or not one.finished]


def interval_of(check: Terms, base: Base) -> Interval:
    """The check's interval as the engine takes it, with the season date of the base."""
    return Interval(
        days=check.interval_days,
        months=check.interval_months,
        hours=check.interval_hours,
        landings=check.interval_landings,
        season=SeasonDate(base.season_month, base.season_day) if check.before_season else None,
        to_month_end=check.to_month_end,
        tolerance_days=check.tolerance_days,
        tolerance_hours=check.tolerance_hours,
        tolerance_landings=check.tolerance_landings,
        counting=check.counting,
        season_window_days=check.season_window_days,
        once=check.once,
    )


def first_of(check: Terms) -> First:
    """How the check is first due, as the engine takes it."""
    return First(check.first_due, check.first_on, check.first_hours, check.first_landings)


def count(
    aircraft: Aircraft,
    check: RecurringCheck,
    past: Sequence[Past],
    totals: Totals,
    busy: Mapping[str, Season],
    today: dt.date,
) -> Counted:
    """One check on one aircraft; busy: the season of use by kind of limb. No query."""
    counts = [one for one in past if check.counts_from is None or one.done.on >= check.counts_from]
    if check.counting == Terms.Counting.FROM_DONE:
        counts = counts[-1:]
    interval = interval_of(check, aircraft.base)
    entry = aircraft.entered_service_on
    due = due_after(interval, first_of(check), [one.done for one in counts], entry=entry)
    in_use = aircraft.state == Aircraft.State.IN_SERVICE
    projection = project(
        due,
        now=today,
        hours_now=totals.hours,
        landings_now=totals.landings,
        hours_per_day=totals.hours_per_day if in_use else None,
        landings_per_day=totals.landings_per_day if in_use else None,
        totals_on=totals.on,
        seasons=busy,
    )
    last = counts[-1] if counts else None
    return Counted(
        aircraft.pk,
        check.pk,
        last and last.event_id,
        last and last.done,
        due,
        projection,
        totals,
        finished=check.once and last is not None,
    )


def history(
    aircraft_ids: Sequence[int] | None, tasks: Sequence[RecurringCheck]
) -> Iterator[tuple[int, int, UUID, dt.date, int | None, int | None]]:
    """What counts as done, oldest first: aircraft, procedure, event, day, hours in hundredths, landings.

    Only the newest where no task counts from an old due point.
    """
    before = UtilisationEntry.objects.standing().filter(
        aircraft=OuterRef("aircraft"), on__lte=OuterRef("work_date")
    )
    latest_first = before.order_by("-on", "-pk")
    newest = [F("work_date").desc(), F("signed_at").desc(), F("pk").desc()]
    whole = {task.procedure_id for task in tasks if task.counting != Terms.Counting.FROM_DONE}
    events = counting_events().filter(revision__procedure__in={task.procedure_id for task in tasks})
    if aircraft_ids is not None:
        events = events.filter(aircraft__in=aircraft_ids)
    events = events.annotate(
        # The event's own totals; where it has none, those last recorded by then (so due rather early).
        hours_then=Coalesce("hours", Subquery(latest_first.values("hours")[:1])),
        landings_then=Coalesce("landings", Subquery(latest_first.values("landings")[:1])),
        nth=Case(When(revision__procedure__in=whole, then=Value(1)), default=_nth(newest)),
    ).filter(nth=1)
    return events.order_by("work_date", "signed_at", "pk").values_list(
        "aircraft_id",
        "revision__procedure_id",
        "pk",
        "work_date",
        Cast(Round(F("hours_then") * 100), BigIntegerField()),
        "landings_then",
    )


def _past(
    aircraft_ids: Sequence[int] | None, tasks: Sequence[RecurringCheck]
) -> dict[tuple[int, int], list[Past]]:
    """The history by aircraft and procedure; of several on one day the last counts."""
    past: dict[tuple[int, int], dict[dt.date, Past]] = defaultdict(dict)
    for aircraft, procedure, event, on, hours, landings in history(aircraft_ids, tasks):
        hours_then = None if hours is None else Decimal(hours).scaleb(-2)
        past[aircraft, procedure][on] = Past(event, Done(on, hours_then, landings))
    return {key: list(days.values()) for key, days in past.items()}


def _nth(order: list) -> Window:
    return Window(RowNumber(), partition_by=["aircraft", "revision__procedure"], order_by=order)


def totals_of(
    aircraft_ids: Sequence[int] | None, today: dt.date, *, ranges: bool = False
) -> dict[int, Totals]:
    """Latest totals and recent use of the aircraft. Two queries."""
    entries = UtilisationEntry.objects.standing().filter(on__lte=today)
    if aircraft_ids is not None:
        entries = entries.filter(aircraft__in=aircraft_ids)
    recent: dict[int, list] = defaultdict(list)
    since = today - dt.timedelta(days=RECENT_DAYS)
    for row in (
        entries.filter(on__gte=since)
        .order_by("on", "pk")
        .values_list("aircraft_id", "on", "hours", "landings")
    ):
        recent[row[0]].append(row[1:])
    return {
        aircraft: _with_rates(last, recent[aircraft], today, ranges)
        for aircraft, last in _latest(aircraft_ids, today)
    }


def _latest(aircraft_ids: Sequence[int] | None, today: dt.date) -> Iterator[tuple[int, tuple]]:
    """The latest totals of each aircraft, however long ago: one look into the index for each."""
    latest = UtilisationEntry.objects.standing().filter(aircraft=OuterRef("pk"), on__lte=today)
    fleet = Aircraft.objects.annotate(latest=Subquery(latest.order_by("-on", "-pk").values("pk")[:1]))
    if aircraft_ids is not None:
        fleet = fleet.filter(pk__in=aircraft_ids)
    entries = UtilisationEntry.objects.filter(pk__in=fleet.values("latest"))
    for aircraft, *last in entries.values_list("aircraft_id", "on", "hours", "landings"):
        yield aircraft, tuple(last)


def _with_rates(last: tuple, recent: list[tuple], today: dt.date, ranges: bool) -> Totals:
    days, hours, landings = ([row[place] for row in recent] for place in range(3))
    return Totals(
        *last,
        hours_per_day=use_per_day(days, hours, now=today),
        landings_per_day=use_per_day(days, landings, now=today),
        hours_range=use_range(days, hours, now=today) if ranges else None,
        landings_range=use_range(days, landings, now=today) if ranges else None,
    )
