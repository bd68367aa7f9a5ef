"""Facts that people may be told by mail, from the records of this moment. Each has a key that stays the same
as long as the fact does, so that nobody is told twice."""

import datetime as dt
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass

from django.urls import reverse

from checks.engine.due import DUE_SOON, IN_TOLERANCE, OVERDUE
from checks.models import Defect, DuePoint
from checks.selectors.defects import DEFERRED, EXPIRED, OPEN, with_states
from checks.selectors.due import due_points
from checks.selectors.packages import Shown, packages, shown
from checks.selectors.release import deferral_day
from fleet.models import Aircraft, Operator

OVERDUES, DUE, DEFERRALS, DEFECTS, PACKAGES = "overdue", "due_soon", "deferrals", "defects", "packages"
#: kind -> its heading in the mail, in the order of urgency; the kinds are the fields of NoticeChoice
HEADINGS = {
    OVERDUES: "Overdue or in tolerance",
    DEFERRALS: "Deferrals that end soon or have expired",
    DEFECTS: "New defects",
    DUE: "Due soon",
    PACKAGES: "Work packages",
}
ENDS_SOON_DAYS = 3
NEW_DAYS = 14
_USE = (DuePoint.Governing.HOURS, DuePoint.Governing.LANDINGS)


@dataclass(frozen=True)
class Fact:
    """One thing to tell: its kind, the key by which it is known, base, words and the page that shows it."""

    kind: str
    key: str
    base_id: int
    words: str
    path: str


def all_facts(now: dt.datetime, today: dt.date) -> list[Fact]:
    """Every fact of the fleet, most urgent first. A fixed number of queries, however large the fleet."""
    found = [*_due(today), *_defects(now), *_packages(today)]
    kinds = list(HEADINGS)
    return sorted(found, key=lambda fact: kinds.index(fact.kind))


def _due(today: dt.date) -> Iterator[Fact]:
    points = due_points(today=today, soon_days=Operator.current().due_soon_days)
    points = points.filter(state__in=(OVERDUE, IN_TOLERANCE, DUE_SOON))
    for point in points.select_related("aircraft", "check_due"):
        kind = DUE if point.state == DUE_SOON else OVERDUES
        # An estimate moves every night: it is the same fact until the check is done.
        by_use = point.estimated or point.governing in _USE
        which = f"after {point.done_on}" if by_use else f"on {point.due_on}"
        about = "about " if point.estimated else ""
        day = f"{about}{point.due_on:%d %b %Y}" if point.due_on else "no date"
        yield Fact(
            kind,
            f"{point.state} {point.aircraft_id} {point.check_due_id} {which}",
            point.aircraft.base_id,
            f"{point.aircraft.registration}: {point.check_due}, {point.state}, due {day}",
            reverse("checks:due_point", args=[point.pk]),
        )


def _defects(now: dt.datetime) -> Iterator[Fact]:
    """Deferrals that end, by the operator's time base, and open defects raised in the last days."""
    today = deferral_day(now)
    flying = Defect.objects.exclude(aircraft__state=Aircraft.State.LEFT)
    listed = with_states(flying, today).filter(now_is__in=(OPEN, DEFERRED, EXPIRED))
    for one in listed.select_related("aircraft"):
        path, base = reverse("checks:defect", args=[one.pk]), one.aircraft.base_id
        what = f"{one.aircraft.registration}: {' '.join(one.description.split())[:120]}"
        if one.now_is == OPEN:
            if one.raised_at >= now - dt.timedelta(days=NEW_DAYS):
                yield Fact(DEFECTS, f"defect {one.pk}", base, f"{what}, raised {one.raised_at:%d %b}", path)
        elif (one.holds_until - today).days <= ENDS_SOON_DAYS:
            ends = "expired" if one.now_is == EXPIRED else "last day"
            key = f"deferral {one.pk} {one.now_is} {one.holds_until}"
            yield Fact(DEFERRALS, key, base, f"{what}, {ends} {one.holds_until:%d %b %Y}", path)


def _packages(today: dt.date) -> Iterator[Fact]:
    """Accepted packages still to come, and what the due list says otherwise of them."""
    found = packages().accepted().filter(on__gte=today - dt.timedelta(days=NEW_DAYS))
    for one in shown(found, today):
        yield from _package(one)


def _package(one: Shown) -> Iterator[Fact]:
    package = one.package
    path = reverse("checks:package", args=[package.pk])
    what = f"{package.aircraft.registration}, {package.on:%d %b %Y}, {package.base}"
    if one.state != "package done":
        key = f"package {package.pk} {package.on} {package.base_id}"
        yield Fact(PACKAGES, key, package.base_id, f"{what}: accepted, {len(one.lines)} checks", path)
    words = [*one.says, *(f"{line.task}: {line.says}" for line in one.lines if line.says and not line.done)]
    if words and one.state != "package done":
        digest = hashlib.sha256("\n".join(words).encode()).hexdigest()[:12]
        told = f"{what}: {' '.join(words)}"[:400]
        yield Fact(PACKAGES, f"package {package.pk} differs {digest}", package.base_id, told, path)
