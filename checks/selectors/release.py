"""What the records hold against a release. Reasons, never a permission."""

import datetime as dt
import zoneinfo
from collections.abc import Collection

from django.utils import timezone

from checks.models import CautionFollowed, CheckEvent, Defect, Deferral
from checks.selectors.doubt import doubts_of
from checks.selectors.due_counting import counting_events
from checks.selectors.events import defects_of_occasion, may_be_decided
from fleet.models import Operator

# 'done': nothing was measured, and everything that was looked at is satisfactory.
WITHIN = (CheckEvent.Outcome.WITHIN, CheckEvent.Outcome.BORDERLINE, CheckEvent.Outcome.DONE)


def base_zone(operator: Operator) -> zoneinfo.ZoneInfo:
    """The operator's one time base for deferrals. No query."""
    return zoneinfo.ZoneInfo(operator.deferral_time_zone)


def deferral_day(at: dt.datetime) -> dt.date:
    """The day in the operator's one time base for deferrals. One query."""
    return timezone.localdate(at, base_zone(Operator.current()))


def is_within(event: CheckEvent) -> bool:
    """Whether an event stands, within its limits or with its too low reading accepted in writing, and no
    instrument found out of calibration puts it in doubt."""
    accepted = event.outcome == CheckEvent.Outcome.NOT_VALID and event.too_low
    usable = event.outcome in WITHIN or accepted
    if not usable or not counting_events().filter(pk=event.pk).exists():
        return False
    return not any(doubt.against for doubt in doubts_of(event))


def retest_of(defect: Defect, retest: CheckEvent) -> str:
    """Why an event is no retest of a defect, or an empty text."""
    if retest.aircraft_id != defect.aircraft_id:
        return "The retest is of another aircraft. Choose one of this aircraft."
    found_by = defect.event
    if found_by is None:
        return ""
    if retest.pk == found_by.pk or retest.signed_at is None or retest.signed_at <= found_by.signed_at:
        return "The retest is not later than the check that found it. Choose a later one."
    if retest.revision.procedure_id != found_by.revision.procedure_id:
        return f"The retest is of another task. Choose one of “{found_by.revision.procedure.title}”."
    return ""


def release_obstacles(event: CheckEvent, at: dt.datetime) -> list[str]:
    """All that speaks against releasing the work of a signed event, each with the way out."""
    obstacles = []
    if CheckEvent.objects.signed().filter(supersedes=event).exists():
        obstacles.append("It was corrected. Release the correction instead.")
    inspected = event.signatures.filter(act="inspected").exists()
    if event.revision.procedure.needs_inspection and not inspected:
        obstacles.append("The second signature is missing. Ask an inspector for it.")
    obstacles += _outcome_obstacles(event)
    obstacles += _doubt_obstacles(event)
    own = frozenset(defect.pk for defect in defects_of_occasion(event))
    return obstacles + aircraft_obstacles(event.aircraft_id, at, own)


def aircraft_obstacles(aircraft_id: int, at: dt.datetime, own: Collection[int] = ()) -> list[str]:
    """What of the whole aircraft speaks against any release: defects neither rectified nor deferred, and what
    a draft disturbed and does not record as put back. own: the defects of the work itself.

    A release says that no unairworthy condition is known (14 CFR 135.443), and an open line is one whatever
    check opened it; so it bars the release of other work too.
    """
    today = deferral_day(at)
    obstacles = []
    found = Defect.objects.open().filter(aircraft=aircraft_id).prefetch_related(*Deferral.WHOLE)
    for defect in found.order_by("raised_at"):
        state = defect.state(today)
        if state == "deferred":
            continue
        own_words = "This work's own defect"
        raised = f"The defect raised on {defect.raised_at:%d %b %Y}"
        way = "Have it rectified, or deferred under the operator's MEL."
        if state == "deferral limit not known":
            way = "Enter the utilisation since, so that it is known whether the deferral holds."
        obstacles.append(
            f"{own_words if defect.pk in own else raised} is neither rectified nor deferred "
            f"({state}): {defect.description.splitlines()[0]}. {way}"
        )
    return obstacles + _left_disturbed(aircraft_id)


def _left_disturbed(aircraft_id: int) -> list[str]:
    left = CautionFollowed.objects.filter(
        event__aircraft=aircraft_id, event__state=CheckEvent.State.DRAFT, restored=False
    ).exclude(step__restore_text="")
    rows = left.order_by("event__work_date", "event", "step__number").values_list(
        "event__revision__procedure__title", "event__work_date", "step__restore_text"
    )
    return [
        f"{task} begun on {day:%d %b %Y} is not signed, and not recorded as put back: {words} "
        "Have it put back and recorded, or that check signed."
        for task, day, words in rows
    ]


def _outcome_obstacles(event: CheckEvent) -> list[str]:
    if event.outcome == CheckEvent.Outcome.NOT_VALID and not may_be_decided(event):
        return [f"The check is not valid and must be repeated. {event.outcome_reason}".strip()]
    decision = getattr(event, "decision", None)
    if event.too_low and decision is None:
        return ["A reading is far under the baseline. A person must decide in writing, or test again."]
    if event.too_low and not decision.accepted:
        return ["The reading far under the baseline was not accepted. Find the cause and test again."]
    return []


def _doubt_obstacles(event: CheckEvent) -> list[str]:
    return [
        f"{doubt.words}. "
        + ("Have it reviewed first." if doubt.is_open else "Its review says that it is to be repeated.")
        for doubt in doubts_of(event)
        if doubt.against
    ]
