"""A story in words: what each attempt of an occasion found and what people did about it, in time order."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from uuid import UUID

from checks.engine.outcome import ESCALATE
from checks.engine.units import plain, shown
from checks.models import CheckEvent, Decision, Defect, Observation, Procedure, Result, Signature
from fleet.models import Operator

WHO_DECIDES = (
    "Purging alone is not tried again: the maintenance controller decides with the director of maintenance "
    "on a change of panel, line or pump, a search for the cause, or a deferral under the operator's MEL."
)
_FINE = (CheckEvent.Outcome.WITHIN, CheckEvent.Outcome.BORDERLINE, CheckEvent.Outcome.DONE)


@dataclass(frozen=True)
class Told:
    """One thing that happened. event: the attempt itself, None for what a person did about one.

    of: key of the attempt that it belongs to. state: a word of fleet.shapes, or empty.
    looks: (place, remark) of what was not satisfactory; a remark may begin with marks on the panel's outline.
    """

    at: dt.datetime
    title: str
    state: str
    words: tuple[str, ...]
    of: UUID
    event: CheckEvent | None = None
    looks: tuple[tuple[str, str], ...] = ()


def told(events: Iterable[CheckEvent]) -> list[Told]:
    """Attempts with their findings, deferrals, decisions, rectifications and releases, oldest first.

    events: with revision and procedure, of one occasion or of several; draft ones say only that they are.
    A fixed number of queries, however many events.
    """
    listed = list(events)
    looks = _looks(listed)
    found = _findings(listed, looks)
    purges, escalate_after = purges_up_to(listed), Operator.current().purges_before_escalation
    followed = {one.follows_id for one in listed}
    lines = []
    for one in listed:
        words = _words(one, found[one.pk], purges[one.pk], escalate_after, one.pk not in followed)
        lines.append(
            Told(
                at=one.signed_at or one.started_at,
                title=one.revision.procedure.title,
                state="draft" if one.is_draft else one.outcome,
                words=() if one.is_draft else tuple(words),
                of=one.pk,
                event=one,
                looks=() if one.is_draft else tuple(looks[one.pk]),
            )
        )
    return sorted([*lines, *_acts(listed)], key=lambda line: line.at)


def escalated(events: Iterable[CheckEvent]) -> CheckEvent | None:
    """The newest standing attempt, where it is one that escalates; None once a later check did better."""
    checks = [
        one
        for one in events
        if not one.is_draft and one.revision.procedure.kind == Procedure.Kind.CHECK and not _is_corrected(one)
    ]
    newest = max(checks, key=lambda one: one.signed_at, default=None)
    return newest if newest and newest.next_action == ESCALATE else None


def purges_up_to(events: Iterable[CheckEvent]) -> dict[UUID, int]:
    """By attempt, how many purges led to it, itself included. No query."""
    known = {one.pk: one for one in events}

    def count(one: CheckEvent) -> int:
        purges, seen = 0, set()
        while one is not None and one.pk not in seen:
            seen.add(one.pk)
            purges += one.revision.procedure.kind == Procedure.Kind.PURGE
            one = known.get(one.follows_id)
        return purges

    return {key: count(one) for key, one in known.items()}


def _is_corrected(event: CheckEvent) -> bool:
    later = getattr(event, "superseded_by", None)
    return bool(later) and not later.is_draft


def _looks(events: list[CheckEvent]) -> Mapping[UUID, list[tuple[str, str]]]:
    """Place and remark of each look that was not satisfactory, by event. One query."""
    found: dict[UUID, list[tuple[str, str]]] = defaultdict(list)
    looks = Observation.objects.filter(event__in=events, satisfactory=False)
    for one in looks.select_related("position", "step").order_by("step__number", "position__order"):
        found[one.event_id].append((str(one.position or f"step {one.step.number}"), one.remark))
    return found


def _findings(
    events: list[CheckEvent], looks: Mapping[UUID, list[tuple[str, str]]]
) -> Mapping[UUID, list[str]]:
    """What was read and seen, by event: all that is not in order, else the first point read. One query."""
    found: dict[UUID, list[str]] = defaultdict(list)
    first: dict[UUID, str] = {}
    results = Result.objects.filter(event__in=events).select_related("point")
    for one in results.order_by("event", "point__order", "point__code"):
        words = f"{one.point.name}: {_read(one)}"
        if one.outcome in _FINE:
            first.setdefault(one.event_id, words)
        else:
            found[one.event_id].append(words)
    for key, seen in looks.items():
        found[key] += [f"{place}: {remark}" for place, remark in seen]
    for key, words in first.items():
        found[key] = found[key] or [words]
    return found


def _read(one: Result) -> str:
    """Value and limits in canonical units, so that attempts with different gauges stand side by side; the
    stored reason where the limits alone do not say why."""
    if one.margin is None or one.outcome == CheckEvent.Outcome.NOT_VALID:
        return "; ".join(one.reason.splitlines())
    unit = one.point.unit
    sides = [
        f"at {word} {shown(round(limit, 2), unit)}"
        for word, limit in (("least", one.lower), ("most", one.upper))
        if limit is not None
    ]
    return f"{shown(round(one.value, 2), unit)}, {' and '.join(sides)} at {plain(one.temperature)} °C"


def _words(
    event: CheckEvent, found: list[str], purges: int, escalate_after: int, is_last: bool
) -> Iterator[str]:
    yield from found
    if event.revision.procedure.kind == Procedure.Kind.PURGE:
        yield f"Purge {purges} of {escalate_after} before escalation."
    if event.next_action == ESCALATE:
        yield f"Escalated: still outside after {purges} purges."
    elif event.outcome not in _FINE and is_last:
        invalid = event.next_action.removeprefix(f"{CheckEvent.Outcome.NOT_VALID}: ")
        yield f"Next: {invalid}." if invalid == event.next_action else f"Not valid: {invalid}."


def _acts(events: list[CheckEvent]) -> Iterator[Told]:
    """Seven queries at most."""
    signed = (Signature.Act.INSPECTED, Signature.Act.RELEASED)
    for one in Signature.objects.filter(event__in=events, act__in=signed):
        state = "released" if one.act == Signature.Act.RELEASED else "signed"
        yield Told(
            one.signed_at, one.get_act_display().capitalize(), state, (f"By {one.name}.",), one.event_id
        )
    for one in Decision.objects.filter(event__in=events).select_related("decided_by"):
        title = "Accepted in writing" if one.accepted else "Not accepted"
        yield Told(one.decided_at, title, "", (one.text, f"By {one.decided_by}."), one.event_id)
    defects = Defect.objects.filter(event__in=events).select_related("rectification__rectified_by")
    for defect in defects.prefetch_related("deferrals__deferred_by", "deferrals__extensions__answer"):
        for one in defect.deferrals.all():
            words = (
                f"MEL item {one.mel_item}, category {one.category}, {one.first_told}: {one.limitation}",
                f"By {one.deferred_by}.",
            )
            yield Told(one.deferred_at, "Defect deferred", "deferred", words, defect.event_id)
            if extension := one.extension:
                words = (f"Now {extension}: {extension.answer.text}",)
                at = extension.answer.answered_at
                yield Told(at, "Deferral extended", "deferred", words, defect.event_id)
        if hasattr(defect, "rectification"):
            one = defect.rectification
            words = (*one.text.splitlines(), f"By {one.rectified_by}.")
            yield Told(one.rectified_at, "Defect rectified", "closed", words, defect.event_id)
