"""Who may do what at every address: the one table that tests/fleet/test_permissions.py walks.

How to add a row: the name of the address is the key ('checks:due_list'); `get` and `post` are the roles that
may, None where the method is not answered at all (405). Sets to use: READERS (everybody with a role), NOBODY,
EVERYBODY (signed in with or without a role), or a set of role names. `public` opens it without log-in.

    "checks:defect": Row(get=READERS, post={TECHNICIAN, INSPECTOR}, kwargs=lambda s: {"pk": s.defect.pk}),

Words in the address come from `kwargs`, a function of the sample (permission_sample.py): add a property
there for what your page shows, made once for the whole walk. `registration` needs no function.
The walk sends empty forms: a page must answer them with its errors (200, 400, 422) or a redirect,
never with 403 or 404 to a person who may, and with 403 to everybody signed in who may not.
Models of the set-up site have rows of their own (MASTER_DATA): who looks, adds, changes; nobody deletes.
"""

from collections.abc import Callable, Set
from dataclasses import dataclass
from typing import Any

from tests.permission_sample import Sample

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
    "checks:packages": Row(get=READERS, post={CONTROLLER}),
    "checks:package_progress": Row(get=READERS),
    "checks:packages_base": Row(get=READERS, post={CONTROLLER}, kwargs=lambda s: {"code": "north"}),
    "checks:package": Row(get=READERS, kwargs=lambda s: {"pk": s.package.pk}),
    "checks:package_change": Row(post={CONTROLLER}, kwargs=lambda s: {"pk": s.package.pk}),
    "checks:notices": Row(get=READERS, post=READERS),
    "checks:feed_revoke": Row(post=READERS, kwargs=lambda s: {"pk": s.feed.pk}),
    "reports:package_pdf": Row(get=READERS, kwargs=lambda s: {"pk": s.package.pk}),
    "reports:calendar": Row(get=EVERYBODY, public=True, kwargs=lambda s: {"code": "north"}),
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
    "checks:drift_card": Row(get=READERS),
    "checks:drift_gauges": Row(get=READERS),
    "checks:drift_aircraft": Row(get=READERS),
    "checks:drift_series": Row(get=READERS, kwargs=lambda s: {"pk": s.series.pk}),
    "checks:aircraft_list": Row(get=READERS),
    "checks:aircraft": Row(get=READERS),
    "checks:icing_status": Row(get=READERS),
    "checks:icing_wall": Row(get=READERS),
    "checks:reliability": Row(get=READERS),
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
    "checks:deferrals_expired": Row(get=READERS),
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
    "reports:due_pdf": Row(get=READERS),
    "reports:list_file": Row(get=READERS, kwargs=lambda s: {"name": "records", "kind": "csv"}),
    "reports:icing_pdf": Row(get=READERS),
    "reports:drift_pdf": Row(get=READERS),
    "reports:traceback_pdf": Row(get=READERS, kwargs=lambda s: {"pk": s.finding.pk}),
    "reports:labels": Row(get=READERS, kwargs=lambda s: {"kind": "instruments"}),
    "reports:labels_pdf": Row(get=READERS, kwargs=lambda s: {"kind": "aircraft"}),
    "reports:reliability_pdf": Row(get=READERS),
    "reports:season_csv": Row(get=READERS, kwargs=lambda s: {"code": "north"}),
    "reports:season_pdf": Row(get=READERS, kwargs=lambda s: {"code": "north"}),
    "reports:worksheet_pdf": Row(get=READERS, kwargs=lambda s: {"pk": s.typed_revision.pk}),
    "reports:audit_packs": Row(get=DESK, post=DESK),
    "reports:audit_pack_file": Row(get=DESK, kwargs=lambda s: {"number": s.pack.number}),
    "reports:record_pdf": Row(get=READERS, kwargs=lambda s: {"uuid": s.signed.pk}),
    "reports:utilisation_file": Row(get={CONTROLLER}, post={CONTROLLER}),
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
    "checks_preparation": _CONTROLLERS,
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
