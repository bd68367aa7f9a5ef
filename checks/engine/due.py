"""What is due when: due points brought to one date, and the state that a due list shows.

A plan never counts on late tolerance: `on` is the due date itself, and the tolerance is only shown. Hours
and landings become dates by the aircraft's own rate of use, rounded to the earlier day.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from checks.engine.intervals import (
    COUNTINGS,
    DAYS,
    EXCESS_COUNTS,
    FROM_DONE,
    HOURS,
    KEEP_GRID,
    LANDINGS,
    MONTHS,
    SEASON,
    Done,
    Due,
    Interval,
    Limb,
    SeasonDate,
    add_months,
    next_due,
    next_season,
)
from checks.engine.units import plain
from checks.engine.use_season import Season, used_up_on

__all__ = [
    "COUNTINGS",
    "DAYS",
    "DUE_SOON",
    "EXCESS_COUNTS",
    "FROM_DONE",
    "HOURS",
    "IN_TOLERANCE",
    "KEEP_GRID",
    "LANDINGS",
    "MONTHS",
    "NO_RECORD",
    "OVERDUE",
    "PLANNED",
    "SEASON",
    "Done",
    "Due",
    "Interval",
    "Limb",
    "LimbProjection",
    "Projection",
    "SeasonDate",
    "add_months",
    "next_due",
    "next_season",
    "project",
    "state",
]

OVERDUE = "overdue"
IN_TOLERANCE = "in tolerance"
DUE_SOON = "due soon"
PLANNED = "planned"
NO_RECORD = "no record"


@dataclass(frozen=True)
class LimbProjection:
    """One limb now: remaining days, hours or landings (negative = past), and the dates they come to.

    on and latest_on None: no date can be told (no totals or rate of use, or far away); remaining None: the
    limb itself cannot be told. A number passed already comes to the day of the totals.
    """

    limb: Limb
    remaining: Decimal | None
    remaining_latest: Decimal | None
    on: date | None
    latest_on: date | None
    text: str


@dataclass(frozen=True)
class Projection:
    """A due point brought to a date: the earliest limb governs. explanation: a line per limb, for people."""

    on: date | None
    governing: Limb | None
    latest_on: date | None
    limbs: tuple[LimbProjection, ...]
    explanation: tuple[str, ...]


def project(
    due: Due,
    *,
    now: date,
    hours_now: Decimal | None = None,
    landings_now: int | None = None,
    hours_per_day: Decimal | None = None,
    landings_per_day: Decimal | None = None,
    totals_on: date | None = None,
    seasons: Mapping[str, Season] | None = None,
) -> Projection:
    """The date on which a check falls due, whichever limb occurs first; rates: the aircraft's own use.

    totals_on: the day at whose end the totals held, today unless given. What was used since is not known,
    so the dates of hours and landings count from it. seasons: how busy the months are, by kind of limb.
    """
    since = totals_on or now
    seasons = seasons or {}
    limbs = []
    for limb in due.limbs:
        if limb.kind == HOURS:
            limbs.append(_project_number(limb, since, hours_now, hours_per_day, seasons.get(HOURS), "h"))
        elif limb.kind == LANDINGS:
            season = seasons.get(LANDINGS)
            limbs.append(_project_number(limb, since, landings_now, landings_per_day, season, "landings"))
        else:
            limbs.append(_project_date(limb, now))
    dated = [(p.on, p) for p in limbs if p.on is not None]
    lines = [p.text for p in limbs] or ["no record of it being done: the due point cannot be told"]
    if not dated:
        return Projection(None, None, None, tuple(limbs), tuple(lines))
    on, first = min(dated, key=lambda pair: pair[0])
    latest = min((p.latest_on for _, p in dated if p.latest_on is not None), default=None)
    if len(limbs) > 1:
        lines.append(f"whichever occurs first: {first.limb.kind}")
    return Projection(on, first.limb, latest, tuple(limbs), tuple(lines))


def state(projection: Projection, *, now: date, soon_days: int = 30) -> str:
    """The worst word that any limb earns; one that cannot be told makes 'no record' unless another is past.

    On the due day itself, or with 0 hours left, a check is not overdue.
    """
    known = [p for p in projection.limbs if p.remaining is not None and p.remaining_latest is not None]
    if any(p.remaining_latest < 0 for p in known if p.remaining_latest is not None):
        return OVERDUE
    if any(p.remaining < 0 for p in known if p.remaining is not None):
        return IN_TOLERANCE
    if not known or len(known) < len(projection.limbs):
        return NO_RECORD
    if projection.on is not None and projection.on <= now + timedelta(days=soon_days):
        return DUE_SOON
    return PLANNED


def _project_date(limb: Limb, now: date) -> LimbProjection:
    if not isinstance(limb.at, date) or not isinstance(limb.latest, date):
        return LimbProjection(limb, None, None, None, None, f"{limb.kind}: {limb.note or 'not known'}")
    left, left_latest = (limb.at - now).days, (limb.latest - now).days
    text = f"{limb.kind}: due on {limb.at.isoformat()}, {_left(Decimal(left), 'days')}"
    return LimbProjection(limb, Decimal(left), Decimal(left_latest), limb.at, limb.latest, text)


def _project_number(
    limb: Limb,
    since: date,
    total: Decimal | int | None,
    per_day: Decimal | None,
    season: Season | None,
    unit: str,
) -> LimbProjection:
    if limb.at is None or limb.latest is None or isinstance(limb.at, date) or isinstance(limb.latest, date):
        return LimbProjection(limb, None, None, None, None, f"{limb.kind}: {limb.note or 'not known'}")
    point = f"{limb.kind}: due at {plain(Decimal(limb.at))} {unit}"
    if total is None:
        return LimbProjection(limb, None, None, None, None, f"{point}; no total of the aircraft is recorded")
    left, left_latest = Decimal(limb.at - total), Decimal(limb.latest - total)
    on, latest_on = (used_up_on(since, some, per_day, season) for some in (left, left_latest))
    rate = f" at {plain(per_day)} a day" if per_day else ", no rate of use to tell a date by"
    rate += " and the season" if per_day and season else ""
    about = f", about {on.isoformat()}" if on and left > 0 else ""
    return LimbProjection(
        limb, left, left_latest, on, latest_on, f"{point}, {_left(left, unit)}{about}{rate}"
    )


def _left(left: Decimal, unit: str) -> str:
    return f"{plain(left)} {unit} left" if left >= 0 else f"{plain(-left)} {unit} past"
