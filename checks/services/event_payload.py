"""What the record of a signed event says: its row, every row that is part of it, and the names of its day."""

from collections import defaultdict
from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django.db.models import Exists, OuterRef

from checks.models import CheckEvent
from checks.services.chain import row

# The parts of an event by the name that they have in its record, each in an order that never varies.
PARTS = {
    "readings": ("step_id", "sequence"),
    "observations": ("step_id", "position_id", "pk"),
    "cautions_followed": ("step_id",),
    "results": ("point_id",),
    "resets": ("point_id",),
}
# Parts that came later. The record of an event without such rows names no such part, as before: form v1
# stays what it was.
LATER_PARTS = {
    "photos": ("pk",),
    "handovers": ("pk",),
    "first_readings": ("step_id", "sequence"),
    "questions": ("step_id",),
    "expected_values": ("point_id",),
    "fluid_taken": ("pk",),
}
_INSTRUMENT = {
    "code": "instrument__code",
    "serial_number": "instrument__serial_number",
    "unit": "instrument__unit",
    "certificate_number": "calibration__certificate_number",
    "calibrated_on": "calibration__calibrated_on",
    "calibration_due": "calibration__due_on",
}


def event_payload(event: CheckEvent) -> dict[str, Any]:
    """Everything of an event, read afresh, so that both engines and any later year give the same text."""
    return event_payloads([event.pk], later=_later_parts(event.pk))[event.pk]


def event_payloads(
    keys: Iterable[UUID], *, later: Iterable[str] = tuple(LATER_PARTS)
) -> dict[UUID, dict[str, Any]]:
    """The same of many events, by key; those that are not there are left out. Thirteen queries.

    later: those of LATER_PARTS that they may have rows of.
    """
    events = {
        event.pk: event
        for event in CheckEvent.objects.select_related("aircraft", "base", "revision__procedure").filter(
            pk__in=list(keys)
        )
    }
    payloads = {key: {"event": row(event), "names": _names(event)} for key, event in events.items()}
    for name, order in PARTS.items():
        found = _parts(events, name, order)
        for key, payload in payloads.items():
            payload[name] = found[key]
    for name in later:
        for key, rows in _parts(events, name, LATER_PARTS[name]).items():
            payloads[key][name] = rows
    instruments = _instruments(events)
    for key, payload in payloads.items():
        payload["instruments"] = instruments[key]
    return payloads


def _later_parts(key: UUID) -> list[str]:
    """Which of LATER_PARTS an event has: most have few, and each is a query of its own. One query."""
    models = [CheckEvent._meta.get_field(name).related_model for name in LATER_PARTS]
    there = [Exists(model.objects.filter(event=OuterRef("pk"))) for model in models]
    (found,) = CheckEvent.objects.filter(pk=key).order_by().values_list(*there)
    return [name for name, has in zip(LATER_PARTS, found, strict=True) if has]


def _names(event: CheckEvent) -> dict[str, Any]:
    revision = event.revision
    return {
        "aircraft": event.aircraft.registration,
        "serial_number": event.aircraft.serial_number,
        "base": event.base.name,
        "procedure": revision.procedure.title,
        "revision": revision.number,
        "source_reference": revision.source_reference,
    }


def _parts(events: Iterable[UUID], name: str, order: tuple[str, ...]) -> dict[UUID, list[dict[str, Any]]]:
    """The rows of one part, by event. One query."""
    model = CheckEvent._meta.get_field(name).related_model
    found: dict[UUID, list[dict[str, Any]]] = defaultdict(list)
    for part in model.objects.filter(event__in=list(events)).order_by("event_id", *order):
        found[part.event_id].append(row(part))
    return found


def _instruments(events: Iterable[UUID]) -> dict[UUID, list[dict[str, Any]]]:
    """Which instruments were read, with the calibration that covered the day: a record says it by itself."""
    readings = CheckEvent._meta.get_field("readings").related_model.objects
    used = readings.filter(event__in=list(events)).exclude(instrument=None).distinct()
    used = used.order_by("event_id", "instrument__code", "calibration__calibrated_on")
    found: dict[UUID, list[dict[str, Any]]] = defaultdict(list)
    for event, *values in used.values_list("event_id", *_INSTRUMENT.values()):
        found[event].append(dict(zip(_INSTRUMENT, values, strict=True)))
    return found
