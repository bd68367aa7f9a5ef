"""How busy the months are in this fleet: read from its utilisation, and as it was last learnt."""

import datetime as dt
from calendar import month_abbr
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from django.db.models import Max, Min
from django.db.models.functions import ExtractMonth, ExtractYear

from checks.engine.use_rate import RECENT_DAYS
from checks.engine.use_season import Season, season_as_of
from checks.engine.use_season_fit import Fitted, fit_season, month_ends
from checks.models import UseSeason
from fleet.models import UtilisationEntry

MOST_YEARS = 4  # older years say little about the network flown today


def seasons(today: dt.date) -> Mapping[str, Season]:
    """The learnt seasons by kind of limb, beside the recent rate as of a day. One query."""
    return {
        kind: season_as_of(tuple(months), today, RECENT_DAYS)
        for kind, months in UseSeason.objects.values_list("kind", "months")
    }


@dataclass(frozen=True)
class Busy:
    """One learnt season as a page tells it. months: (name, factor) of January to December, 1 is the mean of
    the year; recent: the mean factor of the days on which the recent rate was seen."""

    kind: str
    label: str
    months: tuple[tuple[str, Decimal], ...]
    recent: Decimal
    years: int
    aircraft: int


def season_told(today: dt.date) -> list[Busy]:
    """The learnt seasons in words and factors. One query."""
    return [
        Busy(
            one.kind,
            one.get_kind_display(),
            tuple((month_abbr[n], Decimal(f).scaleb(-3)) for n, f in enumerate(one.months, start=1)),
            Decimal(season_as_of(tuple(one.months), today, RECENT_DAYS).recent) / (1000 * RECENT_DAYS),
            one.years,
            one.aircraft,
        )
        for one in UseSeason.objects.all()
    ]


def season_seen(today: dt.date) -> dict[str, Fitted]:
    """What the totals of the last whole years say, by kind; nothing where that is too little. One query."""
    this = today.year * 12 + today.month - 1
    first = this - 12 * MOST_YEARS - 1
    entries = (
        UtilisationEntry.objects.standing()
        .filter(on__gte=dt.date(first // 12, first % 12 + 1, 1), on__lte=today)
        .annotate(year=ExtractYear("on"), month=ExtractMonth("on"))
        .order_by()
        .values_list("aircraft_id", "year", "month")
        .annotate(Min("on"), Max("on"), Min("hours"), Max("hours"), Min("landings"), Max("landings"))
    )
    rows = list(entries)
    place = {aircraft: number for number, aircraft in enumerate(sorted({row[0] for row in rows}))}
    shape = (len(place), this - first + 1)
    first_on, last_on = np.full(shape, np.nan), np.full(shape, np.nan)
    totals = {kind: (np.full(shape, np.nan), np.full(shape, np.nan)) for kind in UseSeason.Kind.values}
    for aircraft, year, month, from_day, to_day, *values in rows:
        at = place[aircraft], year * 12 + month - 1 - first
        first_on[at], last_on[at] = from_day.toordinal(), to_day.toordinal()
        for kind, low, high in zip(totals, values[::2], values[1::2], strict=True):
            totals[kind][0][at], totals[kind][1][at] = float(low), float(high)
    return {
        kind: fitted
        for kind, (low, high) in totals.items()
        if (fitted := _fit((first_on, low), (last_on, high), first))
    }


def _fit(first_entry: tuple, last_entry: tuple, first: int) -> Fitted | None:
    """Whole years only, the newest ones: the month before them gives the total that they begin with."""
    months = np.arange(first, first + first_entry[0].shape[1])
    begins = ((months - 1970 * 12).astype("datetime64[M]")).astype("datetime64[D]").astype(np.int64)
    ends = begins[1:] - 1 + dt.date(1970, 1, 1).toordinal()
    known = month_ends(first_entry, last_entry, ends)
    return fit_season(known, np.diff(begins)[1:], int(months[1]) % 12 + 1)
