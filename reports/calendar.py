"""The calendar of one base: accepted packages, due days, last days of deferrals, the season date."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from django.db.models import Count, Max, Min
from django.utils import timezone

from checks.engine.due import DUE_SOON, IN_TOLERANCE, OVERDUE, PLANNED
from checks.engine.intervals import SeasonDate
from checks.models import Defect, PackageChange, WorkPackage
from checks.selectors.defects import DEFERRED, EXPIRED, with_states
from checks.selectors.due import due_points
from checks.selectors.packages import packages
from checks.selectors.release import deferral_day
from fleet.models import Base, Operator

BACK_DAYS, AHEAD_DAYS = 30, 180
MOST = 2000  # entries of one calendar
RETRY_HOURS = 6


@dataclass(frozen=True)
class Entry:
    """One all-day entry. key: what makes it the same entry when it is read again; sequence: how often what
    it says was changed since; changed_at: when last."""

    key: str
    on: dt.date
    title: str
    text: str
    changed_at: dt.datetime
    sequence: int = 0
    category: str = ""


@dataclass(frozen=True)
class Calendar:
    """name: of the calendar; entries by day. cut: whether there were more than are given."""

    name: str
    entries: tuple[Entry, ...]
    cut: bool


def base_calendar(base: Base, now: dt.datetime) -> Calendar:
    """The calendar of a base as its records stand. Eight queries, however many entries."""
    today = timezone.localdate(now, timezone=base.zone)
    made = timezone.make_aware(dt.datetime(2000, 1, 1), dt.UTC)
    found = [
        *_packages(base, today),
        *_due(base, today),
        *_deferrals(base, now),
        *_season(base, today, made),
    ]
    found.sort(key=lambda entry: (entry.on, entry.key))
    demo = " (invented)" if Operator.current().is_demo else ""
    return Calendar(f"Ice protection, {base.name}{demo}", tuple(found[:MOST]), len(found) > MOST)


def _packages(base: Base, today: dt.date) -> Iterator[Entry]:
    """Accepted packages, one that was withdrawn or moved away is gone."""
    span = (today - dt.timedelta(days=BACK_DAYS), today + dt.timedelta(days=AHEAD_DAYS))
    found = packages().filter(state=WorkPackage.State.ACCEPTED, base=base, on__range=span)
    rows = PackageChange.objects.filter(package__in=found).order_by().values_list("package")
    changes = {pk: (number, last) for pk, number, last in rows.annotate(n=Count("pk"), last=Max("at"))}
    for one in found:
        number, last = changes.get(one.pk, (1, one.accepted_at))
        tasks = sorted(str(check.check_due) for check in one.checks.all())
        yield Entry(
            key=f"package {one.pk}",
            on=one.on,
            title=f"{one.aircraft.registration}: work package {one.pk}",
            text="\n".join([*tasks, "A plan, no permission: the due list rules."]),
            changed_at=last,
            sequence=number - 1,
            category="work package",
        )


def _due(base: Base, today: dt.date) -> Iterator[Entry]:
    """Due days ahead, and those missed: another day is another entry, so that none is changed behind the
    back of who reads it."""
    last = today + dt.timedelta(days=AHEAD_DAYS)
    points = due_points(today=today, soon_days=Operator.current().due_soon_days)
    points = points.filter(aircraft__base=base, due_on__lte=last)
    points = points.filter(state__in=(OVERDUE, IN_TOLERANCE, DUE_SOON, PLANNED))
    for point in points.select_related("aircraft", "check_due"):
        about = ", estimated" if point.estimated else ""
        late = f", {point.state}" if point.state in (OVERDUE, IN_TOLERANCE) else ""
        yield Entry(
            key=f"due {point.aircraft_id} {point.check_due_id} {point.due_on}",
            on=point.due_on,
            title=f"{point.aircraft.registration}: {point.check_due} due{about}{late}",
            text="The due list of Weepwatch rules.",
            changed_at=point.computed_at,
            category="due",
        )


def _deferrals(base: Base, now: dt.datetime) -> Iterator[Entry]:
    listed = with_states(Defect.objects.filter(aircraft__base=base), deferral_day(now))
    listed = listed.filter(now_is__in=(DEFERRED, EXPIRED)).annotate(
        deferred_at=Max("deferrals__record__written_at"), first=Min("deferrals__pk")
    )
    for one in listed.select_related("aircraft"):
        if one.holds_until.year == dt.MAXYEAR:
            continue  # by flight hours or flight days, which no calendar knows
        yield Entry(
            key=f"deferral {one.pk} {one.holds_until}",
            on=one.holds_until,
            title=f"{one.aircraft.registration}: last day of a deferral",
            text=" ".join(one.description.split())[:300],
            changed_at=one.deferred_at or one.raised_at,
            category="deferral",
        )


def _season(base: Base, today: dt.date, made: dt.datetime) -> Iterator[Entry]:
    season = SeasonDate(base.season_month, base.season_day)
    for year in (today.year, today.year + 1):
        yield Entry(
            key=f"season {base.pk} {year}",
            on=season.in_year(year),
            title=f"{base.name}: season date",
            text="Checks required before the season are done by this day.",
            changed_at=made,
            category="season",
        )
