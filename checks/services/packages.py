"""What a controller does with work packages: accept, pin, move, lock, withdraw; hours of single days.

Nothing here changes a due date: the due list stays the truth. A package never goes past the due day of a
check that is not late already, and never into tolerance.
"""

import datetime as dt
from collections.abc import Iterable
from decimal import Decimal

from django.db import IntegrityError, transaction
from django.utils import timezone

from checks.models import (
    DuePoint,
    PackageChange,
    PackageCheck,
    WorkDay,
    WorkPackage,
)
from checks.selectors.due import due_points
from checks.selectors.package_plan import LATE, done_since
from checks.services.errors import RecordError
from checks.services.persons import may
from checks.services.plan_runs import PLAN
from fleet.models import Aircraft, Base, User

GONE = "This proposal is gone: a newer plan took its place. Go back to the plan."
AT_HOME = "A plan works each aircraft at its own base. Accept the package first, then move it."
LOCKED = "This package is locked. Unlock it first."
What = PackageChange.What


@transaction.atomic
def accept_package(*, package: WorkPackage, by: User, today: dt.date | None = None) -> WorkPackage:
    """Accept a proposal as it stands; one that joins an accepted package puts its checks there.

    RecordError where it is gone, where a check of it was done meanwhile, stands in another accepted
    package, or would now come after its due day.
    """
    package = _locked(package, by)
    if package.state != WorkPackage.State.PROPOSED:
        raise RecordError("This package is not a proposal any more.")
    today = today or timezone.localdate()
    _not_past(package.on, today)
    checks = list(package.checks.select_related("check_due"))
    for problem in accept_problems(package, checks, package.on, today):
        raise RecordError(problem)
    # A package of that day may stand that the plan did not know of, so it is asked for and not remembered.
    target = WorkPackage.objects.accepted().filter(aircraft=package.aircraft_id, on=package.on).first()
    if target:
        return _join(package, target, checks, by)
    package.state, package.pinned, package.joins, package.run = WorkPackage.State.ACCEPTED, False, None, None
    package.accepted_by, package.accepted_at = by, timezone.now()
    package.save()
    _change(package, What.ACCEPTED, by, _titles(checks))
    return package


def _join(package: WorkPackage, target: WorkPackage, checks: list[PackageCheck], by: User) -> WorkPackage:
    if target.locked:
        raise RecordError(f"Package {target.pk} of that day is locked. Unlock it first, or move this one.")
    if target.base_id != package.base_id:
        raise RecordError(f"Package {target.pk} of that day is at {target.base}. Move one of them first.")
    package.checks.update(package=target)
    package.delete()
    _change(target, What.JOINED, by, _titles(checks))
    return target


@transaction.atomic
def pin_package(*, package: WorkPackage, by: User, pinned: bool) -> WorkPackage:
    """Let a proposal keep its day in the next plan, or let it go."""
    package = _locked(package, by)
    if package.state != WorkPackage.State.PROPOSED:
        raise RecordError("Only a proposal is pinned; what is accepted stays put anyway.")
    package.pinned = pinned
    package.save(update_fields=["pinned"])
    return package


@transaction.atomic
def move_package(
    *, package: WorkPackage, by: User, on: dt.date, base: Base, today: dt.date | None = None
) -> WorkPackage:
    """Put a package on another day or base. A proposal that is moved is pinned, or the next plan would take
    the move back. RecordError where a check would come after its due day, or the day is past."""
    package = _locked(package, by)
    today = today or timezone.localdate()
    if package.locked:
        raise RecordError(LOCKED)
    if package.state == WorkPackage.State.WITHDRAWN:
        raise RecordError("A withdrawn package is not moved.")
    if (on, base.pk) == (package.on, package.base_id):
        raise RecordError("That is where it stands already. Choose another day or base.", field="on")
    proposed = package.state == WorkPackage.State.PROPOSED
    if proposed and base.pk != package.base_id:
        raise RecordError(
            "A plan works each aircraft at its own base. Accept it first, then move it.", field="base"
        )
    _not_past(on, today)
    for problem in late_problems(package, package.checks.select_related("check_due"), on, today):
        raise RecordError(problem, field="on")
    words = f"from {package.on:%d %b %Y}, {package.base}, to {on:%d %b %Y}, {base}"
    package.on, package.base, package.joins = on, base, None
    package.pinned = proposed
    try:
        with transaction.atomic():
            package.save()
    except IntegrityError:
        raise RecordError(
            f"Another package of {package.aircraft} is accepted for that day. Choose another day.", field="on"
        ) from None
    if not proposed:
        _change(package, What.MOVED, by, words)
    return package


@transaction.atomic
def lock_package(*, package: WorkPackage, by: User, locked: bool) -> WorkPackage:
    """Close an accepted package to moves and further checks, or open it again."""
    package = _locked(package, by)
    if package.state != WorkPackage.State.ACCEPTED:
        raise RecordError("Only an accepted package is locked. Accept it first.")
    if package.locked != locked:
        package.locked = locked
        package.save(update_fields=["locked"])
        _change(package, What.LOCKED if locked else What.UNLOCKED, by)
    return package


