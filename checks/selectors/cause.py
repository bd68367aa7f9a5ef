"""What the likely cause rests on: the readings of a check and of the accepted checks before it.

A reading of a point counts for the baseline only since that point's last reset. Nothing signed after a
check is used for it, so that what is said of it today is said again tomorrow.
"""

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from uuid import UUID

from checks.engine.diagnosis_data import Taken
from checks.engine.settle import SETTLED
from checks.models import CauseFound, CheckEvent, Reading, Reset, Result
from checks.selectors.due_counting import counting_events
from fleet.models import MeasuringPoint, Position, User, Variant

Moment = tuple[dt.date, dt.datetime]


@dataclass(frozen=True)
class Layout:
    """The panels of a variant in order, and its points: test port, nozzle, panel port -> number of panel."""

    panels: tuple[Position, ...]
    test_port: MeasuringPoint | None
    nozzle: MeasuringPoint | None
    ports: dict[int, int]

    @property
    def points(self) -> set[int]:
        """Keys of the points that the network knows."""
        return {point.pk for point in (self.test_port, self.nozzle) if point} | set(self.ports)


@dataclass
class Read:
    """Values of one check in canonical units by point, its fluid temperature, minutes to settle."""

    values: dict[int, float] = field(default_factory=dict)
    temperature: float | None = None
    minutes: float | None = None

    def taken(self, layout: Layout) -> Taken | None:
        """As the engine takes it; None without a temperature or any value."""
        if self.temperature is None or not self.values:
            return None
        ports: list[float | None] = [None] * len(layout.panels)
        for point, panel in layout.ports.items():
            ports[panel] = self.values.get(point)
        return Taken(
            temperature=self.temperature,
            pressure=self.values.get(layout.test_port.pk) if layout.test_port else None,
            flow=self.values.get(layout.nozzle.pk) if layout.nozzle else None,
            minutes=self.minutes,
            ports=tuple(ports),
        )


def layout_of(variant: Variant) -> Layout:
    """Two queries."""
    panels = tuple(variant.positions.filter(kind=Position.Kind.PANEL).order_by("order", "code"))
    number = {panel.pk: place for place, panel in enumerate(panels)}
    points = list(variant.points.order_by("order", "code"))

    def first(kind: str) -> MeasuringPoint | None:
        return next((point for point in points if point.kind == kind), None)

    return Layout(
        panels=panels,
        test_port=first(MeasuringPoint.Kind.TEST_PORT),
        nozzle=first(MeasuringPoint.Kind.NOZZLE),
        ports={
            point.pk: number[point.position_id]
            for point in points
            if point.kind == MeasuringPoint.Kind.PANEL_PORT and point.position_id in number
        },
    )


def minutes_of(readings: Iterable[Reading], test_port: int) -> float | None:
    """Minutes from pump start to the reading at which the test port had settled. No query."""
    for reading in readings:
        if reading.point_id == test_port and reading.mark == SETTLED and reading.elapsed_seconds:
            return float(reading.elapsed_seconds) / 60
    return None


