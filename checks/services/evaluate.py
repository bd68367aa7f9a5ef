"""What the readings of a draft mean, at once: the page shows it while the work goes on, signing keeps it.

Reads, never writes. The engine decides; here its input is gathered and its words are put to the rows.
"""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from checks.engine.entry import Expected
from checks.engine.limits import LimitTable
from checks.engine.outcome import (
    NOT_VALID,
    PURGE_AND_TEST,
    RELEASE_MAY_BE_ASKED,
    CheckOutcome,
    Observation,
    PointInput,
    PointOutcome,
    judge_check,
    strictest,
)
from checks.models import CheckEvent, Procedure, Reading, Step
from checks.selectors.baseline import baselines, compensation, reference_rows
from checks.selectors.events import occasion
from checks.services.errors import Problem
from checks.services.inputs import ObservationInput
from checks.services.points import Judged, limit_table, point_input, points_read
from checks.services.questions import Held, Question, open_problems, questions_of
from checks.services.rows import ACKNOWLEDGED, MEASURING, is_start
from checks.services.temperatures import temperatures_of
from checks.services.values import AS_READ, Corrections
from fleet.models import MeasuringPoint, Operator, Position, ReferenceRow, Variant

TEST_AGAIN = "test again"
PANELS_HIDE = (
    "Normal pressure and flow do not show that every panel flows: a single blocked panel hardly moves "
    "either. Only the look at every panel does."
)
NO_PANEL_PORTS = (
    "This installation has no panel ports: pressure at the test port and flow at the nozzle can name no "
    "single panel."
)


@dataclass(frozen=True)
class PointLine:
    """One measuring point with its outcome and the fluid temperature (°C) that its limit was read at."""

    point: MeasuringPoint
    judged: PointOutcome
    temperature: Decimal | None
    baseline: Decimal | None  # of this aircraft at this temperature, canonical units
    step: Step
    taken: Decimal | None  # settled, collected or single: what may be asked about, canonical
    unit: str | None  # UCUM: that in which it was read

    @property
    def outcome(self) -> str:
        """A word of CheckEvent.Outcome: under a lower limit is outside the limits like over an upper one."""
        known = CheckEvent.Outcome.values
        return self.judged.outcome if self.judged.outcome in known else CheckEvent.Outcome.OVER

    @property
    def margin(self) -> Decimal | None:
        return self.judged.judgement.margin if self.judged.judgement else None


@dataclass(frozen=True)
class Evaluation:
    """The outcome of an event as it stands, and what still bars its signing. expected: of the value of each
    point, by its key, where its history foretells anything."""

    outcome: str
    next_action: str
    reasons: tuple[str, ...]
    points: tuple[PointLine, ...]
    too_low: bool
    blind_spots: tuple[str, ...]
    marks: dict[int, str]  # what settling made of each reading, by its key
    missing: tuple[Problem, ...]
    purges: int
    questions: tuple[Question, ...] = ()
    expected: Mapping[int, Expected] = field(default_factory=dict)

    @property
    def complete(self) -> bool:
        return not self.missing


@dataclass(frozen=True)
class Grounds:
    """What an event is judged by, read from the database. readings, tables, references and baselines by key
    of step, point, point and point; positions: those of the aircraft's variant, where a step looks at any."""

    steps: list[Step]
    readings: Mapping[int, list[Reading]]
    tables: Mapping[int, LimitTable]
    positions: list[Position]
    references: Mapping[int, list[ReferenceRow]]
    baselines: Mapping[int, Decimal]
    operator: Operator
    purges: int = 0


