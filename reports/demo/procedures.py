"""The demo's procedures as data: revisions with steps and limit tables, and the checks that recur."""

import datetime as dt
from collections.abc import Iterator
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

from checks.engine.units import from_canonical
from checks.models import LimitRow, LimitTable, Procedure, RecurringCheck, Revision, Step
from checks.services.chain import append
from checks.services.procedures import revision_payload
from fleet.models import MeasuringPoint, ReferenceRow
from reports.demo.master import Master, read

TYPED_BY, APPROVED_BY = "controller1", "director1"
TYPED_DAYS_AGO = 2  # what waits for approval
SEASON = ("fluid_litres", "wets_panels", "use_after")  # what season plan and stock go by
FINEST = Decimal("0.5")  # limits in the demo are printed in halves at the finest,
COARSE_FROM = 20  # in tenths where they are smaller than this


def load_procedures(master: Master, data: dict[str, Any]) -> None:
    """Write every procedure of fixtures/demo/procedures.json for each of its variants."""
    references = _references()
    for row in data["procedures"]:
        for variant in row["variants"]:
            _load_procedure(master, variant, row, data, references)
    loaded = [revision for revisions in master.revisions.values() for revision in revisions]
    for revision in sorted(loaded, key=lambda one: (one.effective_on, one.pk)):
        _approve(master, revision)


def _references() -> dict[int, list[ReferenceRow]]:
    rows: dict[int, list[ReferenceRow]] = {}
    for row in ReferenceRow.objects.order_by("point_id", "temperature"):
        rows.setdefault(row.point_id, []).append(row)
    return rows


def _load_procedure(
    master: Master,
    variant: str,
    row: dict[str, Any],
    data: dict[str, Any],
    references: dict[int, list[ReferenceRow]],
) -> None:
    optional = ("jasc", "is_inspection", "extent", "needs_inspection", *SEASON)
    procedure = Procedure.objects.create(
        variant=master.variants[variant],
        code=row["code"],
        title=row["title"],
        kind=row["kind"],
        **{key: row[key] for key in optional if key in row},
    )
    master.procedures[variant, procedure.code] = procedure
    for wanted in row["revisions"]:
        revision = _type(master, procedure, row, wanted, data, references)
        master.revisions.setdefault((variant, procedure.code), []).append(revision)
    if row.get("sparse"):
        master.sparse.add((variant, procedure.code))
    if "recurring" in row:
        master.recurring[variant, procedure.code] = RecurringCheck.objects.create(
            procedure=procedure, **row["recurring"]
        )


def _type(
    master: Master,
    procedure: Procedure,
    row: dict[str, Any],
    wanted: dict[str, Any],
    data: dict[str, Any],
    references: dict[int, list[ReferenceRow]],
) -> Revision:
    """One revision with its steps and limits, not approved yet."""
    variant = procedure.variant.code
    points = {code: point for (of, code), point in master.points.items() if of == variant}
    revision = Revision.objects.create(
        procedure=procedure,
        number=wanted["number"],
        source_reference=data["source_reference"].format(title=row["title"], number=wanted["number"]),
        typed_by=master.people[TYPED_BY],
        effective_on=master.days_ago(wanted["effective"]),
    )
    steps = list(_steps(row["steps"], data["shared_steps"], points))
    Step.objects.bulk_create(_step(revision, n, step, wanted) for n, step in enumerate(steps, start=1))
    factor = Decimal(wanted.get("limit_factor", 1))
    _load_limits(revision, row.get("limits", []), points, factor, references)
    return revision


def load_waiting(master: Master) -> None:
    """The revisions that wait for the director's approval, effective in some weeks."""
    data, references = read("procedures"), _references()
    for row in data["procedures"]:
        for wanted in row.get("waiting", []):
            for variant in row["variants"]:
                procedure = master.procedures[variant, row["code"]]
                revision = _type(master, procedure, row, wanted, data, references)
                typed = dt.datetime.combine(master.days_ago(TYPED_DAYS_AGO), dt.time(10), tzinfo=dt.UTC)
                Revision.objects.filter(pk=revision.pk).update(typed_at=typed)


