"""When a recurring check is next due: one limb each for days, months, hours, landings and season date."""

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from dateutil.relativedelta import relativedelta

FROM_DONE = "from done"
EXCESS_COUNTS = "excess counts"
KEEP_GRID = "keep grid"
COUNTINGS = (FROM_DONE, EXCESS_COUNTS, KEEP_GRID)

DAYS, MONTHS, HOURS, LANDINGS, SEASON = "days", "months", "hours", "landings", "season date"
Amount = date | Decimal | int


@dataclass(frozen=True)
class SeasonDate:
    """Month and day by which a check must be done, as the base's hemisphere has it. 29 Feb reads as 28."""

    month: int
    day: int

    def __post_init__(self) -> None:
        self.in_year(2024)  # refuses 30 February and the like

    def in_year(self, year: int) -> date:
        """This season date in a year. ValueError for a day that no year has."""
        if (self.month, self.day) == (2, 29):
            return date(year, 2, 28)
        return date(year, self.month, self.day)


@dataclass(frozen=True)
class Interval:
    """How often a check recurs; several limbs mean whichever occurs first.

    counting: 'from done'; 'excess counts' (what a late check overran is taken off the next interval; early
    counts from done); 'keep grid' (done inside the tolerance on either side of the due point: counted from
    the due point; outside: from done). A limb without a tolerance has none, and a season date never has.
    to_month_end moves the months limb to the last day of its month. season_window_days: a check done so
    many days before a season date, or fewer, serves that season. once: due at its first due point only, so
    that it may have no limbs of its own.
    """

    days: int | None = None
    months: int | None = None
    hours: Decimal | None = None
    landings: int | None = None
    season: SeasonDate | None = None
    to_month_end: bool = False
    tolerance_days: int = 0
    tolerance_hours: Decimal = Decimal(0)
    tolerance_landings: int = 0
    counting: str = FROM_DONE
    season_window_days: int = 90
    once: bool = False

    def __post_init__(self) -> None:
        limbs = (self.days, self.months, self.hours, self.landings)
        if not self.once and all(limb is None for limb in (*limbs, self.season)):
            raise ValueError("an interval needs days, months, hours, landings or a season date")
        if any(limb is not None and limb <= 0 for limb in limbs):
            raise ValueError("days, months, hours and landings of an interval must be above 0")
        whole = (self.tolerance_days, self.tolerance_landings, self.season_window_days)
        if min(whole) < 0 or self.tolerance_hours < 0:
            raise ValueError("tolerances and the season window cannot be below 0")
        if self.counting not in COUNTINGS:
            raise ValueError(f"counting {self.counting!r} is not known; use {', '.join(COUNTINGS)}")


@dataclass(frozen=True)
class Done:
    """When a check was last done; hours and landings are the aircraft's totals then, None if not recorded."""

    on: date
    hours: Decimal | None = None
    landings: int | None = None


@dataclass(frozen=True)
class Limb:
    """One due point. at None: cannot be told, note says why. latest: at plus tolerance.

    anchor and steps (months limb): at = anchor + steps intervals. Months clip at short month ends, so
    31 Jan plus one month plus one month is not 31 Jan plus two: a kept grid counts from its anchor.
    """

    kind: str
    at: Amount | None
    latest: Amount | None
    anchor: date | None = None
    steps: int = 1
    note: str = ""


@dataclass(frozen=True)
class Due:
    """The limbs of a check's next due point; none where the check has no record to count from."""

    limbs: tuple[Limb, ...]

    def limb(self, kind: str) -> Limb | None:
        """The limb of a kind, if there is one."""
        return next((limb for limb in self.limbs if limb.kind == kind), None)


