"""What has changed in the drift of the fleet since a month ago: what is new, worse, eased, over."""

import datetime as dt
from dataclasses import dataclass

from django.utils import timezone

from checks.charts.wording import day_words
from checks.models import ForecastCard, SeriesState
from checks.selectors.drift import ALARMS, series_states

#: the report before this one is taken to be so many days old
SINCE_DAYS = 30
NEW, WORSE, EASED, OVER = "new", "worse", "eased", "no longer"


@dataclass(frozen=True)
class Change:
    """One series whose state is another than then. before, now: states, before '' where nothing was asked."""

    pk: int
    registration: str
    point: str
    kind: str
    before: str
    now: str
    words: str


@dataclass(frozen=True)
class Changes:
    """since: None where nothing older is kept to hold the present against."""

    since: dt.date | None
    rows: tuple[Change, ...]

    @property
    def words(self) -> str:
        """The counts in one line."""
        if self.since is None:
            return "Nothing is kept yet of an earlier night, so no change can be told."
        told = [(kind, sum(row.kind == kind for row in self.rows)) for kind in (NEW, WORSE, EASED, OVER)]
        said = ", ".join(f"{number} {kind}" for kind, number in told if number)
        return f"Since {day_words(self.since)}: {said or 'no point changed its state'}."


def changes(at: dt.datetime) -> Changes:
    """Against the newest of the nights that are a month old or older. Two queries."""
    cards = ForecastCard.objects.filter(made_at__lte=at - dt.timedelta(days=SINCE_DAYS))
    then = cards.order_by("-made_at", "-pk").first()
    if then is None:
        return Changes(None, ())
    before = {(aircraft, point): state for aircraft, point, state in then.alarms}
    since = timezone.localdate(then.made_at)
    touched = series_states().filter(state__in=ALARMS) | series_states().filter(
        aircraft__in={aircraft for aircraft, _ in before}
    )
    rows = [_change(one, before.get((one.aircraft_id, one.point_id), ""), since) for one in touched]
    return Changes(since, tuple(row for row in rows if row))


def _change(one: SeriesState, before: str, since: dt.date) -> Change | None:
    is_on = one.state in ALARMS
    if one.state == before or not (is_on or before):
        return None
    if not is_on:
        kind, words = OVER, _ended(one, before, since)
    elif not before:
        kind, words = NEW, f"now {one.state}"
    else:
        order = SeriesState.URGENCY
        kind = WORSE if one.urgency < order.index(SeriesState.State(before)) else EASED
        words = f"{before} then, {one.state} now"
    return Change(one.pk, one.aircraft.registration, one.point.name, kind, before, one.state, words)


def _ended(one: SeriesState, before: str, since: dt.date) -> str:
    if one.life_began_on and one.life_began_on >= since:
        return f"{before} then; a new life began {day_words(one.life_began_on)}"
    return f"{before} then, {one.state} now"
