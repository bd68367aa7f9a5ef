"""The tables and files of an audit pack: what stands beside the records of one aircraft."""

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db.models import F, Q
from django.utils import timezone

from checks.models import Defect, Deferral, OutsideRelease, Photo, Reading
from checks.selectors.defects import with_states
from checks.selectors.due import due_points, due_rows
from checks.selectors.release import deferral_day
from fleet.models import Aircraft, Calibration, Embodiment, Fitment, Instrument, Operator, UtilisationEntry

Table = list[dict[str, Any]]
ENDINGS = ("pdf", "png", "jpg")


@dataclass(frozen=True)
class Span:
    """A period, both days included, in UTC where moments are asked; None: from the beginning, up to now."""

    since: dt.date | None = None
    until: dt.date | None = None

    @property
    def is_whole(self) -> bool:
        return self.since is None and self.until is None

    @property
    def words(self) -> str:
        if self.is_whole:
            return "whole life"
        since = f"from {self.since:%d %b %Y}" if self.since else "from the beginning"
        return f"{since} to {self.until:%d %b %Y}" if self.until else f"{since} up to now"

    def within(self, day: str) -> Q:
        """Rows whose day lies in the period."""
        low = Q() if self.since is None else Q(**{f"{day}__gte": self.since})
        return low if self.until is None else low & Q(**{f"{day}__lte": self.until})

    def at(self, moment: str) -> Q:
        """Rows whose moment lies in the period."""
        low = Q() if self.since is None else Q(**{f"{moment}__gte": _midnight(self.since)})
        if self.until is None:
            return low
        return low & Q(**{f"{moment}__lt": _midnight(self.until + dt.timedelta(days=1))})

    def meets(self, begins: str, ends: str) -> Q:
        """Rows that last from a day to another (empty: still) and meet the period."""
        held = Q() if self.since is None else Q(**{ends: None}) | Q(**{f"{ends}__gte": self.since})
        return held if self.until is None else held & Q(**{f"{begins}__lte": self.until})


def _midnight(day: dt.date) -> dt.datetime:
    return dt.datetime.combine(day, dt.time(), dt.UTC)


@dataclass(frozen=True)
class FileLine:
    """A file that is kept: its name in the pack, where it lies in the media folder, what it is of, and its
    SHA-256 as recorded ('' where none was)."""

    file: str
    stored: str
    of: str
    what: str
    sha256: str


def pack_tables(aircraft: Aircraft, span: Span, events: list[UUID], now: dt.datetime) -> dict[str, Table]:
    """The tables by name, each a list of rows. A fixed number of queries."""
    today = timezone.localdate(now)
    return {
        "aircraft": [_aircraft(aircraft)],
        "recurring_checks": _recurring(aircraft, today),
        "defects": list(_defects(aircraft, span, deferral_day(now))),
        "fitments": list(_fitments(aircraft, span)),
        "modifications": list(_modifications(aircraft)),
        "utilisation": list(_utilisation(aircraft, span)),
        "instruments": list(_instruments(events)),
    }


def _aircraft(aircraft: Aircraft) -> dict[str, Any]:
    return {
        "registration": aircraft.registration,
        "serial_number": aircraft.serial_number,
        "type": aircraft.type_name,
        "variant": aircraft.variant.name,
        "base": aircraft.base.name,
        "state": aircraft.get_state_display(),
        "state_since": aircraft.state_since,
        "entered_service_on": aircraft.entered_service_on,
        "modifications_as_filed": aircraft.modifications,
    }


def _recurring(aircraft: Aircraft, today: dt.date) -> Table:
    """As of today, not of the end of the period; none of an aircraft that has left the fleet."""
    points = due_points(today=today, soon_days=Operator.current().due_soon_days).filter(aircraft=aircraft)
    return [
        {
            "task": row.task,
            "state": row.state,
            "done_on": row.done_on,
            "event": row.event_id,
            "due_on": row.due_on,
            "date_is": row.known or "not known",
            "governed_by": row.governing,
            "latest_with_tolerance": row.latest_on,
            "hours_left": row.hours_left,
            "landings_left": row.landings_left,
            "as_of": today,
        }
        for row in due_rows(points, today=today)
    ]


def _defects(aircraft: Aircraft, span: Span, today: dt.date) -> Iterator[dict[str, Any]]:
    """Open ones, and those raised or rectified in the period."""
    found = Defect.objects.filter(aircraft=aircraft).filter(
        Q(rectification=None) | span.at("raised_at") | span.at("rectification__rectified_at")
    )
    found = with_states(found, today).select_related("position", "raised_by", "rectification__record")
    found = found.select_related("rectification__rectified_by").prefetch_related(
        *Deferral.WHOLE, "deferrals__record", "deferrals__deferred_by"
    )
    for defect in found.order_by("raised_at", "pk"):
        closed = getattr(defect, "rectification", None)
        deferrals = sorted(defect.deferrals.all(), key=lambda one: one.pk)
        yield {
            "defect": defect.pk,
            "state": defect.now_is,
            "description": defect.description,
            "position": defect.position.name if defect.position else "",
            "found_by": defect.found_by,
            "event": defect.event_id,
            "reference": defect.reference,
            "raised_at": defect.raised_at,
            "raised_by": str(defect.raised_by),
            "deferrals": [_deferral(one, today) for one in deferrals],
            "rectified_at": closed.rectified_at if closed else None,
            "rectified_by": str(closed.rectified_by) if closed else "",
            "rectification": closed.text if closed else "",
            "rectification_link": closed.record.number if closed else None,
        }


