"""The demo's confirmed causes: what was behind each check over its limit that was cleared afterwards."""

import datetime as dt
from collections.abc import Callable, Iterable

from checks.models import CauseFound, CheckEvent
from checks.services.cause_found import record_cause
from reports.demo.master import Master
from reports.demo.plan import Planned

LATER = dt.timedelta(hours=6)
REMARK = "Invented: seen when it was cleared."


def record_causes(
    master: Master, plans: Iterable[Planned], event_of: Callable[[Planned], CheckEvent]
) -> list[CauseFound]:
    """Through the service, hours after each check and in order of time: each weighs in later rankings."""
    told = [(event_of(plan), plan) for plan in plans if plan.found is not None]
    kept = []
    for event, plan in sorted(told, key=lambda pair: pair[0].started_at):
        position = master.positions[event.aircraft.variant.code, plan.found] if plan.found else None
        kept.append(
            record_cause(
                event=event,
                by=master.people[plan.performed_by],
                cause="panel_blocked" if position else "all_fouled",
                position=position,
                remark=REMARK,
                at=event.started_at + LATER,
            )
        )
    return kept
