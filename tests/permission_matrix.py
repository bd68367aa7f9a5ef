"""Who may do what at every address: the one table that tests/fleet/test_permissions.py walks.

How to add a row: the name of the address is the key ('checks:due_list'); `get` and `post` are the roles that
may, None where the method is not answered at all (405). Sets to use: READERS (everybody with a role), NOBODY,
EVERYBODY (signed in with or without a role), or a set of role names. `public` opens it without log-in.

    "checks:defect": Row(get=READERS, post={TECHNICIAN, INSPECTOR}, kwargs=lambda s: {"pk": s.defect.pk}),

Words in the address come from `kwargs`, a function of the sample (class Sample): add a property there for
what your page shows, made once for the whole walk. `registration` needs no function.
The walk sends empty forms: a page must answer them with its errors (200, 400, 422) or a redirect,
never with 403 or 404 to a person who may, and with 403 to everybody signed in who may not.
Models of the set-up site have rows of their own (MASTER_DATA): who looks, adds, changes; nobody deletes.
"""

import datetime as dt
from collections.abc import Callable, Set
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import Any

import time_machine
from django.core.files.base import ContentFile
from django.utils import timezone

from checks.models import (
    CheckEvent,
    Defect,
    DuePoint,
    Extension,
    InstrumentFinding,
    IntervalRevision,
    MelItem,
    Photo,
    Revision,
    SeriesState,
    StockItem,
    StockMovement,
)
from checks.selectors.release import deferral_day
from checks.services.defects import OutsideWork, raise_defect, rectify
from checks.services.doubt import report_out_of_calibration
from checks.services.drift import refresh_drift
from checks.services.due import refresh_due
from checks.services.evidence import add_photo
from checks.services.extension import ask_extension
from checks.services.moves import plan_move
from checks.services.stock import record_movement
from fleet.models import Calibration, PlannedMove, UtilisationEntry
from tests.checks.conftest import NOON
from tests.checks.deferring import deferred
from tests.checks.evidence_files import jpeg
from tests.checks.work import performed, started
from tests.world import PASSWORD, World, build_world

TECHNICIAN = "technician"
INSPECTOR = "inspector"
RELEASER = "releaser"
CONTROLLER = "controller"
DIRECTOR = "director"
AUDITOR = "auditor"
OUTSIDER = "outsider"  # signed in, without any role

READERS = frozenset({TECHNICIAN, INSPECTOR, RELEASER, CONTROLLER, DIRECTOR, AUDITOR})
EVERYBODY = READERS | {OUTSIDER}
DESK = frozenset({CONTROLLER, DIRECTOR, AUDITOR})
NOBODY: frozenset[str] = frozenset()


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
    def due_point(self) -> DuePoint:
        refresh_due(today=self.world.today)
        return DuePoint.objects.filter(aircraft=self.world.underfloor).first()


@dataclass(frozen=True)
class Row:
    """Roles that may get and post (None: 405), and the words of the address."""

    get: Set[str] | None = None
    post: Set[str] | None = None
    kwargs: Callable[[Sample], dict[str, Any]] | None = None
    public: bool = False


