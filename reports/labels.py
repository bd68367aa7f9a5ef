"""Labels to print: a code to read and a link to scan, for aircraft, parts and instruments."""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet
from django.http import QueryDict
from django.urls import reverse
from django.utils import timezone

from fleet.models import Aircraft, Instrument, Operator, Part
from reports.label_filters import AircraftLabels, InstrumentLabels, LabelFilter, PartLabels

#: a code takes some 20 ms to make; more than so many at once would keep the server from other people
MOST = 200


@dataclass(frozen=True)
class Label:
    """One label: the code in large type, lines below it, and the address within the site that it opens."""

    code: str
    lines: tuple[str, ...]
    path: str


@dataclass(frozen=True)
class Kind:
    """What labels stand on: its words, its filter, the rows to choose from and the label of each."""

    title: str
    filter: type[LabelFilter]
    rows: Callable[[], QuerySet[Any]]
    label: Callable[[Any], Label]


@dataclass(frozen=True)
class LabelSheet:
    """Labels chosen by a filter. number: how many fit the filter; no more than MOST of them are here."""

    operator: str
    is_demo: bool
    made_at: dt.datetime
    title: str
    words: str
    number: int
    labels: tuple[Label, ...]


def label_sheet(kind: Kind, query: QueryDict, now: dt.datetime | None = None) -> LabelSheet | None:
    """The labels that fit a query; None: it was not understood. Three queries, and one for each choice."""
    found = kind.filter(query, queryset=kind.rows())
    if not found.is_valid():
        return None
    operator, rows = Operator.current(), found.qs
    return LabelSheet(
        operator=operator.name,
        is_demo=operator.is_demo,
        made_at=timezone.localtime(now),
        title=kind.title,
        words=found.words,
        number=rows.count(),
        labels=tuple(kind.label(row) for row in rows[:MOST]),
    )


def _fleet() -> QuerySet[Aircraft]:
    return Aircraft.objects.exclude(state=Aircraft.State.LEFT).order_by("registration")


def _of_aircraft(one: Aircraft) -> Label:
    lines = (one.type_name, f"Serial number {one.serial_number}")
    return Label(one.registration, lines, _path("aircraft", one.registration))


def _parts() -> QuerySet[Part]:
    return Part.objects.order_by("part_number", "serial_number")


def _of_part(one: Part) -> Label:
    """No position stands on it: a part moves, its label stays."""
    kind = one.get_kind_display()
    more = "" if one.description.lower() == kind.lower() else one.description
    lines = (f"Part number {one.part_number}", kind.capitalize(), more)
    return Label(one.serial_number, tuple(filter(None, lines)), _path("part", one.pk))


def _instruments() -> QuerySet[Instrument]:
    return Instrument.objects.filter(in_use=True).order_by("code")


def _of_instrument(one: Instrument) -> Label:
    """No date of calibration stands on it: the link tells what holds on the day."""
    serial = f"Serial number {one.serial_number}" if one.serial_number else ""
    lines = (one.get_kind_display().capitalize(), one.description, serial, one.owner)
    return Label(one.code, tuple(filter(None, lines)), _path("instrument", one.code))


def _path(kind: str, code: object) -> str:
    return reverse("checks:label", args=[kind, code])


KINDS: dict[str, Kind] = {
    "aircraft": Kind("Aircraft", AircraftLabels, _fleet, _of_aircraft),
    "parts": Kind("Parts", PartLabels, _parts, _of_part),
    "instruments": Kind("Instruments", InstrumentLabels, _instruments, _of_instrument),
}
