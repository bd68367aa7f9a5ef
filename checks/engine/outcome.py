"""What a check's readings say together, and what comes next. An outcome releases nothing: a person does.

Order of weight: outside a limit, then not valid, then borderline, then within. 'under limit' is said of a
point; the check as a whole is then 'over limit', which means outside its limits.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from checks.engine.conformity import BORDERLINE, OVER, UNDER, WITHIN
from checks.engine.point import (
    FROM_MEMORY,
    MEASURED,
    NOT_VALID,
    Collection,
    InstrumentUse,
    PointInput,
    PointOutcome,
    judge_point,
)

__all__ = [
    "BORDERLINE",
    "FROM_MEMORY",
    "MEASURED",
    "NOT_VALID",
    "OVER",
    "UNDER",
    "WITHIN",
    "CheckOutcome",
    "Collection",
    "InstrumentUse",
    "Observation",
    "PointInput",
    "PointOutcome",
    "judge_check",
    "judge_point",
    "strictest",
]

RELEASE_MAY_BE_ASKED = "release may be asked for"
PURGE_AND_TEST = "purge and test again"
FIND_CAUSE = "find the cause and test again"
DECIDE_IN_WRITING = "a person must decide in writing"
ESCALATE = "escalate"
_BY_WEIGHT = (OVER, NOT_VALID, BORDERLINE, WITHIN)
_STALE = "no test since the last purge; test again"


@dataclass(frozen=True)
class Observation:
    """A look at something: satisfactory True or False, None where it was not recorded."""

    name: str
    satisfactory: bool | None
    remark: str = ""


@dataclass(frozen=True)
class CheckOutcome:
    """The whole check: outcome, next action (one of the constants here or 'not valid: why'), reasons."""

    outcome: str
    next_action: str
    points: tuple[PointOutcome, ...]
    reasons: tuple[str, ...]


def judge_check(
    points: Sequence[PointInput],
    observations: Sequence[Observation] = (),
    *,
    purges: int = 0,
    retests: int | None = None,
    escalate_after: int = 3,
) -> CheckOutcome:
    """Outcome of a check from its latest attempt.

    purges: purges so far on this occasion; from escalate_after on, a check still outside is to be escalated.
    retests: tests begun after a purge on this occasion, where counted; fewer than purges means that the
    readings are older than the last purge and say nothing of it.
    """
    judged = tuple(judge_point(point) for point in points)
    poor = [f"not satisfactory: {_seen(o)}" for o in observations if o.satisfactory is False]
    stale = retests is not None and retests < purges
    missing = [f"observation missing: {o.name}" for o in observations if o.satisfactory is None]
    missing += [] if judged or observations else ["nothing is recorded"]
    missing += [_STALE] if stale else []
    invalid = _gathered(p for p in judged if p.outcome == NOT_VALID and not p.too_low)
    reasons = (*(f"{p.name}: {r}" for p in judged for r in p.reasons), *poor, *missing)
    outside = {p.outcome for p in judged} & {OVER, UNDER}
    if outside or poor:
        action = f"not valid: {_STALE}" if stale else _after_outside(outside, poor, purges >= escalate_after)
        return CheckOutcome(OVER, action, judged, reasons)
    if invalid or missing:
        return CheckOutcome(NOT_VALID, f"not valid: {'; '.join(invalid + missing)}", judged, reasons)
    if any(p.outcome == NOT_VALID for p in judged):
        return CheckOutcome(NOT_VALID, DECIDE_IN_WRITING, judged, reasons)
    outcome = BORDERLINE if any(p.outcome == BORDERLINE for p in judged) else WITHIN
    return CheckOutcome(outcome, RELEASE_MAY_BE_ASKED, judged, reasons)


def strictest(points: Iterable[PointInput]) -> PointInput:
    """Of one point judged more than once, as at two fluid temperatures: the one of the heaviest outcome, then
    of the smallest margin, then the first."""

    def weight(point: PointInput) -> tuple[int, bool, Decimal]:
        judged = judge_point(point)
        margin = judged.judgement.margin if judged.judgement else None
        outside = {UNDER: OVER}.get(judged.outcome, judged.outcome)
        return _BY_WEIGHT.index(outside), margin is None, margin or Decimal(0)

    return min(points, key=weight)


def _after_outside(outside: set[str], poor: list[str], escalate: bool) -> str:
    if escalate:
        return ESCALATE
    # A purge clears blockages; it does not raise what is too low.
    return FIND_CAUSE if outside == {UNDER} and not poor else PURGE_AND_TEST


def _gathered(points: Iterable[PointOutcome]) -> list[str]:
    """Why points cannot be judged; what many points share is said once."""
    names: dict[str, list[str]] = {}
    for point in points:
        for reason in point.reasons:
            names.setdefault(reason, []).append(point.name)
    return [
        f"{of[0]}: {reason}" if len(of) == 1 else f"{reason} at {len(of)} points: {', '.join(of)}"
        for reason, of in names.items()
    ]


def _seen(observation: Observation) -> str:
    return observation.name + (f": {observation.remark}" if observation.remark else "")