MATRIX: dict[str, Row] = {
    "login": Row(get=EVERYBODY, post=EVERYBODY, public=True),
    "logout": Row(post=EVERYBODY),
    "own_password": Row(get=EVERYBODY, post=EVERYBODY),
    "health": Row(get=EVERYBODY, public=True),
    "checks:due_list": Row(get=READERS),
    "checks:due_point": Row(get=READERS, kwargs=lambda s: {"pk": s.due_point.pk}),
    "checks:due_owner": Row(get={CONTROLLER}, post={CONTROLLER}, kwargs=lambda s: {"pk": s.due_point.pk}),
    "checks:programme": Row(get=READERS),
    "checks:task_new": Row(get={CONTROLLER}, post={CONTROLLER}),
    "checks:task": Row(get=READERS, kwargs=lambda s: {"pk": s.due_point.check_due_id}),
    "checks:task_revise": Row(
        get={CONTROLLER}, post={CONTROLLER}, kwargs=lambda s: {"pk": s.due_point.check_due_id}
    ),
    "checks:interval_revision": Row(get=READERS, kwargs=lambda s: {"pk": s.interval_revision.pk}),
    "checks:interval_approve": Row(
        get={DIRECTOR}, post={DIRECTOR}, kwargs=lambda s: {"pk": s.interval_revision.pk}
    ),
    "checks:interval_withdraw": Row(post={CONTROLLER}, kwargs=lambda s: {"pk": s.interval_revision.pk}),
    "checks:utilisation": Row(get=READERS),
    "checks:utilisation_sheet": Row(get={CONTROLLER}, post={CONTROLLER}),
    "checks:utilisation_enter": Row(get={CONTROLLER}, post={CONTROLLER}),
    "checks:utilisation_correct": Row(
        get={CONTROLLER},
        post={CONTROLLER},
        kwargs=lambda s: {"registration": s.registration, "pk": s.utilisation_entry.pk},
    ),
    "checks:instruments": Row(get=READERS),
    "checks:instrument_detail": Row(get=READERS, kwargs=lambda s: {"code": s.calibration.instrument.code}),
    "checks:doubt_report": Row(
        get={CONTROLLER}, post={CONTROLLER}, kwargs=lambda s: {"code": s.finding.instrument.code}
    ),
    "checks:doubt_finding": Row(get=READERS, kwargs=lambda s: {"pk": s.finding.pk}),
    "checks:doubt_review": Row(get={RELEASER}, post={RELEASER}, kwargs=lambda s: {"pk": s.finding.pk}),
    "checks:certificate": Row(get=READERS, kwargs=lambda s: {"pk": s.calibration.pk}),
    "checks:label": Row(
        get=READERS, kwargs=lambda s: {"kind": "instrument", "code": s.calibration.instrument.code}
    ),
    "checks:records": Row(get=READERS),
    "checks:new": Row(get={TECHNICIAN}, post={TECHNICIAN}),
    "checks:check": Row(get=READERS, post={TECHNICIAN}, kwargs=lambda s: {"uuid": s.draft.pk}),
    "checks:run_worker": Row(get=EVERYBODY, public=True),
    "checks:run_send": Row(post={TECHNICIAN}, kwargs=lambda s: {"uuid": s.draft.pk}),
    "checks:run_copies": Row(get=READERS, kwargs=lambda s: {"uuid": s.draft.pk}),
    "checks:evidence": Row(get=READERS, post={TECHNICIAN}, kwargs=lambda s: {"uuid": s.draft.pk}),
    "checks:evidence_file": Row(get=READERS, kwargs=lambda s: {"uuid": s.draft.pk, "pk": s.photo.pk}),
    "checks:evidence_small": Row(get=READERS, kwargs=lambda s: {"uuid": s.draft.pk, "pk": s.photo.pk}),
    "checks:handover": Row(get=READERS, post={TECHNICIAN}, kwargs=lambda s: {"uuid": s.draft.pk}),
    "checks:handover_assign": Row(get={TECHNICIAN, CONTROLLER}, post={TECHNICIAN, CONTROLLER}),
    "checks:cause_found": Row(post={TECHNICIAN, RELEASER}, kwargs=lambda s: {"uuid": s.signed.pk}),
    "checks:causes": Row(get=READERS),
    "checks:check_outcome": Row(post={TECHNICIAN}, kwargs=lambda s: {"uuid": s.draft.pk}),
    "checks:check_sign": Row(get={TECHNICIAN}, post={TECHNICIAN}, kwargs=lambda s: {"uuid": s.draft.pk}),
    "checks:check_inspect": Row(get={INSPECTOR}, post={INSPECTOR}, kwargs=lambda s: {"uuid": s.signed.pk}),
    "checks:check_release": Row(get={RELEASER}, post={RELEASER}, kwargs=lambda s: {"uuid": s.signed.pk}),
    "checks:check_decide": Row(get={RELEASER}, post={RELEASER}, kwargs=lambda s: {"uuid": s.signed.pk}),
    "checks:check_correct": Row(get={TECHNICIAN}, post={TECHNICIAN}, kwargs=lambda s: {"uuid": s.signed.pk}),
    "checks:drift_ranking": Row(get=READERS),
    "checks:drift_series": Row(get=READERS, kwargs=lambda s: {"pk": s.series.pk}),
    "checks:aircraft_list": Row(get=READERS),
    "checks:aircraft": Row(get=READERS),
    "checks:icing_status": Row(get=READERS),
    "checks:icing_wall": Row(get=READERS),
    "checks:season": Row(get=READERS),
    "checks:season_base": Row(get=READERS, kwargs=lambda s: {"code": "north"}),
    "checks:dormancy": Row(get=READERS),
    "checks:move_plan": Row(get={CONTROLLER}, post={CONTROLLER}),
    "checks:move_end": Row(post={CONTROLLER}, kwargs=lambda s: {"pk": s.planned_move.pk}),
    "checks:stock": Row(get=READERS),
    "checks:stock_entries": Row(get=READERS),
    "checks:stock_entry": Row(get={CONTROLLER}, post={CONTROLLER}),
    "checks:stock_correct": Row(
        get={CONTROLLER}, post={CONTROLLER}, kwargs=lambda s: {"pk": s.stock_movement.pk}
    ),
    "checks:mix_record": Row(get={CONTROLLER}, post={CONTROLLER}),
    "checks:defects": Row(get=READERS),
    "checks:defect": Row(get=READERS, kwargs=lambda s: {"pk": s.defect.pk}),
    "checks:defect_raise": Row(get=READERS - {AUDITOR}, post=READERS - {AUDITOR}),
    "checks:defect_defer": Row(get={CONTROLLER}, post={CONTROLLER}, kwargs=lambda s: {"pk": s.defect.pk}),
    "checks:defect_rectify": Row(get={RELEASER}, post={RELEASER}, kwargs=lambda s: {"pk": s.defect.pk}),
    "checks:defect_release": Row(get={RELEASER}, post={RELEASER}, kwargs=lambda s: {"pk": s.rectified.pk}),
    "checks:release_certificate": Row(
        get=READERS, kwargs=lambda s: {"pk": s.rectified.rectification.outside.pk}
    ),
    "checks:part_order": Row(get={CONTROLLER}, post={CONTROLLER}, kwargs=lambda s: {"pk": s.defect.pk}),
    "checks:ferry_permit": Row(get={CONTROLLER}, post={CONTROLLER}, kwargs=lambda s: {"pk": s.defect.pk}),
    "checks:deferral_extend": Row(
        get={CONTROLLER}, post={CONTROLLER}, kwargs=lambda s: {"pk": s.extension.deferral_id}
    ),
    "checks:extension_answer": Row(get={DIRECTOR}, post={DIRECTOR}, kwargs=lambda s: {"pk": s.extension.pk}),
    "checks:mel": Row(get=READERS),
    "checks:mel_type": Row(get={CONTROLLER}, post={CONTROLLER}),
    "checks:mel_item": Row(get=READERS, kwargs=lambda s: {"pk": s.typed_item.pk}),
    "checks:mel_change": Row(get={CONTROLLER}, post={CONTROLLER}, kwargs=lambda s: {"pk": s.typed_item.pk}),
    "checks:mel_approve": Row(get={DIRECTOR}, post={DIRECTOR}, kwargs=lambda s: {"pk": s.typed_item.pk}),
    "checks:procedures": Row(get=READERS),
    "checks:revision": Row(get=READERS, kwargs=lambda s: {"pk": s.typed_revision.pk}),
    "checks:revision_approve": Row(
        get={DIRECTOR}, post={DIRECTOR}, kwargs=lambda s: {"pk": s.typed_revision.pk}
    ),
    "reports:due_csv": Row(get=READERS),
    "reports:due_pdf": Row(get=READERS),
    "reports:list_csv": Row(get=READERS, kwargs=lambda s: {"name": "records"}),
    "reports:drift_pdf": Row(get=READERS),
    "reports:traceback_pdf": Row(get=READERS, kwargs=lambda s: {"pk": s.finding.pk}),
    "reports:labels": Row(get=READERS, kwargs=lambda s: {"kind": "instruments"}),
    "reports:labels_pdf": Row(get=READERS, kwargs=lambda s: {"kind": "aircraft"}),
    "reports:season_csv": Row(get=READERS, kwargs=lambda s: {"code": "north"}),
    "reports:season_pdf": Row(get=READERS, kwargs=lambda s: {"code": "north"}),
    "reports:worksheet_pdf": Row(get=READERS, kwargs=lambda s: {"pk": s.typed_revision.pk}),
    "reports:record_pdf": Row(get=READERS, kwargs=lambda s: {"uuid": s.signed.pk}),
    "reports:home": Row(get=EVERYBODY),
    # The set-up site as a whole.
    "admin:index": Row(get=DESK, post=DESK),
    "admin:app_list": Row(get=DESK, post=DESK, kwargs=lambda s: {"app_label": "fleet"}),
    "admin:login": Row(get=EVERYBODY, post=EVERYBODY, public=True),
    "admin:logout": Row(post=DESK),
    "admin:password_change": Row(get=DESK, post=DESK),
    "admin:password_change_done": Row(get=DESK),
    "admin:jsi18n": Row(get=DESK),
    # Answers only with a field's name, and asks the permission of that field's model.
    "admin:autocomplete": Row(get=NOBODY),
    "admin:auth_user_password_change": Row(
        get={DIRECTOR}, post={DIRECTOR}, kwargs=lambda s: {"id": s.world.person("technician1").pk}
    ),
}


