"""What the label on a thing leads to: where a part is fitted, which checks may use an instrument now."""

import datetime as dt
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Prefetch, Q
from django.utils import timezone

from checks.models import CheckEvent, Handover, Step
from checks.selectors.handover import held_by
from checks.services.instruments import JUDGED_BY, choice_for
from fleet.models import Fitment, Instrument, Part, User

#: a check begun so long ago is still today's: a night shift passes midnight
SHIFT = dt.timedelta(hours=12)


@dataclass(frozen=True)
class UseIn:
    """An open check that asks for this kind of instrument. steps: numbers of those that it may serve;
    why_not: words where it may serve none."""

    event: CheckEvent
    steps: tuple[int, ...]
    why_not: str


def checks_for(instrument: Instrument, person: User, now: dt.datetime) -> list[UseIn]:
    """The person's open checks of today, newest first, that ask for an instrument of this kind.

    Theirs are those that they hold: began and did not hand over, or took over. Five queries.
    """
    passed_on = Handover.objects.filter(event=OuterRef("pk"), accepted_at__isnull=False)
    drafts = CheckEvent.objects.filter(
        Q(started_by=person) & ~Exists(passed_on) | Q(pk__in=held_by(person).values("pk")),
        state=CheckEvent.State.DRAFT,
        work_date__gte=now.date() - dt.timedelta(days=1),
    )
    asking = Step.objects.filter(instrument_kind=instrument.kind).order_by("number")
    drafts = drafts.select_related("aircraft", "revision__procedure", "base").prefetch_related(
        Prefetch("revision__steps", asking, to_attr="asking")
    )
    (judged,) = Instrument.objects.filter(pk=instrument.pk).prefetch_related(*JUDGED_BY)
    return [
        _use(event, judged)
        for event in drafts.order_by("-started_at")
        if event.revision.asking and _of_today(event, now)
    ]


def _use(event: CheckEvent, instrument: Instrument) -> UseIn:
    choices = [(step.number, choice_for(step, instrument, event.work_date)) for step in event.revision.asking]
    steps = tuple(number for number, choice in choices if choice.ok)
    return UseIn(event, steps, "" if steps else choices[0][1].why_not)


def _of_today(event: CheckEvent, now: dt.datetime) -> bool:
    today = timezone.localdate(now, timezone=event.base.zone)
    return event.work_date == today or now - event.started_at <= SHIFT


def latest_fitment(part: Part) -> Fitment | None:
    """Where a part is fitted, or was last. Two queries at most."""
    fitted = part.fitments.select_related("aircraft", "position")
    return fitted.filter(removed_on=None).first() or fitted.order_by("-removed_on").first()
