"""Which months of the year a fleet is used more: learnt from its own totals of whole years.

For each year the use of a month beside the mean of that year, the middle aircraft of the fleet; over the
years the middle year. How far the years disagree says how much of the pattern is chance: the pattern is drawn
towards 1 by that share (James and Stein 1961, positive part; from memory), so that scatter alone gives no
season. Limits: use that grows through each year looks like a season in part, and a month in which a whole
fleet stood counts like any other.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

LEAST_YEARS = 2
LEAST_AIRCRAFT = 3
BOUNDS = (200, 3000)  # thousandths; a month is never taken as wholly quiet
MOST_GAP_DAYS = 35  # between the entries on both sides of a month's end

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Fitted:
    """months: use of January to December in thousandths of the mean of the year. kept: the share of the
    pattern seen that was not taken for chance, 0 to 1."""

    months: tuple[int, ...]
    years: int
    aircraft: int
    kept: float


def fit_season(totals: Floats, days: NDArray[np.int64], first_month: int) -> Fitted | None:
    """Learn the season from totals at month ends, shape (aircraft, 12 × years + 1); NaN: not known.

    days: of each month between them; first_month: calendar month of the first, 1 to 12. None with fewer than
    LEAST_YEARS years in which LEAST_AIRCRAFT were used and their totals known. ValueError for other shapes.
    """
    months = len(days)
    if totals.ndim != 2 or months % 12 or totals.shape[1] != months + 1:
        raise ValueError(f"{totals.shape} totals for {months} months: whole years and one total more")
    if not totals.size:
        return None
    used = np.diff(totals, axis=1).reshape(len(totals), -1, 12)
    length = days.reshape(-1, 12)
    mean = used.sum(axis=2) / length.sum(axis=1)
    known = mean > 0  # NaN is not
    enough = known.sum(axis=0) >= LEAST_AIRCRAFT
    if enough.sum() < LEAST_YEARS:
        return None
    shares = np.full(used.shape, np.nan)
    shares[known] = (used / length)[known] / mean[known][:, None]
    by_year = np.nanmedian(shares[:, enough], axis=0)
    pattern = np.median(by_year, axis=0)
    pattern /= pattern.mean() or 1.0
    kept = _kept(by_year, pattern)
    drawn = np.clip(np.rint(1000 * (1 + kept * (pattern - 1))), *BOUNDS)
    calendar = np.roll(drawn, first_month - 1)
    aircraft = int(known[:, enough].any(axis=1).sum())
    return Fitted(tuple(int(one) for one in calendar), int(enough.sum()), aircraft, kept)


def _kept(by_year: Floats, pattern: Floats) -> float:
    """One less the share of the pattern's size that disagreement between the years would give by itself."""
    years = len(by_year)
    chance = ((by_year - pattern) ** 2).sum() / (years - 1) / years
    size = ((pattern - 1) ** 2).sum()
    return float(max(0.0, 1 - chance / size)) if size > 0 else 0.0


def month_ends(first: tuple[Floats, Floats], last: tuple[Floats, Floats], ends: NDArray[np.int64]) -> Floats:
    """Totals at month ends, on a straight line between the last entry of a month and the first after it.

    first, last: (day, total) of the first and last entry by aircraft and month, shape (aircraft, months + 1),
    NaN without an entry; ends: the last day of each month but the final one. NaN where entries are missing or
    more than MOST_GAP_DAYS apart.
    """
    (after_day, after), (before_day, before) = first, last
    day, total, next_day, next_total = before_day[:, :-1], before[:, :-1], after_day[:, 1:], after[:, 1:]
    gap = next_day - day
    with np.errstate(invalid="ignore"):
        at = total + (next_total - total) * (ends - day) / gap
        return np.where(gap <= MOST_GAP_DAYS, at, np.nan)