@dataclass(frozen=True)
class ModelRow:
    """Roles that look at, add and change rows of one model in the set-up site. What is used, and the first
    row of each model in the sample is, nobody deletes."""

    view: Set[str] = NOBODY
    add: Set[str] = NOBODY
    change: Set[str] = NOBODY


_CONTROLLERS = ModelRow(DESK, {CONTROLLER}, {CONTROLLER})
_DIRECTORS = ModelRow(DESK, {DIRECTOR}, {DIRECTOR})
_LOOKED_AT = ModelRow(DESK)
_ADMINISTRATORS = ModelRow()

MASTER_DATA: dict[str, ModelRow] = {
    "fleet_aircraft": _CONTROLLERS,
    "fleet_part": _CONTROLLERS,
    "fleet_fitment": _CONTROLLERS,
    "fleet_instrument": _CONTROLLERS,
    "fleet_fluidbatch": _CONTROLLERS,
    "fleet_utilisationentry": _LOOKED_AT,
    "fleet_base": _DIRECTORS,
    "fleet_variant": _DIRECTORS,
    "fleet_position": _DIRECTORS,
    "fleet_measuringpoint": _DIRECTORS,
    "fleet_operator": ModelRow(DESK, NOBODY, {DIRECTOR}),  # one row, and it is there
    "fleet_user": ModelRow({DIRECTOR, AUDITOR}, {DIRECTOR}, {DIRECTOR}),
    "checks_procedure": _CONTROLLERS,
    "checks_revision": _CONTROLLERS,
    "checks_limittable": _CONTROLLERS,
    "checks_recurringcheck": _LOOKED_AT,
    "fleet_modification": _CONTROLLERS,
    "checks_stockitem": _CONTROLLERS,
    "checks_checkevent": _LOOKED_AT,
    "checks_record": _LOOKED_AT,
    "checks_signature": _LOOKED_AT,
    "checks_defect": _LOOKED_AT,
    "checks_importbatch": _LOOKED_AT,
    "axes_accessattempt": _ADMINISTRATORS,
    "axes_accessfailurelog": _ADMINISTRATORS,
    "axes_accesslog": _ADMINISTRATORS,
}