def evaluate(
    event: CheckEvent, *, corrections: Corrections = AS_READ, grounds: Grounds | None = None
) -> Evaluation:
    """Judge an event from its rows in the database. A fixed number of queries, however many rows.

    corrections: what if instruments had read otherwise, see points.Corrections. grounds: read beforehand, as
    for many events at once; then no query where observations and cautions were fetched with the event.
    """
    known = grounds or grounds_of(event)
    steps, readings = known.steps, known.readings
    # What was seen is not part of a row from paper.
    looks = [] if event.source == CheckEvent.Source.IMPORTED else _looks(event, steps, known.positions)
    taken = [reading for rows in readings.values() for reading in rows]
    shared = Judged(
        event=event,
        readings=readings,
        tables=known.tables,
        temperatures=temperatures_of(event, taken, corrections),
        has_series=any(step.kind == Step.Kind.TIMED_SERIES for step in steps),
        corrections=corrections,
    )
    lines, check = _judge(shared, known, [look for _, _, look in looks])
    outcome, action = _conclusion(event.revision.procedure, check, bool(lines), bool(looks))
    held = Held()
    if event.is_draft and grounds is None and lines:
        held = questions_of(event, lines, steps, shared.temperatures, known.operator.entry_sds)
    return Evaluation(
        outcome=outcome,
        next_action=action,
        reasons=check.reasons if lines or looks else (),
        points=lines,
        too_low=any(line.judged.too_low for line in lines),
        blind_spots=blind_spots(
            event.aircraft.variant, feels_panels=any(line.point.feels_panels for line in lines)
        ),
        marks=shared.marks,
        missing=(*_missing(event, steps, readings), *_not_looked_at(looks), *open_problems(held.questions)),
        purges=known.purges,
        questions=held.questions,
        expected=held.expected,
    )


def grounds_of(event: CheckEvent) -> Grounds:
    """The grounds of one event as it stands."""
    steps = list(event.revision.steps.select_related("point"))
    readings: dict[int, list[Reading]] = defaultdict(list)
    found = event.readings.select_related("instrument", "calibration", "step")
    for reading in found.order_by("step__number", "sequence"):
        readings[reading.step_id].append(reading)
    looked = any(step.kind == Step.Kind.OBSERVE for step in steps)
    points = [step.point_id for step in points_read(steps)]
    references = reference_rows(points)
    return Grounds(
        steps=steps,
        readings=readings,
        tables={
            table.point_id: limit_table(table)
            for table in event.revision.limit_tables.prefetch_related("rows")
        },
        positions=list(Position.objects.filter(variant=event.aircraft.variant_id)) if looked else [],
        references=references,
        baselines=baselines(event, references) if points else {},
        operator=Operator.current(),
        purges=occasion(event).purges,
    )


def _judge(
    shared: Judged, known: Grounds, looks: list[Observation]
) -> tuple[tuple[PointLine, ...], CheckOutcome]:
    reading_steps = points_read(known.steps)
    if shared.event.source == CheckEvent.Source.IMPORTED:  # what paper did not keep is no missing reading
        reading_steps = [step for step in reading_steps if shared.readings.get(step.pk)]
    # A series first, wherever its step stands: a collection waits for it.
    reading_steps.sort(key=lambda step: step.kind != Step.Kind.TIMED_SERIES)
    operator = known.operator
    inputs = [_input(step, shared, known) for step in reading_steps]
    check = judge_check(inputs, looks, purges=known.purges, escalate_after=operator.purges_before_escalation)
    lines = []
    for step, given, judged in zip(reading_steps, inputs, check.points, strict=True):
        usual = None if given.baseline is None else given.baseline * given.compensation
        taken = given.value if not given.needs_settled or (given.settled and given.settled.settled) else None
        lines.append(PointLine(step.point, judged, given.temperature, usual, step, taken, given.unit))
    return tuple(lines), check


def _input(step: Step, shared: Judged, known: Grounds) -> PointInput:
    """A step's point at the fluid temperature that holds for it: of two, the one with the stricter result."""
    rows = known.references.get(step.point_id, [])
    return strictest(
        point_input(
            step,
            shared,
            at,
            baseline=known.baselines.get(step.point_id),
            factor=compensation(step.point, rows, at.value),
            low_share=known.operator.too_low_share,
        )
        for at in shared.temperatures.of(step)
    )


