"""Writes a planned history through the same pens as a signing person, dated as it is told.

Drafts and their rows are made many at once; then each aircraft's checks are evaluated, frozen and signed one
after the other, as they would have been: baselines, resets and chains rest on what came before.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from decimal import Decimal

from django.db import models

from checks.engine.units import canonical_unit, to_canonical
from checks.models import CautionFollowed, CheckEvent, Observation, Reading, Step
from checks.services.rows import ACKNOWLEDGED, STARTED_SEQUENCE, role_of
from fleet.models import Aircraft, Fitment, Position, UtilisationEntry
from reports.demo.aircraft import new_part
from reports.demo.calendar import Use
from reports.demo.master import Master
from reports.demo.plan import Planned, PlannedReading
from reports.demo.procedures import TYPED_BY
from reports.demo.signing import Signing
from reports.demo.stock import Batches

BEGIN = dt.time(9, tzinfo=dt.UTC)
EACH = dt.timedelta(minutes=55)  # one event of an aircraft after the other on a day
BATCH = 500


@contextmanager
def dated_by_hand(*fields: tuple[type[models.Model], str]) -> Iterator[None]:
    """Rows made meanwhile keep the times that they are given: Django would date them all today."""
    found = [model._meta.get_field(name) for model, name in fields]
    for one in found:
        one.auto_now_add = False
    try:
        yield
    finally:
        for one in found:
            one.auto_now_add = True


def write_utilisation(master: Master, aircraft: Aircraft, use: Use) -> None:
    """One entry for each day kept, entered on the next morning."""
    days = [dt.date.fromordinal(int(day)) for day in use.days]
    with dated_by_hand((UtilisationEntry, "entered_at")):
        UtilisationEntry.objects.bulk_create(
            [
                UtilisationEntry(
                    aircraft=aircraft,
                    on=day,
                    hours=Decimal(str(hours)),
                    landings=int(landings),
                    source="invented",
                    entered_by=master.people[TYPED_BY],
                    entered_at=dt.datetime.combine(day, BEGIN) + dt.timedelta(days=1),
                )
                for day, hours, landings in zip(days, use.hours, use.landings, strict=True)
            ],
            batch_size=BATCH,
        )


@dataclass
class Writer:
    """Writes the plans of all aircraft. events: (registration, key of the plan) -> event."""

    master: Master
    fleet: dict[str, Aircraft]
    events: dict[tuple[str, int], CheckEvent] = field(default_factory=dict)
    steps: dict[int, list[Step]] = field(default_factory=dict)  # by revision

    def write(self, plans: list[Planned]) -> None:
        """Drafts, their rows and fitments; then everything is signed in order of time (signing.py)."""
        for step in Step.objects.select_related("point").order_by("revision", "number"):
            self.steps.setdefault(step.revision_id, []).append(step)
        self._drafts(plans)
        self._fitments(plans)
        signed = [(plan, self.event(plan)) for plan in plans if not plan.draft]
        Signing(self.master, signed).sign()

    def event(self, plan: Planned) -> CheckEvent:
        return self.events[plan.aircraft, plan.key]

    def _drafts(self, plans: list[Planned]) -> None:
        on_day: dict[tuple[str, dt.date], int] = {}
        batches = Batches(self.master)
        for plan in plans:
            aircraft = self.fleet[plan.aircraft]
            place = on_day[plan.aircraft, plan.day] = on_day.get((plan.aircraft, plan.day), -1) + 1
            self.events[plan.aircraft, plan.key] = CheckEvent(
                aircraft=aircraft,
                revision=self.master.revision(aircraft.variant.code, plan.code, plan.day),
                base=aircraft.base,
                work_date=plan.day,
                started_by=self.master.people[plan.performed_by],
                started_at=dt.datetime.combine(plan.day, BEGIN) + place * EACH,
                hours=Decimal(plan.hours),
                landings=plan.landings,
                temperature_place="line at the test port" if plan.readings else "",
                mode="normal" if plan.code == "pressure-flow" else "",
                hose_bled=True if plan.code == "pressure-flow" else None,
                fluid_batch=None
                if plan.draft
                else batches.take(aircraft.variant.code, plan.code, aircraft.base_id, plan.day),
            )
        for plan in plans:
            if plan.follows is not None:
                self.event(plan).follows = self.events[plan.aircraft, plan.follows]
        rows = [(plan, self.event(plan)) for plan in plans]
        with dated_by_hand((CheckEvent, "started_at"), (CautionFollowed, "acknowledged_at")):
            CheckEvent.objects.bulk_create([event for _, event in rows], batch_size=BATCH)
            cautions = [row for plan, event in rows for row in self._cautions(plan, event)]
            CautionFollowed.objects.bulk_create(cautions, batch_size=BATCH)
        readings = [row for plan, event in rows for row in self._readings(plan, event)]
        Reading.objects.bulk_create(readings, batch_size=BATCH)
        observations = [row for plan, event in rows for row in self._observations(plan, event)]
        Observation.objects.bulk_create(observations, batch_size=BATCH)

    def _cautions(self, plan: Planned, event: CheckEvent) -> Iterator[CautionFollowed]:
        for step in self.steps[event.revision_id]:
            if step.kind in ACKNOWLEDGED:
                restored = bool(step.restore_text) and not plan.draft
                at = event.started_at + dt.timedelta(minutes=1)
                yield CautionFollowed(event=event, step=step, restored=restored, acknowledged_at=at)

    def _readings(self, plan: Planned, event: CheckEvent) -> Iterator[Reading]:
        steps: dict[str, list[Step]] = defaultdict(list)
        for step in self.steps[event.revision_id]:
            if step.quantity:
                steps[_name(step)].append(step)
        for given in plan.readings:
            # A temperature that is asked again was the same each time.
            for step in steps[given.step] if given.step == "temperature" else steps[given.step][-1:]:
                yield from self._reading(event, step, given)

    def _reading(self, event: CheckEvent, step: Step, given: PlannedReading) -> Iterator[Reading]:
        yield Reading(
            event=event,
            step=step,
            point=step.point,
            role=role_of(step),
            sequence=given.sequence,
            typed=given.typed,
            unit=given.unit,
            value=_places(Reading, to_canonical(Decimal(given.typed), given.unit)),
            elapsed_seconds=given.elapsed,
            instrument=self.master.instruments[given.instrument],
            calibration=self._calibration(given.instrument, event.work_date),
        )
        if given.started is not None:
            yield Reading(
                event=event,
                step=step,
                point=step.point,
                role=Reading.Role.SINGLE,
                sequence=STARTED_SEQUENCE,
                typed=str(given.started),
                unit=canonical_unit("time"),
                value=given.started,
            )

    def _calibration(self, code: str, on: dt.date):
        done = [one for one in self.master.calibrations[code] if one.calibrated_on <= on]
        return done[-1] if done else None

    def _observations(self, plan: Planned, event: CheckEvent) -> Iterator[Observation]:
        if plan.draft:
            return
        for step in self.steps[event.revision_id]:
            if step.kind != Step.Kind.OBSERVE:
                continue
            for position in self._looked_at(plan, event.aircraft, step):
                remark = plan.unsatisfactory.get(position.code, "") if position else ""
                yield Observation(
                    event=event, step=step, position=position, satisfactory=not remark, remark=remark
                )

    def _looked_at(self, plan: Planned, aircraft: Aircraft, step: Step) -> list[Position | None]:
        """Every position of the step's kind; where parts were replaced, those alone."""
        if not step.position_kind:
            return [None]
        found = [
            position
            for (variant, code), position in self.master.positions.items()
            if variant == aircraft.variant.code and position.kind == step.position_kind
        ]
        replaced = [position for position in found if plan.renewed.get(position.code) == "replacement"]
        return list(replaced or found)

    def _fitments(self, plans: Iterable[Planned]) -> None:
        """A new part in each position where one was replaced, and the old one out."""
        for plan in plans:
            aircraft = self.fleet[plan.aircraft]
            for code, why in plan.renewed.items():
                if why != "replacement":
                    continue
                position = self.master.positions[aircraft.variant.code, code]
                worn = Fitment.objects.current().get(aircraft=aircraft, position=position)
                worn.removed_on, worn.removed_hours = plan.day, Decimal(plan.hours)
                worn.removal_reason = "damaged" if plan.follows is None else "blocked again after purges"
                worn.save(update_fields=["removed_on", "removed_hours", "removal_reason"])
                part = new_part(position, f"{worn.part.serial_number}-{plan.day:%y%m}")
                part.save()
                Fitment.objects.create(
                    part=part,
                    aircraft=aircraft,
                    position=position,
                    fitted_on=plan.day,
                    fitted_hours=Decimal(plan.hours),
                )


def _name(step: Step) -> str:
    """The name of a measuring step in the plan."""
    return step.point.code if step.point else step.quantity


def _places(model: type[models.Model], value: Decimal) -> Decimal:
    return value.quantize(Decimal(1).scaleb(-model._meta.get_field("value").decimal_places))
