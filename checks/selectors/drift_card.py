"""How good the forecasts were, in words: read from what services.drift_card counted at night."""

import datetime as dt
from dataclasses import dataclass
from math import sqrt
from typing import Any

from django.db.models import QuerySet

from checks.charts.scene import Axis, Level, Line, Points, Scene
from checks.engine.drift_card import ALL, LAST_DAYS, LAST_YEAR, Grade
from checks.models import ForecastCard, PastForecast

#: fewer than so many crossings say little
FEW = 5
PROMISED = 0.9


@dataclass(frozen=True)
class Period:
    """One period of the report card with what it comes to in plain words."""

    name: str
    grade: Grade

    @property
    def coverage(self) -> float | None:
        """Share of the readings that fell where 9 of 10 should."""
        return self.grade.within / self.grade.forecasts if self.grade.forecasts else None

    @property
    def share(self) -> str:
        return "" if self.coverage is None else f"{self.coverage:.0%}".replace("%", " %")

    @property
    def missed(self) -> int:
        """Crossings without a warning at the check before."""
        return self.grade.crossings - self.grade.warned_before

    @property
    def date_error(self) -> str:
        error = self.grade.median_date_error
        return "" if error is None else f"{error:.0f} days"

    @property
    def false_per_100(self) -> str:
        rate = self.grade.false_alarms_per_100_years
        return "" if rate is None else f"{rate:.1f}"

    @property
    def words(self) -> tuple[str, ...]:
        """What to make of it, a sentence each."""
        if not self.grade.forecasts:
            return ("No forecast of this time could be held against a reading.",)
        return (self._intervals(), self._crossings(), self._warnings(), self._dates())

    @property
    def headline(self) -> str:
        """The answer to 'how good was it' in one line."""
        one = self.grade
        if not one.forecasts:
            return "No forecast of this time could be held against a reading."
        warned = f"{one.warned_before} of {one.crossings} crossings were warned of at the check before"
        if not one.crossings:
            warned = "no limit was crossed"
        alarms = {0: "no false alarm", 1: "one false alarm"}.get(
            one.false_alarms, f"{one.false_alarms} false alarms"
        )
        said = f"{warned}, with {alarms}; {self.share} of the readings fell where 9 of 10 were expected."
        return said[0].upper() + said[1:]

    def _intervals(self) -> str:
        one = self.grade
        give = 2 * sqrt(PROMISED * (1 - PROMISED) / one.forecasts)
        judged = "which is what was promised, as far as so many can tell"
        if self.coverage < PROMISED - give:
            judged = "fewer than promised: the intervals were too narrow"
        elif self.coverage > PROMISED + give:
            judged = "more than promised: the intervals were too wide"
        return (
            f"{one.within} of {one.forecasts} readings ({self.share}) fell where 9 of 10 were expected, "
            f"{judged}. {one.above} lay above, {one.under} below."
        )

    def _crossings(self) -> str:
        one = self.grade
        if not one.crossings:
            return "No point went over its limit from one reading to the next."
        few = " With so few this says little." if one.crossings < FEW else ""
        return (
            f"{_points(one.crossings)} went over the limit: {one.warned_before} had been called drifting or "
            f"closing at the check before, {self.missed} came without that warning. Added up, the chances "
            f"given came to {one.expected:.1f}.{few}"
        )

    def _warnings(self) -> str:
        one = self.grade
        if not one.warnings:
            return "No first warning."
        return (
            f"First warnings: {one.warnings}. Of these {one.came_true} crossed, {one.renewed} ended with a "
            f"purge or a new part first, {one.open_still} are open, {one.false_alarms} were false alarms "
            f"({self.false_per_100} in 100 panel-years)."
        )

    def _dates(self) -> str:
        number = len(self.grade.date_errors)
        if not number:
            return "No crossing came of which a date had been given."
        middle = f"it was off by {self.date_error} in the middle"
        return f"Where a crossing had been given a date ({number}), {middle}."


@dataclass(frozen=True)
class Card:
    """The report card; last: the last twelve months; years: newest first; whole: everything."""

    made_at: dt.datetime
    last: Period
    years: tuple[Period, ...]
    whole: Period

    @property
    def periods(self) -> tuple[Period, ...]:
        return (self.last, *self.years, self.whole)