@transaction.atomic
def take_out(*, package: WorkPackage, check: PackageCheck, by: User) -> WorkPackage:
    """Take one check out of a package; the last one is not taken out, the package is withdrawn instead."""
    package = _locked(package, by)
    if package.locked:
        raise RecordError(LOCKED)
    if package.state == WorkPackage.State.WITHDRAWN or not package.checks.filter(pk=check.pk).exists():
        raise RecordError("This check is not in the package any more.")
    if package.checks.count() == 1:
        raise RecordError("It is the only check of the package. Withdraw the package instead.")
    title = str(check.check_due)
    package.checks.filter(pk=check.pk).delete()
    if package.state == WorkPackage.State.ACCEPTED:
        _change(package, What.LEFT_OUT, by, title)
    return package


@transaction.atomic
def withdraw_package(*, package: WorkPackage, by: User) -> WorkPackage | None:
    """Give up an accepted package, which stays on record; a proposal is simply dropped (None)."""
    package = _locked(package, by)
    if package.locked:
        raise RecordError(LOCKED)
    if package.state == WorkPackage.State.PROPOSED:
        package.delete()
        return None
    if package.state == WorkPackage.State.ACCEPTED:
        package.state = WorkPackage.State.WITHDRAWN
        package.save(update_fields=["state"])
        _change(package, What.WITHDRAWN, by)
    return package


@transaction.atomic
def set_work_day(*, base: Base, on: dt.date, hours: Decimal, by: User, reason: str = "") -> WorkDay:
    """Other hours of work on one day; 0 closes the base."""
    may(by, PLAN)
    row = WorkDay(base=base, on=on, hours=hours, reason=reason, entered_by=by, entered_at=timezone.now())
    row.full_clean(exclude=["base", "entered_by"], validate_unique=False, validate_constraints=False)
    values = {"hours": hours, "reason": reason, "entered_by": by, "entered_at": row.entered_at}
    return WorkDay.objects.update_or_create(base=base, on=on, defaults=values)[0]


@transaction.atomic
def usual_hours_again(*, base: Base, on: dt.date, by: User) -> None:
    """Take the other hours of a day back."""
    may(by, PLAN)
    WorkDay.objects.filter(base=base, on=on).delete()


def late_problems(
    package: WorkPackage, checks: Iterable[PackageCheck], on: dt.date, today: dt.date
) -> list[str]:
    """What of a package would come after its due day on a day: one line a check. One query."""
    points = {p.check_due_id: p for p in _points(package, today)}
    found = []
    for one in checks:
        point = points.get(one.check_due_id)
        if point is None or point.state in LATE or point.due_on is None or on <= point.due_on:
            continue
        found.append(
            f"{one.check_due} is due on {point.due_on:%d %b %Y}: a plan goes no further, and never into "
            "tolerance. Choose that day or an earlier one."
        )
    return found


def accept_problems(
    package: WorkPackage, checks: list[PackageCheck], on: dt.date, today: dt.date
) -> list[str]:
    """What bars acceptance. Three queries."""
    points = {p.check_due_id: p for p in _points(package, today)}
    elsewhere = dict(
        PackageCheck.objects.filter(
            package__state=WorkPackage.State.ACCEPTED,
            package__aircraft=package.aircraft_id,
            package__on__gte=today,
            check_due__in=[one.check_due_id for one in checks],
        ).values_list("check_due_id", "package_id")
    )
    found = []
    for one in checks:
        point = points.get(one.check_due_id)
        if point is None:
            found.append(f"{one.check_due} is no longer due on this aircraft. Take it out, or plan anew.")
        elif done_since(one.done_on, point.done_on):
            found.append(f"{one.check_due} was done on {point.done_on:%d %b %Y}. Take it out, or plan anew.")
        elif one.check_due_id in elsewhere:
            found.append(
                f"{one.check_due} stands in package {elsewhere[one.check_due_id]} already. Take it out of "
                "one of them."
            )
    return found + late_problems(package, checks, on, today)


def _points(package: WorkPackage, today: dt.date) -> Iterable[DuePoint]:
    return due_points(today=today, soon_days=0).filter(aircraft=package.aircraft_id)


def _locked(package: WorkPackage, by: User) -> WorkPackage:
    """The package as it is now, with its aircraft locked: changes to packages of one aircraft wait for each
    other."""
    may(by, PLAN)
    list(Aircraft.objects.filter(pk=package.aircraft_id).select_for_update(no_key=True).values_list("pk"))
    found = WorkPackage.objects.select_related("aircraft", "base").filter(pk=package.pk).first()
    if found is None:
        raise RecordError(GONE)
    return found


def _not_past(on: dt.date, today: dt.date) -> None:
    if on < today:
        raise RecordError("The day is past. Choose today or a later day.", field="on")


def _titles(checks: Iterable[PackageCheck]) -> str:
    return "; ".join(str(one.check_due) for one in checks)[:400]


def _change(package: WorkPackage, what: str, by: User, words: str = "") -> None:
    PackageChange.objects.create(package=package, what=what, words=words[:400], by=by, at=timezone.now())
