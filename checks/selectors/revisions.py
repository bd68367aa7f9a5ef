"""Revisions of procedures: their state on a day, what took their place, what they change."""

import datetime as dt
from collections.abc import Iterator

from django.db.models import Case, CharField, Exists, OuterRef, Q, QuerySet, Value, When

from checks.models import LimitRow, Revision, Step

AWAITING, PLANNED, EFFECTIVE, SUPERSEDED = "awaiting approval", "planned", "effective", "superseded"
STATES = (AWAITING, PLANNED, EFFECTIVE, SUPERSEDED)
# What of a step is the same step: everything that is followed, not its number.
_STEP = (
    "kind",
    "text",
    "restore_text",
    "position_kind",
    "quantity",
    "unit",
    "point",
    "instrument_kind",
    "cadence_seconds",
    "ceiling",
    "ceiling_after_seconds",
    "duration_seconds",
)


def with_states(revisions: QuerySet[Revision], today: dt.date) -> QuerySet[Revision]:
    """Adds `now_is`, one of STATES."""
    later = Revision.objects.filter(
        procedure=OuterRef("procedure"),
        approved_at__isnull=False,
        effective_on__lte=today,
        effective_on__gt=OuterRef("effective_on"),
    )
    state = Case(
        When(approved_at=None, then=Value(AWAITING)),
        When(Exists(later), then=Value(SUPERSEDED)),
        When(effective_on__gt=today, then=Value(PLANNED)),
        default=Value(EFFECTIVE),
        output_field=CharField(),
    )
    return revisions.annotate(now_is=state)


def taken_by(revision: Revision) -> Revision | None:
    """The next approved revision, which takes its place on its effective date. One query."""
    later = Revision.objects.filter(
        procedure=revision.procedure_id, approved_at__isnull=False, effective_on__gt=revision.effective_on
    )
    return later.order_by("effective_on").first()


def before(revision: Revision) -> Revision | None:
    """The approved revision that it takes the place of. One query."""
    earlier = Revision.objects.filter(
        Q(effective_on__lt=revision.effective_on) | Q(effective_on=revision.effective_on, pk__lt=revision.pk),
        procedure=revision.procedure_id,
        approved_at__isnull=False,
    )
    return earlier.order_by("-effective_on", "-pk").first()


def changes(old: Revision, new: Revision) -> list[str]:
    """What the new revision changes of the old one, in words: limits first, then steps. Four queries."""
    return [*_limits_changed(old, new), *_steps_changed(old, new)]


def _limits_changed(old: Revision, new: Revision) -> Iterator[str]:
    was, now = _limits(old), _limits(new)
    for place in sorted(was.keys() | now.keys()):
        if was.get(place) != now.get(place):
            point, temperature = place
            yield (
                f"{point} at {temperature.normalize():f} °C: {_words(was.get(place))} becomes "
                f"{_words(now.get(place))}"
            )


def _limits(revision: Revision) -> dict[tuple, tuple]:
    rows = LimitRow.objects.filter(table__revision=revision).select_related("table__point")
    return {
        (row.table.point.name, row.temperature): (
            row.lower,
            row.upper,
            row.table.unit,
            row.table.get_reading_rule_display(),
        )
        for row in rows
    }


def _words(limit: tuple | None) -> str:
    if limit is None:
        return "no limit"
    lower, upper, unit, rule = limit
    parts = [
        f"{side} {value.normalize():f}"
        for side, value in (("lower", lower), ("upper", upper))
        if value is not None
    ]
    return f"{', '.join(parts)} {unit} ({rule})"


def _steps_changed(old: Revision, new: Revision) -> Iterator[str]:
    was, now = _steps(old), _steps(new)
    yield from (f"new or changed: step {step}" for same, step in now.items() if same not in was)
    yield from (f"no longer there: step {step}" for same, step in was.items() if same not in now)


def _steps(revision: Revision) -> dict[tuple, Step]:
    return {tuple(getattr(step, name) for name in _STEP): step for step in _ordered(revision)}


def _ordered(revision: Revision) -> QuerySet[Step]:
    return revision.steps.select_related("point").order_by("number")
