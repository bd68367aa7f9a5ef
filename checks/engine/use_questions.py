"""What is odd about new totals of an aircraft, beside those before: questions, not refusals.

The thresholds are common practice, no source: they catch a slipped digit and a forgotten fortnight.
"""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

JUMP_TIMES = 3  # so many times the usual use
JUMP_HOURS = Decimal(10)  # and so many hours above it: a quiet aircraft flies a busy week without a question
JUMP_LANDINGS = 20
HOURS_WITHOUT_LANDING = Decimal(12)  # no aircraft of this size flies longer than that without one


@dataclass(frozen=True)
class Before:
    """Totals at the end of the day `on`; hours and landings a day as of late, None: it can't be told."""

    on: date
    hours: Decimal
    landings: int
    hours_per_day: Decimal | None = None
    landings_per_day: Decimal | None = None


@dataclass(frozen=True)
class Question:
    """About which figure (on, hours, landings), and what is odd about it."""

    field: str
    text: str


def use_questions(
    before: Before, on: date, hours: Decimal, landings: int, *, gap_days: int
) -> tuple[Question, ...]:
    """What to ask about totals at the end of the day `on`, later than `before`.

    gap_days: more days than these without an entry are asked about. Totals of an earlier or the same day, and
    totals that run backwards, have no question here: they are refused elsewhere.
    """
    days, flown, landed = (on - before.on).days, hours - before.hours, landings - before.landings
    if days <= 0 or flown < 0 or landed < 0:
        return ()
    since = f"since {before.on:%d %b %Y}"
    asked = []
    if days > gap_days:
        asked.append(
            Question("on", f"Nothing was entered {since}, {days} days ago. Is a day between them known?")
        )
    if flown > 24 * days:
        asked.append(Question("hours", f"{flown} h {since} is more than 24 h a day."))
    elif _jump(flown, before.hours_per_day, days, JUMP_HOURS):
        usual = before.hours_per_day * days
        asked.append(Question("hours", f"{flown} h {since}, where about {usual:.1f} h would be usual."))
    if _jump(Decimal(landed), before.landings_per_day, days, JUMP_LANDINGS):
        usual = before.landings_per_day * days
        asked.append(
            Question("landings", f"{landed} landings {since}, where about {usual:.0f} would be usual.")
        )
    if landed == 0 and flown > HOURS_WITHOUT_LANDING:
        asked.append(Question("landings", f"{flown} h {since} without a landing."))
    if flown == 0 and landed > 0:
        asked.append(Question("hours", f"{landed} landings {since} without flight time."))
    return tuple(asked)


def _jump(came: Decimal, per_day: Decimal | None, days: int, above: Decimal | int) -> bool:
    if per_day is None:
        return False
    usual = per_day * days
    return came > JUMP_TIMES * usual and came > usual + above