def accepted_before(event: CheckEvent, layout: Layout) -> list[tuple[CheckEvent, Read]]:
    """The aircraft's accepted checks before this one with their readings, oldest first. Three queries.

    Of each point only what was read since its last reset; a check of which nothing is left is left out, and
    so is one in which the pump ran in another mode.
    """
    until = event.signed_at or dt.datetime.max.replace(tzinfo=dt.UTC)
    here: Moment = (event.work_date, until)
    resets = Reset.objects.filter(event__in=CheckEvent.objects.standing().filter(aircraft=event.aircraft_id))
    begun: dict[int, Moment] = {}
    for point, *moment in resets.values_list("point", "event__work_date", "event__signed_at"):
        if tuple(moment) < here:
            begun[point] = max(begun.get(point, tuple(moment)), tuple(moment))
    earlier = counting_events().filter(aircraft=event.aircraft_id, work_date__lte=event.work_date)
    earlier = earlier.exclude(pk__in=[event.pk, event.supersedes_id or event.pk])
    if event.mode:
        earlier = earlier.filter(mode__in=["", event.mode])
    results = Result.objects.filter(
        event__in=earlier, point__in=layout.points, value__gt=0, temperature__isnull=False
    )
    found: dict[UUID, Read] = defaultdict(Read)
    events: dict[UUID, CheckEvent] = {}
    for result in results.select_related("event"):
        moment = (result.event.work_date, result.event.signed_at)
        if moment >= here or moment <= begun.get(result.point_id, (dt.date.min, until)):
            continue
        events[result.event_id] = result.event
        found[result.event_id].values[result.point_id] = float(result.value)
        found[result.event_id].temperature = float(result.temperature)
    _add_minutes(found, layout)
    ordered = sorted(events.values(), key=lambda one: (one.work_date, one.signed_at))
    return [(one, found[one.pk]) for one in ordered]


def _add_minutes(found: dict[UUID, Read], layout: Layout) -> None:
    if layout.test_port is None:
        return
    settled = Reading.objects.filter(event__in=list(found), point=layout.test_port, mark=SETTLED)
    for reading in settled:
        if layout.test_port.pk in found[reading.event_id].values:
            found[reading.event_id].minutes = minutes_of([reading], layout.test_port.pk)


def confirmed_before(event: CheckEvent) -> Counter[str]:
    """How often each cause was confirmed on this variant before the check was signed. One query."""
    found = CauseFound.objects.filter(event__aircraft__variant=event.aircraft.variant_id)
    if event.signed_at:
        found = found.filter(found_at__lt=event.signed_at)
    newest: dict[UUID, str] = {}
    for key, cause in found.exclude(event=event).order_by("found_at", "pk").values_list("event", "cause"):
        newest[key] = cause
    return Counter(newest.values())


def may_record_cause(person: User) -> bool:
    """Who carries out checks and who rectifies defects knows what the cause was."""
    return person.has_perm("checks.record_check") or person.has_perm("checks.rectify_defect")


@dataclass(frozen=True)
class Confirmed:
    """A confirmed cause beside what had been ranked. ranked_first: '' where nothing was; place: 1 for first,
    None where it was not ranked."""

    found: CauseFound
    ranked_first: str
    place: int | None
    group_right: bool


@dataclass(frozen=True)
class ReportCard:
    """How often the ranking was right, among the confirmed causes of which there was a ranking."""

    rows: tuple[Confirmed, ...]
    ranked: int
    first: int
    in_two: int
    group: int
    unranked: int


def report_card() -> ReportCard:
    """Every confirmed cause, the newest of each check, newest first. One query."""
    from checks.engine.diagnosis_causes import GROUP_OF
    from checks.engine.diagnosis_data import RANKED

    related = ("event__aircraft", "event__revision__procedure", "position", "found_by")
    seen: set[UUID] = set()
    rows = []
    for found in CauseFound.objects.select_related(*related):
        if found.event_id in seen:
            continue
        seen.add(found.event_id)
        ranked = found.ranking.get("causes", []) if found.ranking.get("verdict") == RANKED else []
        order = [cause for cause, *_ in ranked]
        group = found.ranking.get("group", "")
        rows.append(
            Confirmed(
                found=found,
                ranked_first=order[0] if order else "",
                place=order.index(found.cause) + 1 if found.cause in order else None,
                group_right=bool(order) and GROUP_OF.get(found.cause) == group,
            )
        )
    had = [row for row in rows if row.ranked_first]
    return ReportCard(
        rows=tuple(rows),
        ranked=len(had),
        first=sum(row.place == 1 for row in had),
        in_two=sum(row.place in (1, 2) for row in had),
        group=sum(row.group_right for row in had),
        unranked=len(rows) - len(had),
    )
