"""How often panels are purged and removed, how long defects stay open, by variant and position.

The last twelve months beside the three years before them, per 1,000 flight hours. Seven queries.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import pairwise
from statistics import median

from dateutil.relativedelta import relativedelta
from django.db.models import DecimalField, F, OuterRef, Subquery
from django.db.models.functions import Coalesce

from checks.engine.reliability import CHANCE, Count, Trend, alert_level, occasions, rate_range, trend_of
from checks.models import CheckEvent, Defect, Procedure
from fleet.models import Aircraft, Fitment, UtilisationEntry, Variant

NOW_MONTHS, BEFORE_MONTHS = 12, 36
PURGES, REMOVALS, OPEN_DAYS = "purges", "unscheduled removals", "days with an open defect"
WHOLE = "whole aircraft"
ALERT, QUIET, UNKNOWN = "alert", "no alert", "nothing to compare"
BASIS = (
    f"Alert level: as many in the last {NOW_MONTHS} months as come with less than {CHANCE:.0%} chance at the "
    f"rate of the {BEFORE_MONTHS} months before, both times counted as Poisson. Of many quiet lines one in "
    "twenty or fewer raise an alert: it asks for a look, it is no verdict. Days with an open defect have no "
    "alert level; they are no count of events. A purge goes through all panels at once: it is counted for "
    "the whole aircraft."
)


@dataclass(frozen=True)
class Period:
    """From the day after `since` to `until`."""

    since: dt.date
    until: dt.date

    def holds(self, day: dt.date) -> bool:
        return self.since < day <= self.until

    def days_in(self, begun: dt.date, ended: dt.date) -> int:
        """Days of the stretch [begun, ended) within the period."""
        first = dt.timedelta(days=1)
        return max(0, (min(ended, self.until + first) - max(begun, self.since + first)).days)


@dataclass
class Line:
    """One thing counted at one place of a variant; hours are those of all its aircraft."""

    variant: str
    place: str
    what: str
    now: Count
    before: Count

    @property
    def counted(self) -> bool:
        """Whether it is a number of events, which alone has a range and an alert level."""
        return self.what != OPEN_DAYS

    @property
    def range(self) -> tuple[float, float] | None:
        return rate_range(self.now) if self.counted else None

    @property
    def alert(self) -> int | None:
        return alert_level(self.before, self.now.hours) if self.counted else None

    @property
    def state(self) -> str:
        if not self.counted or self.alert is None:
            return UNKNOWN
        return ALERT if self.now.events >= self.alert else QUIET


@dataclass(frozen=True)
class PurgeLives:
    """Days between the purges of one aircraft, over the aircraft of a variant."""

    variant: str
    aircraft: int
    lives: int
    early: float | None  # median days of the first lives, each aircraft's
    late: float | None  # of the newest
    trend: Trend


@dataclass
class Report:
    """hours_unknown: aircraft without two totals far enough apart, whose events stand without their hours."""

    today: dt.date
    now: Period
    before: Period
    lines: list[Line] = field(default_factory=list)
    lives: list[PurgeLives] = field(default_factory=list)
    hours_unknown: list[str] = field(default_factory=list)

    @property
    def alerts(self) -> list[Line]:
        return [line for line in self.lines if line.state == ALERT]


def reliability(today: dt.date) -> Report:
    """The report as of a day."""
    between, first = today - relativedelta(months=NOW_MONTHS), NOW_MONTHS + BEFORE_MONTHS
    report = Report(today, Period(between, today), Period(today - relativedelta(months=first), between))
    hours = _hours(report)
    purges, removals, open_days = _purges(today), _removals(report), _open_days(report)
    for variant in Variant.objects.prefetch_related("positions"):
        flown = [hours.get((variant.pk, period), 0.0) for period in (report.now, report.before)]
        own = {key: days for key, days in purges.items() if key[0] == variant.pk}
        report.lines += _lines(report, variant, flown, own, removals, open_days)
        report.lives.append(_lives(variant, list(own.values())))
    return report


def _lines(
    report: Report, variant: Variant, flown: list[float], purges: dict, removals: dict, open_days: dict
) -> Iterator[Line]:
    def line(place: str, what: str, amounts: list[float]) -> Line:
        now, before = (Count(amount, hours) for amount, hours in zip(amounts, flown, strict=True))
        return Line(variant.name, place, what, now, before)

    periods = (report.now, report.before)
    purged = [sum(p.holds(day) for days in purges.values() for day in days) for p in periods]
    yield line(WHOLE, PURGES, purged)
    for position in (None, *variant.positions.all()):
        place, key = (position.name, position.pk) if position else (WHOLE, None)
        for what, found in ((REMOVALS, removals), (OPEN_DAYS, open_days)):
            amounts = [found.get((variant.pk, key, period), 0) for period in periods]
            if any(amounts):
                yield line(place, what, amounts)


def _lives(variant: Variant, purges: list[list[dt.date]]) -> PurgeLives:
    """The days between purges; the life that still lasts is not counted, its end is not known."""
    rows = [[float((b - a).days) for a, b in pairwise(days)] for days in purges]
    several = [row for row in rows if len(row) > 1]
    return PurgeLives(
        variant.name,
        len([row for row in rows if row]),
        sum(map(len, rows)),
        median(row[0] for row in several) if several else None,
        median(row[-1] for row in several) if several else None,
        trend_of(rows),
    )


def _hours(report: Report) -> dict[tuple[int, Period], float]:
    """Flight hours of each variant in each period, from the totals that stood at its ends. One query."""
    standing = UtilisationEntry.objects.standing().filter(aircraft=OuterRef("pk"))
    first = standing.order_by("on", "pk").values("hours")[:1]
    dates = (report.before.since, report.now.since, report.today)
    totals = {
        f"at_{n}": Coalesce(
            Subquery(standing.filter(on__lte=day).order_by("-on", "-pk").values("hours")[:1]),
            Subquery(first),
            output_field=DecimalField(),
        )
        for n, day in enumerate(dates)
    }
    flown: dict[tuple[int, Period], float] = defaultdict(float)
    for row in Aircraft.objects.annotate(**totals).values("registration", "variant", *totals):
        start, middle, end = (row[name] for name in totals)
        if start is None or end == start:
            report.hours_unknown.append(row["registration"])
            continue
        flown[row["variant"], report.before] += float(middle - start)
        flown[row["variant"], report.now] += float(end - middle)
    return flown


def _purges(today: dt.date) -> dict[tuple[int, int], list[dt.date]]:
    """Occasions of purging by (variant, aircraft), oldest first. One query."""
    events = CheckEvent.objects.standing().filter(
        revision__procedure__kind=Procedure.Kind.PURGE, work_date__lte=today
    )
    days: dict[tuple[int, int], list[int]] = defaultdict(list)
    for variant, aircraft, day in events.order_by("work_date").values_list(
        "aircraft__variant", "aircraft", "work_date"
    ):
        days[variant, aircraft].append(day.toordinal())
    return {key: [dt.date.fromordinal(day) for day in occasions(found)] for key, found in days.items()}


def _removals(report: Report) -> dict[tuple[int, int | None, Period], int]:
    """Unscheduled removals by (variant, position, period); position None: all of them. One query."""
    found: dict[tuple[int, int | None, Period], int] = defaultdict(int)
    removed = Fitment.objects.filter(removed_on__lte=report.today, removed_as_planned=False)
    for variant, position, day in removed.values_list("position__variant", "position", "removed_on"):
        for period in (report.now, report.before):
            if period.holds(day):
                found[variant, position, period] += 1
                found[variant, None, period] += 1
    return found


def _open_days(report: Report) -> dict[tuple[int, int | None, Period], int]:
    """Days on which a defect was open, deferred or not, as _removals. One query."""
    found: dict[tuple[int, int | None, Period], int] = defaultdict(int)
    defects = Defect.objects.annotate(variant=F("aircraft__variant"), ended=F("rectification__rectified_at"))
    for variant, position, raised, ended in defects.values_list("variant", "position", "raised_at", "ended"):
        last = ended.date() if ended else report.today + dt.timedelta(days=1)
        for period in (report.now, report.before):
            days = period.days_in(raised.date(), last)
            if days:
                found[variant, None, period] += days
                if position is not None:
                    found[variant, position, period] += days
    return found


def lives_words(one: PurgeLives) -> str:
    """Whether the lives of a variant shorten, in words."""
    if not one.trend.pairs:
        return "No aircraft has two lives to compare."
    pairs = "1 pair" if one.trend.pairs == 1 else f"{one.trend.pairs} pairs"
    share = f"Of {pairs} of lives of one aircraft the later is longer in {one.trend.longer}"
    if one.trend.shortens:
        return f"Shortening: {share.lower()}, which comes by chance {one.trend.chance:.1%} of the time."
    return f"Not shown. {share}."


def hours_words(report: Report, variant: str) -> str:
    """What the rates of a variant are per: its flight hours in both periods."""
    line = next(line for line in report.lines if line.variant == variant)
    now, before = line.now.hours, line.before.hours
    return f"{now:,.0f} flown in the last {NOW_MONTHS} months, {before:,.0f} in the {BEFORE_MONTHS} before"


def figure(value: float | Decimal | None, digits: int = 2) -> str:
    """A figure as pages and paper show it; '–' where there is none."""
    return "–" if value is None else f"{value:.{digits}f}"
