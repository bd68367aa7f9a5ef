"""The record of a check: what was read, seen, followed, concluded and signed, and the story around it."""

import uuid
from collections.abc import Iterable, Iterator
from itertools import groupby
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import NoReverseMatch, reverse
from django.utils import timezone

from checks.engine.units import canonical_unit, plain, unit_of
from checks.forms.cause import CauseForm
from checks.forms.check_text import clock
from checks.models import CheckEvent, Observation, Procedure, Reading, Step
from checks.selectors.check_story import acts_open, attempts, remedies_for, state_word, tested_before
from checks.selectors.doubt import doubts_of
from checks.selectors.events import defects_of_occasion
from checks.selectors.questions import questions_told
from checks.selectors.release import deferral_day
from checks.selectors.story import WHO_DECIDES, Told, escalated, told
from checks.services.evaluate import evaluate
from checks.services.rows import is_start
from checks.views.cause_part import cause_part
from checks.views.check_panel import panel_of_draft, panel_of_signed, readings_of
from checks.views.doubt_words import mark
from checks.views.evidence import evidence_part
from checks.views.handover import handover_shown


def show(
    request: HttpRequest, event: CheckEvent, *, cause_form: CauseForm | None = None, status: int = 200
) -> HttpResponse:
    """One check for reading. A fixed number of queries, however many rows it has.

    cause_form: of the confirmed cause, where it could not be kept.
    """
    evaluation = evaluate(event) if event.is_draft else None
    signatures = list(
        event.signatures.select_related("record__chain__aircraft", "person").order_by("signed_at")
    )
    correction = CheckEvent.objects.filter(supersedes=event).first()
    corrected = bool(correction and not correction.is_draft)
    story = attempts(event)
    given = {signature.act for signature in signatures}
    acts = acts_open(event, request.user, given, corrected)
    context = {
        "event": event,
        "panel": panel_of_draft(event, evaluation) if evaluation else panel_of_signed(event),
        "readings": list(by_step(readings_of(event))),
        "questions": () if event.is_draft else questions_told(event),
        "looks": looks_by_step(event),
        "cautions": event.cautions_followed.select_related("step").order_by("step__number"),
        "signatures": signatures,
        "decision": getattr(event, "decision", None),
        "defects": defects_shown(event),
        "doubts": [mark(doubt) for doubt in doubts_of(event)],
        "story": story if len(story) > 1 else [],
        "told": told_of(story),
        "escalated": escalated(story),
        "who_decides": WHO_DECIDES,
        "correction": correction,
        "state": state_word(
            event, inspected="inspected" in given, released="released" in given, corrected=corrected
        ),
        "acts": acts,
        "starts": starts(event, story) if "go on" in acts else [],
        "facts": facts(event),
        "pdf": address("reports:record_pdf", event.pk) if not event.is_draft else "",
        "handover": handover_shown(event, request.user, evaluation),
        **evidence_part(event),
        **cause_part(request, event, evaluation, cause_form),
    }
    return render(request, "checks/check_show.html", context, status=status)


SIGNED = ("signed", "released")


def told_of(story: list[CheckEvent]) -> list[Told]:
    """The story in words, where there is more to tell than one attempt and its release."""
    lines = told(story)
    more = len(story) > 1 or any(line.event is None and line.state not in SIGNED for line in lines)
    return lines if more else []


def address(name: str, key: object) -> str:
    """The address of a page where there is one, else an empty text."""
    try:
        return reverse(name, args=[key])
    except NoReverseMatch:
        return ""


def by_step(readings: Iterable[Reading]) -> Iterator[dict[str, Any]]:
    """Readings in groups: a step, its instruments, its rows with their canonical value. No query."""
    for step, group in groupby(readings, key=lambda reading: reading.step):
        read = list(group)
        used = {r.instrument_id: r for r in read if r.instrument}
        yield {"step": step, "used": list(used.values()), "rows": [reading_row(r) for r in read]}


def reading_row(reading: Reading) -> dict[str, Any]:
    canonical = canonical_unit(unit_of(reading.unit).quantity)
    start, elapsed = is_start(reading), reading.elapsed_seconds
    return {
        "reading": reading,
        "what": "began" if start else clock(elapsed) if elapsed is not None else "",
        "unit": "" if start else unit_of(reading.unit).label,
        "value": plain(reading.value),
        "canonical": unit_of(canonical).label,
    }


def looks_by_step(event: CheckEvent) -> list[tuple[Step, list[Observation]]]:
    """What was seen, by step. One query."""
    seen = event.observations.select_related("step", "position").order_by(
        "step__number", "position__order", "pk"
    )
    return [(step, list(group)) for step, group in groupby(seen, key=lambda one: one.step)]


def defects_shown(event: CheckEvent) -> list[dict[str, Any]]:
    """The defects of this occasion with their state today."""
    defects = defects_of_occasion(event)
    today = deferral_day(timezone.now()) if defects else None
    return [
        {"defect": defect, "state": defect.state(today), "href": address("checks:defect", defect.pk)}
        for defect in defects
    ]


def starts(event: CheckEvent, story: list[CheckEvent]) -> list[dict[str, Any]]:
    """The tasks that this check leads to: purge where it is outside, a change of part or line where it is
    escalated, test again after either or not valid.

    None where another attempt follows already: the story goes on there.
    Each is sent to the page of new checks with a key of its own, so that two taps start one.
    """
    if any(one.follows_id == event.pk for one in story):
        return []
    procedures: list[tuple[str, Procedure]] = []
    kind, outcomes = event.revision.procedure.kind, CheckEvent.Outcome
    if kind == Procedure.Kind.CHECK and event.outcome == outcomes.OVER:
        procedures += [(f"{remedy.title}, then test again", remedy) for remedy in remedies_for(event)]
    again = tested_before(event, story)
    if again and (kind != Procedure.Kind.CHECK or event.outcome in (outcomes.OVER, outcomes.NOT_VALID)):
        procedures.append((f"Test again: {again.title}", again))
    return [
        {
            "label": label,
            "procedure": procedure,
            "uuid": uuid.uuid4(),
            "work_date": timezone.localdate(timezone=event.base.zone),
        }
        for label, procedure in procedures
    ]


def facts(event: CheckEvent) -> list[dict[str, Any]]:
    """Names and values for partials/_facts.html; conditions that were not recorded are left out."""
    procedure = event.revision.procedure
    pairs = [
        ("Aircraft", f"{event.aircraft}, serial number {event.aircraft.serial_number}"),
        ("Variant", event.aircraft.variant),
        ("Task", f"{procedure.title}, revision {event.revision.number}"),
        ("Source of the procedure", event.revision.source_reference),
        ("Date of work", f"{event.work_date:%d %b %Y}"),
        ("Where", event.base),
        ("Total flight hours", event.hours),
        ("Total landings", event.landings),
        ("Extent of the inspection", procedure.extent if procedure.is_inspection else ""),
        ("Temperature taken", event.temperature_place),
        ("Temperature", "from memory, not measured" if event.temperature_from_memory else ""),
        ("Pump", event.pump),
        ("Mode", event.mode),
        ("Supply voltage", f"{event.supply_voltage} V" if event.supply_voltage else ""),
        ("Height of the gauge", event.gauge_height),
        ("Hose bled", {True: "yes", False: "no"}.get(event.hose_bled, "")),
        ("Fluid batch", event.fluid_batch),
        ("Source", event.import_batch and f"{event.import_batch}, line {event.import_line}"),
        ("Remarks", event.remarks),
    ]
    return [{"name": name, "value": value} for name, value in pairs if value not in ("", None)]