def _deferral(one: Deferral, today: dt.date) -> dict[str, Any]:
    return {
        "link": one.record.number,
        "item_id": one.item_id,
        "mel_item": one.mel_item,
        "category": one.category,
        "recorded_on": one.recorded_on,
        "holds": one.limit_words,
        "last_day": one.last_day,
        "state": one.state(today),
        "limitation": one.limitation,
        "deferred_by": str(one.deferred_by),
        "deferred_at": one.deferred_at,
    }


def _fitments(aircraft: Aircraft, span: Span) -> Iterator[dict[str, Any]]:
    found = Fitment.objects.filter(span.meets("fitted_on", "removed_on"), aircraft=aircraft)
    for one in found.select_related("part", "position").order_by("position", "fitted_on", "pk"):
        yield {
            "position": one.position.name,
            "part_number": one.part.part_number,
            "serial_number": one.part.serial_number,
            "description": one.part.description,
            "fitted_on": one.fitted_on,
            "fitted_hours": one.fitted_hours,
            "removed_on": one.removed_on,
            "removed_hours": one.removed_hours,
            "removal_reason": one.removal_reason,
        }


def _modifications(aircraft: Aircraft) -> Iterator[dict[str, Any]]:
    found = Embodiment.objects.filter(aircraft=aircraft).select_related("modification")
    for one in found.order_by("modification__code", "embodied_on"):
        yield {
            "number": one.modification.code,
            "title": one.modification.title,
            "embodied_on": one.embodied_on,
            "removed_on": one.removed_on,
            "reference": one.reference,
        }


def _utilisation(aircraft: Aircraft, span: Span) -> Iterator[dict[str, Any]]:
    """Every entry of the period, corrected ones too."""
    found = UtilisationEntry.objects.filter(span.within("on"), aircraft=aircraft)
    rows = found.order_by("on", "pk").annotate(corrected_by=F("superseded_by"))
    yield from rows.values("id", "on", "hours", "landings", "kind", "remark", "source", "corrected_by")


def _instruments(events: list[UUID]) -> Iterator[dict[str, Any]]:
    """Those read in the checks of the pack, with the calibrations relied on."""
    used = Reading.objects.filter(event__in=events, calibration__isnull=False).values("calibration")
    relied_on: dict[int, Table] = {}
    for one in Calibration.objects.filter(pk__in=used).order_by("calibrated_on", "pk"):
        relied_on.setdefault(one.instrument_id, []).append(
            {
                "calibrated_on": one.calibrated_on,
                "due_on": one.due_on,
                "result": one.get_result_display(),
                "error_found": one.error_found,
                "laboratory": one.laboratory,
                "certificate_number": one.certificate_number,
                "file": _name("certificate", one.pk, one.certificate_file.name)
                if one.certificate_file
                else "",
            }
        )
    read = Reading.objects.filter(event__in=events).exclude(instrument=None).values("instrument")
    for one in Instrument.objects.filter(pk__in=read).order_by("code"):
        yield {
            "code": one.code,
            "kind": one.get_kind_display(),
            "description": one.description,
            "owner": one.owner,
            "serial_number": one.serial_number,
            "unit": one.unit,
            "needs_calibration": one.needs_calibration,
            "calibrations": relied_on.get(one.pk, []),
        }


def _certificate(one: Calibration) -> str:
    return _name("certificate", one.pk, one.certificate_file.name) if one.certificate_file else ""


def files_of(aircraft: Aircraft, span: Span, events: list[UUID]) -> tuple[FileLine, ...]:
    """Photos and paper originals of the checks, certificates of the calibrations relied on, and release
    certificates of work done outside. Three queries; no file is opened."""
    return (*_photos(events), *_certificates(events), *_releases(aircraft, span))


def _photos(events: list[UUID]) -> Iterable[FileLine]:
    for one in Photo.objects.filter(event__in=events).order_by("pk"):
        what = one.get_kind_display() + (f": {one.remark}" if one.remark else "")
        yield FileLine(_name("photo", one.pk, one.stored), one.stored, str(one.event_id), what, one.sha256)


def _certificates(events: list[UUID]) -> Iterable[FileLine]:
    used = Reading.objects.filter(event__in=events, calibration__isnull=False).values("calibration")
    kept = Calibration.objects.filter(pk__in=used).exclude(certificate_file="").select_related("instrument")
    for one in kept.order_by("pk"):
        stored, what = one.certificate_file.name, f"calibration certificate {one.certificate_number}"
        yield FileLine(_name("certificate", one.pk, stored), stored, one.instrument.code, what, "")


def _releases(aircraft: Aircraft, span: Span) -> Iterable[FileLine]:
    kept = OutsideRelease.objects.filter(
        span.at("rectification__rectified_at"), rectification__defect__aircraft=aircraft
    ).exclude(file="")
    for one in kept.select_related("rectification").order_by("pk"):
        what = f"release certificate {one.certificate_number}"
        of = f"defect {one.rectification.defect_id}"
        yield FileLine(_name("release", one.pk, one.file.name), one.file.name, of, what, one.digest)


def _name(kind: str, key: int, stored: str) -> str:
    """A name of our own: what a stored file is called by whoever stored it never names a file in a pack."""
    ending = stored.rpartition(".")[2].lower()
    return f"files/{kind}-{key}.{ending if ending in ENDINGS else 'bin'}"
