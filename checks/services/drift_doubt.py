"""Readings in doubt: what the trend leaves out, as was known at one moment.

An instrument found out of calibration puts in doubt what was read with it from its last good calibration to
the day of the finding. Such a reading is left out of the trend, the error known or not: one error for the
whole range and the whole time is a guess, and a guess would be drawn as if it had been read. It counts again
once a person has reviewed the check in writing and let it stand, or a later finding no longer covers it.
"""

import datetime as dt
from collections import defaultdict
from uuid import UUID

from django.db.models import QuerySet

from checks.models import CheckEvent, DoubtReview, InstrumentFinding, Reading

#: of an event: the points in doubt; None: all of them, for its thermometer is
Doubted = dict[UUID, set[int | None]]


def doubted(events: QuerySet[CheckEvent], now: dt.datetime) -> Doubted:
    """What of the events was in doubt at `now`. One query without a finding, else one more and one for each
    finding; findings are rare."""
    findings = list(
        InstrumentFinding.objects.filter(reported_at__lte=now)
        .exclude(replaced_by__reported_at__lte=now)
        .select_related("calibration")
    )
    if not findings:
        return {}
    let_stand = set(
        DoubtReview.objects.filter(finding__in=findings, accepted=True, reviewed_at__lte=now).values_list(
            "finding", "event"
        )
    )
    found: Doubted = defaultdict(set)
    for finding in findings:
        own = Reading.objects.filter(
            event__in=events, instrument=finding.instrument_id, event__work_date__lte=finding.found_on
        ).order_by()
        if finding.begins_on:
            own = own.filter(event__work_date__gte=finding.begins_on)
        for event, point, role in own.values_list("event", "point", "role").distinct():
            if (finding.pk, event) not in let_stand:
                found[event].add(None if role == Reading.Role.TEMPERATURE else point)
    return dict(found)


def in_doubt(found: Doubted, event: UUID, point: int) -> bool:
    """Whether what an event read of a point is left out."""
    points = found.get(event, set())
    return None in points or point in points
