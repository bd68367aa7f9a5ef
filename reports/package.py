"""A work package on one sheet: what is done, what is made ready once, what is needed, who hands over."""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

from django.urls import reverse
from django.utils import timezone

from checks.models import PartNeeded, Preparation, Revision, WorkPackage
from checks.selectors.packages import Line, Shown, drafts_of, packages, shown
from fleet.models import Operator


@dataclass(frozen=True)
class SheetCheck:
    """A check on the sheet. link: what its code opens, a draft already begun or the start of it."""

    number: int
    task: str
    code: str
    revision: str
    due: str
    hours: Decimal
    says: str
    link: str
    link_words: str


@dataclass(frozen=True)
class PackageSheet:
    """A package as printed. ready: name, kind and which checks; needed: parts and fluid, as words."""

    operator: str
    is_demo: bool
    made_at: dt.datetime
    number: int
    state: str
    registration: str
    serial_number: str
    aircraft_type: str
    variant: str
    base: str
    on: dt.date
    hours: float
    saved: float
    accepted: str
    checks: tuple[SheetCheck, ...]
    ready: tuple[tuple[str, str, str], ...]
    needed: tuple[str, ...]
    says: tuple[str, ...]
    link: str


def package_sheet(pk: int, absolute: Callable[[str], str]) -> PackageSheet | None:
    """The sheet of a package, or None where there is none. absolute: a path -> the whole address.

    A fixed number of queries, however many checks.
    """
    package = packages().filter(pk=pk).first()
    if package is None:
        return None
    (one,) = shown([package], timezone.localdate(timezone=package.base.zone))
    operator, waiting = Operator.current(), [line for line in one.lines if not line.done]
    accepted = f"{package.accepted_by}, {package.accepted_at:%d %b %Y}" if package.accepted_by else ""
    aircraft = package.aircraft
    return PackageSheet(
        operator=operator.name,
        is_demo=operator.is_demo,
        made_at=timezone.localtime(timezone=package.base.zone),
        number=package.pk,
        state=one.state,
        registration=aircraft.registration,
        serial_number=aircraft.serial_number,
        aircraft_type=aircraft.type_name,
        variant=aircraft.variant.name,
        base=package.base.name,
        on=package.on,
        hours=one.hours,
        saved=one.saved,
        accepted=accepted,
        checks=_checks(package, one, absolute),
        ready=_ready(one),
        needed=tuple(_needed(waiting)),
        says=one.says,
        link=absolute(reverse("checks:package", args=[package.pk])),
    )


def _checks(package: WorkPackage, one: Shown, absolute: Callable[[str], str]) -> tuple[SheetCheck, ...]:
    drafts = drafts_of(package)
    procedures = [line.row.check_due.procedure_id for line in one.lines]
    numbers = dict(
        Revision.objects.in_force(package.on)
        .filter(procedure__in=procedures)
        .values_list("procedure_id", "number")
    )
    found = []
    for number, line in enumerate(one.lines, start=1):
        procedure = line.row.check_due.procedure_id
        begun = drafts.get(procedure)
        start = {"aircraft": package.aircraft.registration, "task": line.code}
        path = reverse("checks:check", args=[begun]) if begun else reverse("checks:new", query=start)
        found.append(
            SheetCheck(
                number=number,
                task=line.task,
                code=line.code,
                revision=numbers.get(procedure, "none in force that day"),
                due=_due(line),
                hours=line.hours,
                says=line.says,
                link=absolute(path),
                link_words="opens the check begun" if begun else "starts the check",
            )
        )
    return tuple(found)


def _due(line: Line) -> str:
    if line.due_on is None:
        return "no date"
    about = "about " if line.estimated else ""
    late = ", overdue" if line.late else ""
    return f"{about}{line.due_on:%d %b %Y}{late}"


def _ready(one: Shown) -> tuple[tuple[str, str, str], ...]:
    """What is made ready once, with the numbers of the checks that it serves."""
    through = Preparation.procedures.through.objects.filter(
        procedure__in=[line.row.check_due.procedure_id for line in one.lines]
    )
    pairs = set(through.values_list("preparation__name", "procedure_id"))
    return tuple(
        (
            ready.name,
            ready.kind,
            ", ".join(
                str(number)
                for number, line in enumerate(one.lines, start=1)
                if (ready.name, line.row.check_due.procedure_id) in pairs
            ),
        )
        for ready in one.ready
    )


def _needed(waiting: list[Line]) -> list[str]:
    """Parts and fluid for the checks that are still to be done, added up. One query."""
    times: dict[int, int] = {}
    litres = Decimal(0)
    for line in waiting:
        procedure = line.row.check_due.procedure
        times[procedure.pk] = times.get(procedure.pk, 0) + 1
        litres += procedure.fluid_litres or 0
    pieces: dict[str, int] = {}
    for part in PartNeeded.objects.filter(procedure__in=times).select_related("item"):
        pieces[str(part.item)] = pieces.get(str(part.item), 0) + part.pieces * times[part.procedure_id]
    found = [f"{number} × {name}" for name, number in sorted(pieces.items())]
    return [*found, f"Fluid: about {litres.normalize():f} L"] if litres else found
