"""One of everything that an address may name, made once for the walk of tests/permission_matrix.py."""

import datetime as dt
from decimal import Decimal
from functools import cached_property

import time_machine
from django.core.files.base import ContentFile
from django.utils import timezone

from checks.models import (
    CalendarFeed,
    CheckEvent,
    Defect,
    DuePoint,
    Extension,
    InstrumentFinding,
    IntervalRevision,
    MelItem,
    Photo,
    Preparation,
    Record,
    Revision,
    SeriesState,
    StockItem,
    StockMovement,
    WorkPackage,
)
from checks.selectors.release import deferral_day
from checks.services.defects import OutsideWork, raise_defect, rectify
from checks.services.doubt import report_out_of_calibration
from checks.services.drift import refresh_drift
from checks.services.due import refresh_due
from checks.services.evidence import add_photo
from checks.services.extension import ask_extension
from checks.services.moves import plan_move
from checks.services.notices import make_feed
from checks.services.packs import ACT
from checks.services.stock import record_movement
from fleet.models import Calibration, PlannedMove, UtilisationEntry
from reports.pack_making import make_pack
from reports.pack_tables import Span
from tests.checks.conftest import NOON
from tests.checks.deferring import deferred
from tests.checks.evidence_files import jpeg
from tests.checks.work import performed, started
from tests.world import PASSWORD, World, build_world


class Sample:
    """One of everything that an address may name."""

    def __init__(self) -> None:
        self.world: World = build_world()

    def make_all(self) -> None:
        """Make what the properties below give."""
        for name, found in vars(type(self)).items():
            if isinstance(found, cached_property):
                getattr(self, name)

    @cached_property
    def registration(self) -> str:
        return self.world.underfloor.registration

    @cached_property
    def utilisation_entry(self) -> UtilisationEntry:
        return self.world.underfloor.utilisation.get()

    @cached_property
    def calibration(self) -> Calibration:
        """One with a certificate file."""
        calibration = Calibration.objects.order_by("pk").first()
        calibration.certificate_file.save("sample.pdf", ContentFile(b"%PDF-1.4 invented"))
        return calibration

    @cached_property
    def draft(self) -> CheckEvent:
        """A check being carried out."""
        with time_machine.travel(NOON, tick=False):
            return started(self.world, self.world.forward)

    @cached_property
    def photo(self) -> Photo:
        """One kept with the draft."""
        return add_photo(event=self.draft, by=self.world.person("technician1"), content=jpeg())

    @cached_property
    def signed(self) -> CheckEvent:
        """A check signed as performed, within its limits."""
        with time_machine.travel(NOON, tick=False):
            return performed(self.world, self.world.underfloor)

    @cached_property
    def pack(self) -> Record:
        """The link of an audit pack that was made."""
        with time_machine.travel(NOON, tick=False):
            make_pack(aircraft=self.signed.aircraft, span=Span(), by=self.world.person("controller1"))
        return Record.objects.get(act=ACT)

    @cached_property
    def finding(self) -> InstrumentFinding:
        """The gauge of the signed check, found out of calibration on its day."""
        used = self.signed.readings.filter(role="series").first()
        with time_machine.travel(NOON, tick=False):
            return report_out_of_calibration(
                instrument=used.instrument,
                by=self.world.person("controller1"),
                password=PASSWORD,
                found_on=self.world.today,
                error=None,
                text="Invented.",
            )

    @cached_property
    def defect(self) -> Defect:
        """An open one that no check found."""
        return raise_defect(
            aircraft=self.world.underfloor, by=self.world.person("technician1"), description="Invented."
        )

    @cached_property
    def extension(self) -> Extension:
        """One that waits for its answer."""
        raised = raise_defect(
            aircraft=self.world.forward, by=self.world.person("technician1"), description="Invented too."
        )
        day = deferral_day(raised.raised_at)
        under = deferred(self.world, raised, recorded_on=day)
        return ask_extension(
            deferral=under,
            by=self.world.person("controller1"),
            password=PASSWORD,
            expires_on=under.expires_on + dt.timedelta(days=2),
            justification="Invented.",
        )

    @cached_property
    def rectified(self) -> Defect:
        """One rectified outside, with the certificate's file."""
        file = ContentFile(b"%PDF-1.4 invented", "release.pdf")
        with time_machine.travel(NOON, tick=False):
            defect = raise_defect(
                aircraft=self.world.forward, by=self.world.person("technician1"), description="Third."
            )
            rectify(
                defect=defect,
                by=self.world.person("releaser1"),
                password=PASSWORD,
                text="Done.",
                outside=OutsideWork("Invented shop", "R-1", self.world.today, file),
            )
        return defect

    @cached_property
    def typed_item(self) -> MelItem:
        """An item of the MEL that waits for approval."""
        return MelItem.objects.get(approved_at=None)

    @cached_property
    def typed_revision(self) -> Revision:
        """One that waits for approval."""
        return Revision.objects.create(
            procedure=self.world.revision(self.world.forward).procedure,
            number="typed",
            source_reference="invented",
            typed_by=self.world.person("controller1"),
            effective_on=dt.date(2030, 1, 1),
        )

    @cached_property
    def series(self) -> SeriesState:
        """What the trend service stores of the one check that was signed."""
        signed = self.signed
        refresh_drift(now=NOON + dt.timedelta(hours=1))
        return SeriesState.objects.filter(aircraft=signed.aircraft).first()

    @cached_property
    def planned_move(self) -> PlannedMove:
        """One to another base, far ahead."""
        return plan_move(
            aircraft=self.world.underfloor,
            base=self.world.master.bases["middle"],
            on=dt.date(2090, 1, 1),
            by=self.world.person("controller1"),
        )

    @cached_property
    def stock_item(self) -> StockItem:
        return StockItem.objects.create(part_number="ST-1", name="Strainer", kind="strainer")

    @cached_property
    def stock_movement(self) -> StockMovement:
        """Some litres of a batch, counted."""
        batch = self.world.master.batches["fb-101"]
        controller = self.world.person("controller1")
        return record_movement(
            by=controller, kind="counted", thing=batch, base=batch.base, quantity=Decimal(5)
        )

    @cached_property
    def interval_revision(self) -> IntervalRevision:
        """One that waits, typed by nobody of the walk, so that nobody takes it back."""
        return IntervalRevision.objects.create(
            check_revised=self.world.recurring(self.world.forward),
            number=1,
            interval_days=50,
            reason="Invented.",
            typed_by=self.world.person("auditor1"),
            typed_at=timezone.now(),
        )

    @cached_property
    def package(self) -> WorkPackage:
        """A proposal with one check."""
        package = WorkPackage.objects.create(
            aircraft=self.due_point.aircraft,
            base=self.due_point.aircraft.base,
            on=self.world.today,
            made_at=NOON,
        )
        package.checks.create(check_due=self.due_point.check_due)
        Preparation.objects.create(kind="access", name="Invented panel", minutes=5)
        return package

    @cached_property
    def feed(self) -> CalendarFeed:
        return make_feed(base=self.world.forward.base, owner=self.world.person("auditor1"))[0]

    @cached_property
    def due_point(self) -> DuePoint:
        refresh_due(today=self.world.today)
        return DuePoint.objects.filter(aircraft=self.world.underfloor).first()