def next_due(interval: Interval, done: Done | None, previous_due: Due | None = None) -> Due:
    """The next due point after a check was done. previous_due: the one that it answered, if any.

    done None leaves the previous due point, or one without limbs where there is none. A
    one-time check has no next one. Each limb is counted by itself.
    """
    if done is None:
        return previous_due or Due(())
    if interval.once:
        return Due(())
    limbs = []
    for kind, amount, tolerance, at in (
        (DAYS, interval.days, interval.tolerance_days, done.on),
        (HOURS, interval.hours, interval.tolerance_hours, done.hours),
        (LANDINGS, interval.landings, interval.tolerance_landings, done.landings),
    ):
        if amount is not None:
            limbs.append(_amount_limb(kind, amount, tolerance, at, interval, previous_due))
    if interval.months is not None:
        limbs.append(_months_limb(interval, interval.months, done.on, previous_due))
    if interval.season is not None:
        season = next_season(interval.season, done.on, interval.season_window_days)
        limbs.append(Limb(SEASON, season, season))
    return Due(tuple(limbs))


def next_season(season: SeasonDate, done_on: date, window_days: int) -> date:
    """The season date that a check done on done_on leaves due: the first on or after it, or, where that is
    no more than window_days away and so served already, the one a year later."""
    first = season.in_year(done_on.year)
    if first < done_on:
        first = season.in_year(done_on.year + 1)
    if (first - done_on).days <= window_days:
        return season.in_year(first.year + 1)
    return first


def _amount_limb(
    kind: str,
    amount: Decimal | int,
    tolerance: Decimal | int,
    at: Amount | None,
    interval: Interval,
    previous_due: Due | None,
) -> Limb:
    if at is None:
        return Limb(kind, None, None, note=f"no {kind} were recorded when it was done")
    previous = previous_due.limb(kind) if previous_due else None
    base = _base(at, previous.at if previous else None, tolerance, interval.counting)
    due = _plus(base, amount)
    return Limb(kind, due, _plus(due, tolerance))


def _months_limb(interval: Interval, months: int, done_on: date, previous_due: Due | None) -> Limb:
    previous = previous_due.limb(MONTHS) if previous_due else None
    anchor, steps = done_on, 1
    if previous is not None and isinstance(previous.at, date) and interval.counting != FROM_DONE:
        base = _base(done_on, previous.at, interval.tolerance_days, interval.counting)
        if base == previous.at:
            anchor, steps = _grid(previous.at, previous, months, interval.to_month_end)
    due = add_months(anchor, months * steps, to_month_end=interval.to_month_end)
    return Limb(MONTHS, due, _plus(due, interval.tolerance_days), anchor, steps)


def _grid(at: date, previous: Limb, months: int, to_month_end: bool) -> tuple[date, int]:
    """Anchor and steps of the point after `at`; it is the new anchor where the interval has changed."""
    if previous.anchor is None:
        return at, 1
    if add_months(previous.anchor, months * previous.steps, to_month_end=to_month_end) != at:
        return at, 1
    return previous.anchor, previous.steps + 1


def add_months(anchor: date, months: int, *, to_month_end: bool = False) -> date:
    """Calendar months on from the anchor, clipped to the month's length or moved to its end."""
    moved: date = anchor + relativedelta(months=months, day=31 if to_month_end else None)
    return moved


def _base(done: Amount, previous: Amount | None, tolerance: Decimal | int, counting: str) -> Amount:
    """The point that the next interval is counted from."""
    if previous is None or counting == FROM_DONE:
        return done
    if counting == EXCESS_COUNTS:
        return previous if _gap(done, previous) > 0 else done
    return previous if abs(_gap(done, previous)) <= tolerance else done


def _gap(a: Amount, b: Amount) -> Decimal:
    """a - b in days, hours or landings."""
    if isinstance(a, date) and isinstance(b, date):
        return Decimal((a - b).days)
    if isinstance(a, date) or isinstance(b, date):
        raise TypeError("a date and a number cannot be counted against each other")
    return Decimal(a - b)


def _plus(at: Amount, amount: Decimal | int) -> Amount:
    if isinstance(at, date):
        return at + timedelta(days=int(amount))
    return at + amount
