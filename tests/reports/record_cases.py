"""Signed checks of every kind for the tests of the record: each carried out and signed as people would."""

import datetime as dt
import io
from decimal import Decimal

import time_machine
from pypdf import PdfReader

from checks.models import CheckEvent, ImportBatch
from checks.services.correct import correct
from checks.services.decide import decide_too_low
from checks.services.defects import rectify
from checks.services.imports import PaperCheck, PaperReading, accept_check
from checks.services.sign import sign_inspected, sign_performed, sign_released
from reports.pdf.record import record_pdf
from reports.record import check_record
from tests.checks import deferring
from tests.checks.work import filled, performed
from tests.world import PASSWORD, World

OVER = ("300", "310", "310", "310")
LOW = ("8", "8", "8", "8")


def reader(event: CheckEvent) -> PdfReader:
    """The sheets of a signed check, read back out of the file."""
    record = check_record(event.pk)
    assert record is not None
    return PdfReader(io.BytesIO(record_pdf(record)))


def paper(event: CheckEvent) -> str:
    """All words of the sheets, every space and line break a single space."""
    return flat("\n".join(page.extract_text() for page in reader(event).pages))


def flat(text: str) -> str:
    return " ".join(text.split())


def released(world: World, event: CheckEvent) -> CheckEvent:
    sign_released(event=event, by=world.person("releaser1"), password=PASSWORD)
    return event


def within(world: World) -> CheckEvent:
    """Within its limits and released, with all that may be typed around the readings."""
    around = {"pump": "2", "mode": "high", "supply_voltage": "27.8", "temperature_place": "line at the port"}
    around |= {"gauge_height": "0.4 m above the port", "remarks": "Calm, dry, in the hangar."}
    return released(world, performed(world, world.forward, fields=around))


def over(world: World) -> CheckEvent:
    """Over limit, with one dry panel."""
    return performed(world, world.forward, series=OVER, dry=("wing-lo",))


def deferred(world: World) -> CheckEvent:
    event = over(world)
    deferring.deferred(world, event.defect)
    return event


def retested(world: World, clock: time_machine.Traveller) -> tuple[CheckEvent, CheckEvent, CheckEvent]:
    """Over limit, purged, within: rectified by the retest, which is released."""
    first = over(world)
    clock.shift(3600)
    purge = performed(world, world.forward, "panel-purge", follows=first)
    clock.shift(3600)
    retest = performed(world, world.forward, follows=purge)
    who = world.person("releaser1")
    rectify(defect=first.defect, by=who, password=PASSWORD, text="Panels purged.", retest=retest)
    return first, purge, released(world, retest)


def corrected(world: World, clock: time_machine.Traveller) -> tuple[CheckEvent, CheckEvent]:
    """A check and the correction that took its place."""
    first, by = performed(world, world.forward), world.person("technician1")
    clock.shift(600)
    draft = correct(event=first, by=by, reason="Gauge misread by one mark.")
    filled(draft, world, series=("91", "97", "97", "97"))
    return first, sign_performed(event=draft, by=by, password=PASSWORD)


def inspected(world: World) -> CheckEvent:
    """A task that asks for a second signature, with it."""
    event = performed(world, world.forward, "panel-replacement")
    sign_inspected(event=event, by=world.person("inspector1"), password=PASSWORD)
    return event


def decided(world: World, clock: time_machine.Traveller, accepted: bool) -> CheckEvent:
    """Far under the aircraft's own baseline, and decided on."""
    performed(world, world.forward, work_date=world.today - dt.timedelta(days=20))
    clock.shift(60)
    event = performed(world, world.forward, series=LOW, volume="2")
    text = "Gauge line was blanked off by work order."
    decide_too_low(event=event, by=world.person("releaser1"), password=PASSWORD, accepted=accepted, text=text)
    return CheckEvent.objects.get(pk=event.pk)


def imported(world: World) -> CheckEvent:
    """Taken from paper: one controller imported it, the director accepts it."""
    batch = ImportBatch.objects.create(
        kind="checks",
        file_name="history-2019.csv",
        sha256="0" * 64,
        rows_added=1,
        imported_by=world.person("controller1"),
        accepted_by=world.person("controller2"),
    )
    readings = (
        PaperReading("temperature", "68", "[degF]", Decimal("68")),
        PaperReading("port", "14,1", "[psi]", Decimal("14.1")),
        PaperReading("nozzle", "171", "mL/min", Decimal("171")),
    )
    check = PaperCheck(
        aircraft=world.forward,
        procedure=world.revision(world.forward).procedure,
        work_date=world.today - dt.timedelta(days=200),
        readings=readings,
        hours=Decimal("1800.5"),
    )
    return accept_check(check=check, batch=batch, line=12, key="k-12")