def _approve(master: Master, revision: Revision) -> None:
    """Typed ten days before it took effect, approved five days before, as a link of the operator's chain."""
    effective = dt.datetime.combine(revision.effective_on, dt.time(10), tzinfo=dt.UTC)
    at = effective - dt.timedelta(days=5)
    revision.typed_at = at - dt.timedelta(days=5)
    revision.approved_by, revision.approved_at = master.people[APPROVED_BY], at
    revision.save(update_fields=["typed_at", "approved_by", "approved_at"])
    append(aircraft=None, act="approval", payload=revision_payload(revision), at=at)


def _steps(
    steps: list[str | dict[str, Any]],
    shared: dict[str, dict[str, Any]],
    points: dict[str, MeasuringPoint],
) -> Iterator[dict[str, Any]]:
    """Steps in full, with their point; one for each point of a kind where the row says so."""
    for step in steps:
        full = dict(shared[step] if isinstance(step, str) else step)
        each = full.pop("each", "")
        if each:
            for point in _of_kind(points, each):
                yield full | {"point": point, "text": full["text"].format(point=point.name)}
        elif "point" in full:
            yield full | {"point": points[full["point"]]}
        else:
            yield full


def _step(revision: Revision, number: int, step: dict[str, Any], wanted: dict[str, Any]) -> Step:
    ceiling = wanted["ceiling"] if "ceiling_after_seconds" in step else None
    return Step(revision=revision, number=number, ceiling=ceiling, **step)


def _of_kind(points: dict[str, MeasuringPoint], kind: str) -> list[MeasuringPoint]:
    return [point for point in points.values() if point.kind == kind]


def _load_limits(
    revision: Revision,
    limits: list[dict[str, Any]],
    points: dict[str, MeasuringPoint],
    factor: Decimal,
    references: dict[int, list[ReferenceRow]],
) -> None:
    wanted = [
        (limit, point)
        for limit in limits
        for point in (_of_kind(points, limit["each"]) if "each" in limit else [points[limit["point"]]])
    ]
    tables = [
        LimitTable(
            revision=revision,
            point=point,
            unit=limit["unit"],
            kind=limit["kind"],
            reading_rule=limit["rule"],
            source_reference=f"Invented example: {point.name}",
        )
        for limit, point in wanted
    ]
    LimitTable.objects.bulk_create(tables)
    LimitRow.objects.bulk_create(
        LimitRow(table=table, temperature=temperature, lower=lower, upper=upper)
        for table, (limit, point) in zip(tables, wanted, strict=True)
        for temperature, lower, upper in _rows(limit, point, factor, references)
    )


def _rows(
    limit: dict[str, Any], point: MeasuringPoint, factor: Decimal, references: dict[int, list[ReferenceRow]]
) -> Iterator[tuple[Decimal | str, Decimal | None, Decimal]]:
    """(temperature, lower, upper) in the table's unit: as printed, as shares of nominal, or by reference."""
    if "rows" in limit:
        for temperature, lower, upper in limit["rows"]:
            yield temperature, Decimal(lower), Decimal(upper)
    elif "of_nominal" in limit:
        nominal = from_canonical(Decimal(point.nominal), limit["unit"])
        finest = FINEST if nominal > COARSE_FROM else FINEST / 5
        for temperature, lower, upper in limit["of_nominal"]:
            yield temperature, *(_rounded(nominal * Decimal(share), finest) for share in (lower, upper))
    else:
        for row in references[point.pk]:
            yield row.temperature, None, _rounded(row.value * factor, FINEST)


def _rounded(value: Decimal, step: Decimal) -> Decimal:
    return (value / step).quantize(Decimal(1), rounding=ROUND_HALF_EVEN) * step
