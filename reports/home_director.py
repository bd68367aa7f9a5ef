"""The director's home: what drifts, what awaits approval, whose authorisation runs out, the season ahead."""

import datetime as dt
from collections import Counter
from dataclasses import dataclass

from django.db.models import Count, Exists, OuterRef, Q
from django.utils import timezone

from checks.engine.drift_action import NOTHING
from checks.engine.due import SeasonDate, next_season
from checks.models import DuePoint, IntervalRevision, Revision, SeriesState
from checks.selectors.drift import (
    DriftRow,
    StateCount,
    count_series,
    drift_rows,
    series_states,
    whole_aircraft,
)
from checks.selectors.drift_card import Card, last_facts, report_card
from checks.selectors.drift_changes import Changes, changes
from checks.selectors.programme import revisions_waiting
from fleet.models import Aircraft, Authorisation, Base

HEAD = 8
AUTHORISATION_DAYS = 60


@dataclass(frozen=True)
class Ending:
    """An authorisation that runs out, or ran out lately, with nothing on file that goes on from it."""

    authorisation: Authorisation
    expired: bool


@dataclass(frozen=True)
class SeasonAhead:
    """What stands between a base and its next season date.

    due: checks of its aircraft in service due by then. meets: series whose crossing date comes by then;
    may: those whose early end of the interval does.
    """

    base: Base
    on: dt.date
    days: int
    aircraft: int
    due: int
    meets: int
    may: int


@dataclass(frozen=True)
class Director:
    """Lists are heads of what their own pages show whole. together: aircraft whose points may all move."""

    drift: tuple[DriftRow, ...]
    drift_counts: tuple[StateCount, ...]
    together: tuple[str, ...]
    changes: Changes
    card: Card | None
    revisions: tuple[Revision, ...]
    intervals: tuple[IntervalRevision, ...]
    authorisations: tuple[Ending, ...]
    season: tuple[SeasonAhead, ...]

    @property
    def card_facts(self) -> list[dict[str, str]]:
        """The last twelve months of the report card for partials/_facts.html."""
        return last_facts(self.card.last) if self.card else []


def director(at: dt.datetime) -> Director:
    """Sixteen queries."""
    today = timezone.localdate(at)
    series = series_states()
    awaiting = Revision.objects.filter(approved_at=None)
    related = awaiting.select_related("procedure__variant", "typed_by")
    return Director(
        drift=tuple(drift_rows(series.exclude(action=NOTHING)[:HEAD])),
        drift_counts=tuple(count_series(series)),
        together=tuple(whole_aircraft(series)),
        changes=changes(at),
        card=report_card(),
        revisions=tuple(related.order_by("effective_on", "pk")[:HEAD]),
        intervals=tuple(revisions_waiting()[:HEAD]),
        authorisations=tuple(endings(today)),
        season=tuple(season_ahead(today)),
    )


def endings(today: dt.date) -> list[Ending]:
    """Authorisations of active people that end within 60 days or ended within the last 60, the earliest
    first, unless another for the same act goes on after them. One query."""
    span = dt.timedelta(days=AUTHORISATION_DAYS)
    goes_on = Authorisation.objects.filter(
        Q(valid_until=None) | Q(valid_until__gt=OuterRef("valid_until")),
        user=OuterRef("user"),
        act=OuterRef("act"),
        variants__isnull=True,
    )
    ending = Authorisation.objects.filter(
        user__is_active=True, valid_until__gte=today - span, valid_until__lte=today + span
    ).filter(~Exists(goes_on))
    listed = ending.select_related("user__home_base").order_by("valid_until", "pk")[:HEAD]
    return [Ending(one, one.valid_until < today) for one in listed]


def season_ahead(today: dt.date) -> list[SeasonAhead]:
    """The forecast of each base with aircraft in service, the nearest season date first. Four queries."""
    bases = list(Base.objects.all())
    season = {
        base.pk: next_season(SeasonDate(base.season_month, base.season_day), today, -1) for base in bases
    }
    serving = Aircraft.objects.filter(state=Aircraft.State.IN_SERVICE)
    number = dict(serving.order_by().values_list("base").annotate(number=Count("pk")))
    due: Counter[int] = Counter()
    points = DuePoint.objects.filter(aircraft__in=serving, due_on__isnull=False)
    for base, on, many in (
        points.order_by().values_list("aircraft__base", "due_on").annotate(many=Count("pk"))
    ):
        due[base] += many * (on <= season[base])
    meets: Counter[int] = Counter()
    may: Counter[int] = Counter()
    told = SeriesState.objects.filter(aircraft__in=serving).exclude(crossing_on=None, crossing_low=None)
    for base, on, low in told.values_list("aircraft__base", "crossing_on", "crossing_low"):
        meets[base] += on is not None and on <= season[base]
        may[base] += low is not None and low <= season[base]
    return sorted(
        (
            SeasonAhead(
                base,
                season[base.pk],
                (season[base.pk] - today).days,
                number[base.pk],
                due[base.pk],
                meets[base.pk],
                may[base.pk],
            )
            for base in bases
            if base.pk in number
        ),
        key=lambda one: (one.on, one.base.name),
    )
