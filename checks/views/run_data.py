"""What the runner on a phone needs beside the form: limits, clocks, gauges, and who else is at work."""

import json
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import Any

from django.conf import settings
from django.urls import reverse
from django.utils import timezone

from checks.engine.limits import LimitTable
from checks.engine.units import canonical_unit, difference_to_canonical, to_canonical
from checks.forms.check import CheckForm
from checks.forms.check_instruments import instruments_for
from checks.models import CheckEvent, DraftCopy, Step
from checks.selectors.copies import clocks_of, heeded_today, others_at_work
from checks.services.copies import revision_of
from checks.services.expected import Expectation, expectations
from checks.services.points import COLLECTION_TOLERANCE_S
from checks.services.rows import MEASURING
from fleet.models import Operator, User


@dataclass(frozen=True)
class Seen:
    """What the page of a draft stands on. at: milliseconds since 1970 UTC.

    Taken before the draft is read: what is sent while the page is made is then asked about on the phone,
    not overwritten by the older text of the page.
    """

    at: int
    base: str

    @classmethod
    def now(cls, event: CheckEvent) -> "Seen":
        """Four queries."""
        return cls(round(timezone.now().timestamp() * 1000), revision_of(event))


class Run:
    """The runner's part of a draft's page. heeded: steps acknowledged earlier the same day, with a note."""

    def __init__(self, form: CheckForm, person: User, seen: Seen | None = None) -> None:
        self.form, self.person = form, person
        self.event: CheckEvent = form.event
        self.seen = seen or Seen.now(self.event)
        self.heeded = heeded_today(self.event, person)

    @property
    def data(self) -> str:
        """For the page's data-run: numbers as decimal text, canonical units."""
        event = self.event
        gauges = instruments_for(self.form.steps)
        return json.dumps(
            {
                "event": str(event.pk),
                "name": str(event),
                "person": self.person.pk,
                "base": self.seen.base,
                "at": self.seen.at,
                "send": reverse("checks:run_send", args=[event.pk]),
                "sign": reverse("checks:check_sign", args=[event.pk]),
                "copies": reverse("checks:run_copies", args=[event.pk]),
                "login": f"{reverse(settings.LOGIN_URL)}?next={reverse('checks:check', args=[event.pk])}",
                "worker": reverse("checks:run_worker"),
                "clocks": clocks_of(event.pk),
                "others": self._others(),
                "steps": {step.pk: self._step(step) for step in self.form.steps},
                "resolution": {
                    one.pk: _text(difference_to_canonical(one.resolution, one.unit)) for one in gauges
                },
            }
        )

    def _others(self) -> list[dict[str, str]]:
        """Phones at work, with their keys: this phone's own may be among them, which it knows itself."""
        copies = others_at_work(self.event.pk, self.person, "", timezone.now())
        words = at_work_words(copies, self.person)
        return [{"device": c.device, "words": w} for c, w in zip(copies, words, strict=True)]

    def _step(self, step: Step) -> dict[str, Any]:
        known: dict[str, Any] = {"number": step.number, "kind": step.kind, "heeded": step.pk in self.heeded}
        if step.kind not in MEASURING:
            return known
        table = self.form.tables.get(step.point_id) if step.point_id else None
        return known | {
            "point": step.point_id,
            "quantity": step.quantity,
            "unit": step.unit,
            "canonical": canonical_unit(step.point.quantity) if step.point else None,
            "cadence": step.cadence_seconds or 60,
            "ceiling": None if step.ceiling is None else _text(to_canonical(step.ceiling, step.unit)),
            "after": step.ceiling_after_seconds or 0,
            "duration": step.duration_seconds or 60,
            "tolerance": _text(COLLECTION_TOLERANCE_S),
            "table": _table(table) if table else None,
            "expect": self._expected(step),
        }

    @cached_property
    def _expectations(self) -> dict[int, Expectation]:
        points = [step.point_id for step in self.form.steps if step.kind in MEASURING and step.point_id]
        return expectations(self.event, points, Operator.current().entry_sds)

    def _expected(self, step: Step) -> dict[str, Any] | None:
        found = self._expectations.get(step.point_id) if step.point_id else None
        if found is None:
            return None
        rows = [
            {
                "temperature": _text(r.temperature),
                "low": _text(r.low),
                "middle": _text(r.middle),
                "high": _text(r.high),
            }
            for r in found.rows
        ]
        return {"rows": rows, "follows": found.follows, "unit": step.point.unit}


def _table(table: LimitTable) -> dict[str, Any]:
    rows = [
        {"temperature": _text(r.temperature), "lower": _text(r.lower), "upper": _text(r.upper)}
        for r in table.ordered
    ]
    return {"kind": table.kind, "rule": table.rule, "rows": rows}


def _text(value: Decimal | None) -> str | None:
    return None if value is None else f"{Decimal(value):f}"


def at_work_words(copies: list[DraftCopy], person: User) -> list[str]:
    """One line for each other phone at work on the same check."""
    return [
        f"{'You' if copy.person == person else copy.person} also sent something of this check from another "
        f"phone or window, last at {timezone.localtime(copy.sent_at):%H:%M} ({settings.TIME_ZONE})."
        for copy in copies
    ]