def _conclusion(procedure: Procedure, check: CheckOutcome, measured: bool, looked: bool) -> tuple[str, str]:
    """The event's outcome and next action: work that measures nothing is done, not within a limit."""
    outcome, action = check.outcome, check.next_action
    found_well = check.outcome not in (CheckEvent.Outcome.OVER, NOT_VALID)
    if not measured and (found_well or not looked):
        outcome, action = CheckEvent.Outcome.DONE.value, RELEASE_MAY_BE_ASKED
    if procedure.kind == Procedure.Kind.PURGE and outcome == CheckEvent.Outcome.DONE:
        action = TEST_AGAIN
    at_work = procedure.kind in (Procedure.Kind.SERVICE, Procedure.Kind.CHANGE)
    if not measured and action == PURGE_AND_TEST and at_work:
        action = "put right what was found, then look again"
    return outcome, action


def _looks(
    event: CheckEvent, steps: list[Step], positions: list[Position]
) -> list[tuple[Step, str, Observation]]:
    """Every look that the steps ask for, its form field, what was seen; None where nothing was recorded."""
    seen = {(o.step_id, o.position_id): o for o in event.observations.all()}
    asked = [step for step in steps if step.kind == Step.Kind.OBSERVE]
    looks = []
    for step in asked:
        at = [p for p in positions if p.kind == step.position_kind] if step.position_kind else [None]
        if event.revision.procedure.kind == Procedure.Kind.CHANGE and step.position_kind:
            # Work on some positions only: those that an answer names, and one at least.
            at = [p for p in at if (step.pk, p.pk) in seen] or at
        for position in at:
            one = seen.get((step.pk, position.pk if position else None))
            name = str(position) if position else f"step {step.number}"
            field = ObservationInput(step.pk, position and position.pk).name("satisfactory")
            seen_there = Observation(name, one.satisfactory if one else None, one.remark if one else "")
            looks.append((step, field, seen_there))
    return looks


def _not_looked_at(looks: list[tuple[Step, str, Observation]]) -> list[Problem]:
    return [
        Problem(
            f"Step {step.number}{f', {look.name}' if step.position_kind else ''}: "
            "say whether it is satisfactory.",
            field,
        )
        for step, field, look in looks
        if look.satisfactory is None
    ]


def _missing(event: CheckEvent, steps: list[Step], readings: Mapping[int, list[Reading]]) -> list[Problem]:
    """What bars signing: signed work names its cautions, temperature and instruments.

    A measured value may be missing: a check that had to be broken off is signed as not valid.
    """
    problems = []
    followed = {row.step_id: row for row in event.cautions_followed.all()}
    for step in steps:
        if step.kind in ACKNOWLEDGED and step.pk not in followed:
            name = f"caution-{step.pk}-acknowledged"
            problems.append(Problem(f"Step {step.number}: confirm this {step.get_kind_display()}.", name))
        elif step.restore_text and step.pk in followed and not followed[step.pk].restored:
            name = f"caution-{step.pk}-restored"
            problems.append(Problem(f"Step {step.number}: confirm that it is put back.", name))
        if step.kind in MEASURING and step.quantity == "temperature" and not readings.get(step.pk):
            name = f"reading-{step.pk}-0-typed"
            problems.append(Problem(f"Step {step.number}: enter the fluid temperature first.", name))
        problems += _unnamed(event, step, readings.get(step.pk, []))
    return problems


def _unnamed(event: CheckEvent, step: Step, readings: list[Reading]) -> list[Problem]:
    """Readings of a step that asks for an instrument, without one."""
    remembered = step.quantity == "temperature" and event.temperature_from_memory
    if not step.instrument_kind or remembered:
        return []
    return [
        Problem(
            f"Step {step.number}: name the {step.instrument_kind} that was used.",
            f"reading-{step.pk}-{reading.sequence}-instrument",
        )
        for reading in readings
        if reading.instrument_id is None and not is_start(reading)
    ]


def blind_spots(variant: Variant, *, feels_panels: bool) -> tuple[str, ...]:
    """What the readings of a check can't show; nothing where no point feels the panels. No query."""
    if not feels_panels:
        return ()
    return (PANELS_HIDE,) if variant.has_panel_ports else (PANELS_HIDE, NO_PANEL_PORTS)
