"""Approving a revision that another person typed. From then on it is frozen (checks/guard_rules.py)."""

from collections import Counter
from collections.abc import Iterable

from django.db import transaction
from django.utils import timezone

from checks.engine.limits import check_table
from checks.engine.units import unit_of, units_for
from checks.models import LimitTable, Procedure, Revision, Step
from checks.services.chain import append, row
from checks.services.errors import RecordError, refuse_if
from checks.services.persons import may, prove
from checks.services.points import limit_table, points_read
from checks.services.rows import MEASURING
from fleet.models import User


@transaction.atomic
def approve_revision(*, revision: Revision, by: User, password: str) -> Revision:
    """Approve, as one link of the operator's chain with every step and limit. Not by the person who typed it.

    RecordError lists what keeps it from being followed: steps without text or measuring what they can't,
    limit tables with faults.
    """
    at = timezone.now()
    may(by, "checks.approve_revision")
    prove(by, password)
    locked = Revision.objects.select_for_update(of=("self",)).select_related("procedure__variant")
    revision = locked.get(pk=revision.pk)
    if revision.approved_at:
        raise RecordError(f"It was approved on {revision.approved_at:%d %b %Y}.")
    if revision.typed_by_id == by.pk:
        raise RecordError("The person who typed a revision can't approve it. Ask another director.")
    refuse_if(faults(revision))
    _one_a_day(revision)
    revision.approved_by, revision.approved_at = by, at
    revision.full_clean()
    revision.save(update_fields=["approved_by", "approved_at"])
    append(aircraft=None, act="approval", payload=revision_payload(revision), at=at)
    return revision


def faults(revision: Revision) -> list[str]:
    """What keeps a revision from being followed. Four queries, however many steps and tables."""
    steps = list(revision.steps.select_related("point"))
    tables = list(revision.limit_tables.select_related("point").prefetch_related("rows"))
    found = [] if steps else ["It has no steps. Type them first."]
    for step in steps:
        found += [f"Step {step.number}: {fault}" for fault in _step_faults(step)]
    read = Counter(step.point_id for step in points_read(steps))
    names = {step.point_id: step.point for step in points_read(steps)}
    found += [f"{names[p]} is read in {n} steps; read it in one." for p, n in read.items() if n > 1]
    judged = {step.point_id for step in points_read(steps) if step.ceiling is None}
    for point in sorted(judged - {table.point_id for table in tables}):
        found.append(f"{names[point]} has no limit table. Type it.")
    for table in tables:
        found += [f"Limits of {table.point}: {fault}." for fault in check_table(limit_table(table))]
    return found


def revision_payload(revision: Revision) -> dict[str, object]:
    """Every column of a revision with its steps and limit tables, rows by temperature. Three queries."""
    return revision_payloads([revision])[revision.pk]


def revision_payloads(revisions: Iterable[Revision]) -> dict[int, dict[str, object]]:
    """The same of many, by key, in as many queries."""
    payloads: dict[int, dict[str, object]] = {
        one.pk: {"revision": row(one), "steps": [], "limit_tables": []} for one in revisions
    }
    for step in Step.objects.filter(revision__in=list(payloads)).order_by("revision_id", "number"):
        payloads[step.revision_id]["steps"].append(row(step))
    tables = LimitTable.objects.filter(revision__in=list(payloads)).order_by("revision_id", "point_id")
    for table in tables.prefetch_related("rows"):
        told = row(table) | {"rows": [row(one) for one in table.rows.all()]}
        payloads[table.revision_id]["limit_tables"].append(told)
    return payloads


def _one_a_day(revision: Revision) -> None:
    # Approvals of one task wait for each other, so that two of them can't both miss the other.
    Procedure.objects.select_for_update().get(pk=revision.procedure_id)
    others = Revision.objects.filter(procedure=revision.procedure_id, approved_at__isnull=False)
    if others.filter(effective_on=revision.effective_on).exists():
        raise RecordError(
            "Another revision of this task is effective on that day. Give this one a day of its own.",
            field="effective_on",
        )


def _step_faults(step: Step) -> list[str]:
    if not step.text.strip():
        return ["it has no text."]
    if step.kind not in MEASURING:
        return []
    if not units_for(step.quantity):
        return [f"“{step.quantity}” is no quantity that can be measured."]
    if step.unit not in {unit.code for unit in units_for(step.quantity)}:
        return [f"“{step.unit}” is no unit of {step.quantity}."]
    wanted = "volume" if step.kind == Step.Kind.TIMED_COLLECTION else step.point and step.point.quantity
    if wanted and unit_of(step.unit).quantity != wanted:
        return [f"it measures {step.quantity}, but needs {wanted} for {step.point or 'a collection'}."]
    return []
