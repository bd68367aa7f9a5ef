"""The set-up pages of aircraft, instruments and procedures: what they take and what they freeze."""

import datetime as dt

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from checks.models import DuePoint, RecurringCheck, Revision
from fleet.models import Aircraft, Calibration, Fitment, Instrument, Modification, Part, User
from tests.checks.conftest import NOON
from tests.checks.work import performed
from tests.fleet.set_up import add_row, filled, url
from tests.world import build_world

pytestmark = pytest.mark.django_db

D = dt.date


@pytest.fixture
def world(db):
    return build_world()


@pytest.fixture
def controller1(client_of, world):
    return client_of(world.person("controller1"))


@pytest.fixture
def root(client_of, db):
    return client_of(User.objects.create_superuser("root", password="a phrase for tests only"))


# Aircraft with fitments ---------------------------------------------------------------------------
@pytest.fixture
def positions(world):
    Fitment.objects.all().delete()
    return list(world.forward.variant.positions.order_by("pk")[:2])


@pytest.fixture
def parts(world):
    return [Part.objects.create(part_number="X", serial_number=str(n), kind="panel") for n in (1, 2)]


def test_fitting_parts_on_the_aircraft_page(controller1, world, positions, parts):
    page = url(Aircraft, "change", world.forward.pk)
    data = filled(controller1.get(page))
    data = add_row(
        data,
        "fitments",
        position=positions[0].pk,
        part=parts[0].pk,
        fitted_on="2024-01-01",
        removed_on="2024-06-01",
    )
    data = add_row(data, "fitments", position=positions[0].pk, part=parts[1].pk, fitted_on="2024-06-01")
    assert controller1.post(page, data).status_code == 302
    assert Fitment.objects.count() == 2


def test_rows_of_one_page_that_meet_are_named(controller1, world, positions, parts):
    page = url(Aircraft, "change", world.forward.pk)
    data = filled(controller1.get(page))
    for part in parts:
        data = add_row(data, "fitments", position=positions[0].pk, part=part.pk, fitted_on="2024-01-01")
    response = controller1.post(page, data)
    assert response.status_code == 200
    assert "meet: end the earlier one first" in response.content.decode()
    assert not Fitment.objects.exists()


def test_changing_an_aircraft_counts_its_due_points(controller1, world):
    page = url(Aircraft, "change", world.forward.pk)
    data = filled(controller1.get(page)) | {"state": "left", "state_since": "2025-03-12"}
    DuePoint.objects.all().delete()
    assert controller1.post(page, filled(controller1.get(page))).status_code == 302
    assert DuePoint.objects.filter(aircraft=world.forward).exists()
    assert controller1.post(page, data).status_code == 302
    assert not DuePoint.objects.filter(aircraft=world.forward).exists()


def test_a_change_of_state_is_dated(controller1, world):
    page = url(Aircraft, "change", world.forward.pk)
    stored = filled(controller1.get(page)) | {"state": "stored"}
    refused = controller1.post(page, stored)
    assert refused.status_code == 200
    assert "give the day on which it did" in refused.content.decode()
    assert controller1.post(page, stored | {"state_since": "2025-03-01"}).status_code == 302
    back = filled(controller1.get(page)) | {"state": "in_service"}
    assert controller1.post(page, back).status_code == 200, (
        "the day of the state before is no day of this one"
    )
    assert controller1.post(page, back | {"state_since": "2025-03-10"}).status_code == 302


def test_the_programme_is_looked_at_here_and_typed_on_its_own_pages(controller1, world):
    task = world.recurring(world.forward)
    page = url(RecurringCheck, "change", task.pk)
    assert controller1.get(page).status_code == 200
    assert controller1.post(page, {"active": ""}).status_code == 403


def test_a_modification_embodied_here_counts_at_once(controller1, world):
    """The rows under the aircraft are kept before its due points are counted."""
    task = world.recurring(world.forward)
    task.modification = Modification.objects.create(code="30-12", title="Invented")
    task.fit = "embodied"
    task.save()
    page = url(Aircraft, "change", world.forward.pk)
    data = filled(controller1.get(page))
    controller1.post(page, data)
    points = DuePoint.objects.filter(aircraft=world.forward, check_due=task)
    assert not points.exists()
    row = {"modification": task.modification_id, "embodied_on": "2024-01-01", "reference": "Invented"}
    data |= {f"embodiments-0-{name}": value for name, value in row.items()}
    data |= {"embodiments-TOTAL_FORMS": "1", "embodiments-0-aircraft": world.forward.pk}
    assert controller1.post(page, data).status_code == 302
    assert points.exists()


def test_the_variant_stays_once_parts_rest_on_it(controller1, world, positions, parts):
    page = url(Aircraft, "change", world.forward.pk)
    other = {"variant": world.underfloor.variant_id}
    Fitment.objects.create(
        part=parts[0], aircraft=world.forward, position=positions[0], fitted_on=D(2024, 1, 1)
    )
    controller1.post(page, filled(controller1.get(page)) | other)
    world.forward.refresh_from_db()
    assert world.forward.variant.code == "forward"


def test_what_a_reading_rests_on_is_frozen(root, world):
    with time_machine.travel(NOON, tick=False):
        event = performed(world, world.forward)
    reading = event.readings.exclude(calibration=None).exclude(point=None).first()
    point = url(type(reading.point), "change", reading.point_id)
    rows = list(reading.point.reference_rows.values())
    data = filled(root.get(point)) | {"quantity": "flow", "kind": "nozzle", "reference_rows-0-value": "1"}
    root.post(point, data)
    reading.point.refresh_from_db()
    assert list(reading.point.reference_rows.values()) == rows
    assert (reading.point.quantity, reading.point.kind) == ("pressure", "test_port")


