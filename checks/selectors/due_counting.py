"""Due points counted from the records: what was last done, the totals, the recent use, the base's season.

Everything is read in six queries however many aircraft are asked for; the engine counts. services.due
stores what comes out, and the page that says how a point was counted shows the engine's own lines.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from uuid import UUID

from django.db.models import Case, Exists, F, OuterRef, Q, QuerySet, Subquery, Value, When, Window
from django.db.models.functions import Coalesce, RowNumber

from checks.engine.due import Done, Due, Interval, Projection, SeasonDate, next_due, project
from checks.engine.use_rate import RECENT_DAYS, use_per_day
from checks.models import CheckEvent, DoubtReview, RecurringCheck
from fleet.models import Aircraft, Base, UtilisationEntry

#: Aircraft whose checks are counted: stored ones too, since their calendar runs on.
COUNTED_STATES = (Aircraft.State.IN_SERVICE, Aircraft.State.STORED)


@dataclass(frozen=True)
class Totals:
    """Latest totals of one aircraft and its use a day in the recent past; None: not recorded."""

    on: dt.date | None = None
    hours: Decimal | None = None
    landings: int | None = None
    hours_per_day: Decimal | None = None
    landings_per_day: Decimal | None = None


@dataclass(frozen=True)
class Counted:
    """One check on one aircraft as counted. done and event_id None: no record of it."""

    aircraft_id: int
    check_id: int
    event_id: UUID | None
    done: Done | None
    due: Due
    projection: Projection
    totals: Totals


@dataclass(frozen=True)
class _Past:
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


def count_due(*, aircraft_ids: Iterable[int] | None = None, today: dt.date) -> list[Counted]:
    """Every active recurring check of the aircraft (None: the whole fleet) as it stands today."""
    fleet = Aircraft.objects.filter(state__in=COUNTED_STATES).select_related("base")
    if aircraft_ids is not None:
        fleet = fleet.filter(pk__in=list(aircraft_ids))
    aircraft = list(fleet)
    ids = None if aircraft_ids is None else [one.pk for one in aircraft]
    checks = defaultdict(list)
    for check in RecurringCheck.objects.filter(active=True).select_related("procedure"):
        checks[check.procedure.variant_id].append(check)
    past, totals = _past(ids), _totals(ids, today)
    return [
        _count(one, check, past.get((one.pk, check.pk), []), totals.get(one.pk, Totals()), today)
        for one in aircraft
        for check in checks[one.variant_id]
    ]


def interval_of(check: RecurringCheck, base: Base) -> Interval:
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
    )


def _count(
    aircraft: Aircraft, check: RecurringCheck, past: list[_Past], totals: Totals, today: dt.date
) -> Counted:
    interval = interval_of(check, aircraft.base)
    due = Due(())
    for one in past:
        # Counting from the old due point needs every one before it; counting from done has one only.
        due = next_due(interval, one.done, due if due.limbs else None)
    in_use = aircraft.state == Aircraft.State.IN_SERVICE
    projection = project(
        due,
        now=today,
        hours_now=totals.hours,
        landings_now=totals.landings,
        hours_per_day=totals.hours_per_day if in_use else None,
        landings_per_day=totals.landings_per_day if in_use else None,
        totals_on=totals.on,
    )
    last = past[-1] if past else None
    return Counted(aircraft.pk, check.pk, last and last.event_id, last and last.done, due, projection, totals)


def _past(aircraft_ids: list[int] | None) -> dict[tuple[int, int], list[_Past]]:
    """What counts as done, oldest first, one a day; only the last where nothing before it matters."""
    before = UtilisationEntry.objects.standing().filter(
        aircraft=OuterRef("aircraft"), on__lte=OuterRef("work_date")
    )
    latest_first = before.order_by("-on", "-pk")
    newest = [F("work_date").desc(), F("signed_at").desc(), F("pk").desc()]
    events = counting_events().filter(revision__procedure__recurring__active=True)
    if aircraft_ids is not None:
        events = events.filter(aircraft__in=aircraft_ids)
    events = events.annotate(
        check_id=F("revision__procedure__recurring"),
        # The event's own totals; where it has none, those last recorded by then (so due rather early).
        hours_then=Coalesce("hours", Subquery(latest_first.values("hours")[:1])),
        landings_then=Coalesce("landings", Subquery(latest_first.values("landings")[:1])),
        nth=Case(
            When(
                revision__procedure__recurring__counting=RecurringCheck.Counting.FROM_DONE, then=_nth(newest)
            ),
            default=Value(1),
        ),
    ).filter(nth=1)
    past: dict[tuple[int, int], dict[dt.date, _Past]] = defaultdict(dict)
    for aircraft, check, event, on, hours, landings in events.order_by(
        "work_date", "signed_at", "pk"
    ).values_list("aircraft_id", "check_id", "pk", "work_date", "hours_then", "landings_then"):
        past[aircraft, check][on] = _Past(event, Done(on, hours, landings))
    return {key: list(days.values()) for key, days in past.items()}


def _nth(order: list) -> Window:
    return Window(RowNumber(), partition_by=["aircraft", "revision__procedure"], order_by=order)


def _totals(aircraft_ids: list[int] | None, today: dt.date) -> dict[int, Totals]:
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
        aircraft: _with_rates(last, recent[aircraft], today)
        for aircraft, last in _latest(aircraft_ids, today)
    }


def _latest(aircraft_ids: list[int] | None, today: dt.date) -> Iterator[tuple[int, tuple]]:
    """The latest totals of each aircraft, however long ago: one look into the index for each."""
    latest = UtilisationEntry.objects.standing().filter(aircraft=OuterRef("pk"), on__lte=today)
    fleet = Aircraft.objects.annotate(latest=Subquery(latest.order_by("-on", "-pk").values("pk")[:1]))
    if aircraft_ids is not None:
        fleet = fleet.filter(pk__in=aircraft_ids)
    entries = UtilisationEntry.objects.filter(pk__in=fleet.values("latest"))
    for aircraft, *last in entries.values_list("aircraft_id", "on", "hours", "landings"):
        yield aircraft, tuple(last)


def _with_rates(last: tuple, recent: list[tuple], today: dt.date) -> Totals:
    days = [on for on, _, _ in recent]
    return Totals(
        *last,
        hours_per_day=use_per_day(days, [hours for _, hours, _ in recent], now=today),
        landings_per_day=use_per_day(days, [landings for _, _, landings in recent], now=today),
    )
