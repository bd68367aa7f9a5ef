"""The grounds of many events at once, for a question about all of them in a fixed number of queries."""

from collections import defaultdict
from collections.abc import Iterable
from uuid import UUID

from checks.engine.limits import LimitTable
from checks.models import CheckEvent, Reading, Step
from checks.models import LimitTable as LimitTableRow
from checks.selectors.baseline import baselines_of, reference_rows
from checks.services.evaluate import Grounds
from checks.services.points import limit_table, points_read
from fleet.models import Operator, Position


def grounds_of_many(events: list[CheckEvent]) -> dict[UUID, Grounds]:
    """The grounds by key of the event. Ten queries however many events, which come with their aircraft.

    Purges before an event are not counted: they tell what comes next, not the outcome.
    """
    if not events:
        return {}
    revisions = {event.revision_id for event in events}
    steps: dict[int, list[Step]] = defaultdict(list)
    for step in Step.objects.filter(revision__in=revisions).select_related("point").order_by("number"):
        steps[step.revision_id].append(step)
    readings = _readings(events)
    tables: dict[int, dict[int, LimitTable]] = defaultdict(dict)
    for table in LimitTableRow.objects.filter(revision__in=revisions).prefetch_related("rows"):
        tables[table.revision_id][table.point_id] = limit_table(table)
    positions: dict[int, list[Position]] = defaultdict(list)
    for position in Position.objects.filter(variant__in={event.aircraft.variant_id for event in events}):
        positions[position.variant_id].append(position)
    references = reference_rows([step.point_id for rows in steps.values() for step in points_read(rows)])
    baselines, operator = baselines_of(events, references), Operator.current()
    return {
        event.pk: Grounds(
            steps=steps[event.revision_id],
            readings=readings[event.pk],
            tables=tables[event.revision_id],
            positions=positions[event.aircraft.variant_id],
            references=references,
            baselines=baselines[event.pk],
            operator=operator,
        )
        for event in events
    }


def _readings(events: Iterable[CheckEvent]) -> dict[UUID, dict[int, list[Reading]]]:
    """Readings by event and step, in order. One query."""
    found: dict[UUID, dict[int, list[Reading]]] = {event.pk: defaultdict(list) for event in events}
    rows = Reading.objects.filter(event__in=list(found)).select_related("instrument", "calibration", "step")
    for reading in rows.order_by("step__number", "sequence"):
        found[reading.event_id][reading.step_id].append(reading)
    return found