def report_card() -> Card | None:
    """The newest count; None before the first night. One query."""
    newest = ForecastCard.objects.order_by("-made_at", "-pk").first()
    if newest is None or ALL not in newest.grades:
        return None
    years = sorted((name for name in newest.grades if name not in (ALL, LAST_YEAR)), reverse=True)
    return Card(
        made_at=newest.made_at,
        last=_period("the last twelve months", newest.grades[LAST_YEAR]),
        years=tuple(_period(year, newest.grades[year]) for year in years),
        whole=_period("all years", newest.grades[ALL]),
    )


def last_facts(period: Period) -> list[dict[str, str]]:
    """The four figures of a period for partials/_facts.html. No query."""
    one = period.grade
    return [
        {"name": "Readings inside 9 of 10", "value": period.share or "–", "note": f"of {one.forecasts}"},
        {
            "name": "Crossings warned of at the check before",
            "value": f"{one.warned_before} of {one.crossings}",
        },
        {
            "name": "False alarms",
            "value": str(one.false_alarms),
            "note": f"{period.false_per_100 or '–'} in 100 panel-years",
        },
        {
            "name": "Crossing date off by",
            "value": period.date_error or "–",
            "note": f"middle of {len(one.date_errors)}",
        },
    ]


def words_of(card: Card | None) -> tuple[str, ...]:
    """The last twelve months in sentences; why there are none before the first night."""
    if card is None:
        return ("No past forecast was held against a reading yet: the nightly run does that.",)
    return card.last.words


def past_forecasts() -> QuerySet[PastForecast]:
    """Every kept forecast with what came, the newest first."""
    return PastForecast.objects.select_related("aircraft__base", "point").order_by(
        "-came_on", "aircraft__registration", "point__order", "pk"
    )


def crossings(today: dt.date) -> QuerySet[PastForecast]:
    """The forecasts of the last twelve months before a limit was crossed."""
    since = today - dt.timedelta(days=LAST_DAYS)
    return past_forecasts().filter(over=True, was_over=False, came_on__gt=since)


def date_error_words(one: PastForecast) -> str:
    """How far off the foretold date was: '21 days late', 'no date given'."""
    if one.crossing_on is None or one.crossed_on is None:
        return "no date given" if one.crossing_on is None else "day of crossing not known"
    days = (one.crossing_on - one.crossed_on).days
    return f"{abs(days)} days too {'late' if days > 0 else 'early'}" if days else "on the day"


def coverage_scene(card: Card) -> Scene:
    """Year by year the share of readings that fell where 9 of 10 were expected."""
    known = [period for period in reversed(card.years) if period.grade.forecasts]
    middle = {period: float(dt.date(int(period.name), 7, 1).toordinal()) for period in known}
    give = {period: 200 * sqrt(PROMISED * (1 - PROMISED) / period.grade.forecasts) for period in known}
    items: list[Any] = [Level(100 * PROMISED, "promised, 90 %")]
    for period in known:
        share = 100 * period.coverage
        ends = (
            (middle[period], max(share - give[period], 0)),
            (middle[period], min(share + give[period], 100)),
        )
        items.append(Line(ends, "", "faint"))
    items.append(
        Points(
            tuple((middle[period], 100 * period.coverage) for period in known),
            tuple(
                f"{period.name}: {period.share}, {period.grade.within} of {period.grade.forecasts} readings"
                for period in known
            ),
            "share of readings inside; the line is what chance allows",
            "square",
        )
    )
    ends = [dt.date(int(period.name), 1, 1).toordinal() for period in known] or [1]
    return Scene(
        "Readings that fell where 9 of 10 were expected, by year",
        "; ".join(f"{period.name} {period.share}" for period in known) + ".",
        Axis("", is_date=True, low=float(min(ends)), high=float(max(ends) + LAST_DAYS)),
        Axis("Share", "%", high=100.0),
        tuple(items),
        ("Year", "Inside", "Readings"),
        tuple((period.name, period.share, str(period.grade.forecasts)) for period in known),
    )


def _period(name: str, plain: dict[str, Any]) -> Period:
    chances = tuple(tuple(row) for row in plain["chances"])
    return Period(name, Grade(**{**plain, "chances": chances, "date_errors": tuple(plain["date_errors"])}))


def _points(number: int) -> str:
    return "1 point" if number == 1 else f"{number} points"