def test_a_calibration_that_a_reading_rests_on_keeps_its_figures(root, world):
    with time_machine.travel(NOON, tick=False):
        event = performed(world, world.forward)
    used = event.readings.exclude(calibration=None).first().calibration
    other = calibrate_again(used)
    page = url(Instrument, "change", used.instrument_id)
    response = root.get(page)
    forms = response.context["inline_admin_formsets"][0].formset.forms
    data = filled(response)
    for form in forms:  # a browser that sends every field, those shown as closed included
        data |= {f"{form.prefix}-laboratory": "changed", f"{form.prefix}-result": "adjusted"}
    assert root.post(page, data).status_code == 302
    for row in (used, other):
        row.refresh_from_db()
    assert (used.laboratory, used.result) != ("changed", "adjusted")
    assert (other.laboratory, other.result) == ("changed", "adjusted")


def calibrate_again(used: Calibration) -> Calibration:
    """A calibration of the same instrument that no reading rests on."""
    return used.instrument.calibrations.create(
        calibrated_on=D(2010, 1, 1), due_on=D(2011, 1, 1), certificate_number="old"
    )


# Instruments with certificates --------------------------------------------------------------------
CALIBRATION = {
    "calibrated_on": "2025-02-01",
    "due_on": "2026-02-01",
    "result": "passed",
    "certificate_number": "C-9",
}


def test_certificate_file_is_kept_under_a_name_of_our_own(controller1, world):
    gauge = Instrument.objects.order_by("pk").first()
    page = url(Instrument, "change", gauge.pk)
    upload = SimpleUploadedFile("evil.html", b"%PDF-1.4 x", content_type="text/html")
    data = add_row(filled(controller1.get(page)), "calibrations", certificate_file=upload, **CALIBRATION)
    assert controller1.post(page, data).status_code == 302
    kept = Calibration.objects.get(certificate_number="C-9")
    assert kept.certificate_file.name.endswith(".pdf") and "evil" not in kept.certificate_file.name
    assert reverse("checks:certificate", args=[kept.pk]) in controller1.get(page).content.decode()


def test_other_files_and_wrong_dates_are_refused(controller1, world):
    gauge = Instrument.objects.order_by("pk").first()
    page = url(Instrument, "change", gauge.pk)
    bad = SimpleUploadedFile("c.pdf", b"<script>")
    data = add_row(filled(controller1.get(page)), "calibrations", certificate_file=bad, **CALIBRATION)
    assert "Only PDF, PNG and JPEG" in controller1.post(page, data).content.decode()
    dates = CALIBRATION | {"due_on": "2025-01-01"}
    data = add_row(filled(controller1.get(page)), "calibrations", **dates)
    assert "due after the day it was done" in controller1.post(page, data).content.decode()
    assert not Calibration.objects.filter(certificate_number="C-9").exists()


def test_units_are_chosen_from_those_the_engine_knows(controller1, world):
    gauge = Instrument.objects.order_by("pk").first()
    page = url(Instrument, "change", gauge.pk)
    data = filled(controller1.get(page))
    response = controller1.post(page, data | {"unit": "furlong"})
    assert response.status_code == 200 and "Select a valid choice" in response.content.decode()
    assert controller1.post(page, data | {"unit": "bar"}).status_code == 302
    gauge.refresh_from_db()
    assert gauge.unit == "bar"


# Procedures ---------------------------------------------------------------------------------------
@pytest.fixture
def draft(world) -> Revision:
    """A revision that controller1 is typing."""
    procedure = world.revision(world.forward).procedure
    return Revision.objects.create(
        procedure=procedure,
        number="draft",
        source_reference="invented",
        typed_by=world.person("controller1"),
        effective_on=D(2030, 1, 1),
    )


def test_typing_a_revision_names_who_typed_it_and_approves_nothing(controller1, world):
    procedure = world.revision(world.forward).procedure
    data = filled(controller1.get(url(Revision, "add"))) | {
        "procedure": procedure.pk,
        "number": "typed",
        "source_reference": "invented",
        "effective_on": "2030-02-01",
        "approved_by": world.person("director1").pk,
        "approved_at_0": "2025-01-01",
    }
    data = add_row(data, "steps", number=1, kind="note", text="Invented.")
    assert controller1.post(url(Revision, "add"), data).status_code == 302
    typed = Revision.objects.get(number="typed")
    assert typed.typed_by == world.person("controller1")
    assert typed.approved_by is None and typed.approved_at is None
    assert typed.steps.count() == 1


def test_a_draft_is_open_to_who_types_it_alone(controller1, client_of, world, draft):
    page = url(Revision, "change", draft.pk)
    assert controller1.post(page, filled(controller1.get(page)) | {"number": "next"}).status_code == 302
    draft.refresh_from_db()
    assert draft.number == "next"
    other = client_of(world.person("controller2"))
    assert other.get(page).status_code == 200
    assert other.post(page, {"number": "theirs"}).status_code == 403


def test_an_approved_revision_is_read_only_with_all_its_parts(controller1, world):
    revision = world.revision(world.forward)
    table = revision.limit_tables.first()
    for row in (revision, table):
        page = url(type(row), "change", row.pk)
        response = controller1.get(page)
        assert response.status_code == 200
        assert b'name="_save"' not in response.content
        assert controller1.post(page, {}).status_code == 403
        assert controller1.post(url(type(row), "delete", row.pk), {"post": "yes"}).status_code == 403


def test_a_limit_table_goes_into_a_draft_of_ones_own_only(controller1, world, draft):
    offered = controller1.get(reverse("admin:checks_limittable_add")).context["adminform"].form
    assert list(offered.fields["revision"].queryset) == [draft]
