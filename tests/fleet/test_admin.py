"""The set-up site: what it lets through, what it keeps, and that every page of it opens."""

import datetime as dt

import pytest
from django.contrib import admin
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from checks.models import DuePoint, RecurringCheck, Revision
from fleet.admin.base import is_used, with_use
from fleet.models import Aircraft, Base, Calibration, Fitment, Instrument, Operator, Part, User, Variant
from tests.permission_matrix import Sample
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
def director1(client_of, world):
    return client_of(world.person("director1"))


@pytest.fixture
def root(client_of, db):
    return client_of(User.objects.create_superuser("root", password="a phrase for tests only"))


def url(model, what: str, *args) -> str:
    return reverse(f"admin:{model._meta.app_label}_{model._meta.model_name}_{what}", args=args)


def filled(response) -> dict[str, object]:
    """The form of a page as a browser would send it unchanged, its rows of inlines included."""
    forms = [response.context["adminform"].form]
    data: dict[str, object] = {}
    for inline in response.context["inline_admin_formsets"]:
        forms += [inline.formset.management_form, *inline.formset.forms]
    for form in forms:
        for bound in form:
            if bound.field.disabled or getattr(bound.field.widget, "input_type", "") == "file":
                continue
            value = bound.value()
            if value is None or value is False:
                continue
            data[bound.html_name] = value
    return data


def add_row(data: dict, prefix: str, **values) -> dict:
    """One more row of the inline, after those there."""
    number = int(data[f"{prefix}-TOTAL_FORMS"])
    row = {f"{prefix}-{number}-{name}": value for name, value in values.items()}
    return data | row | {f"{prefix}-TOTAL_FORMS": number + 1}


def test_every_list_searches_and_every_row_opens(root):
    Sample().make_all()
    for model, page in admin.site._registry.items():
        if model._meta.app_label not in ("fleet", "checks"):
            continue
        assert root.get(url(model, "changelist")).status_code == 200, model
        if page.search_fields:
            assert root.get(url(model, "changelist"), {"q": "a"}).status_code == 200, model
        row = model._base_manager.order_by("pk").first()
        if row:
            response = root.get(url(model, "change", row.pk))
            assert response.status_code == 200, model
            assert b'style="' not in response.content, model
            assert b"<script>" not in response.content, model


def test_header_says_what_it_is(controller1):
    assert b"Weepwatch master data" in controller1.get(reverse("admin:index")).content


def test_one_log_in(client, client_of, outsider):
    response = client.get(reverse("admin:index"), follow=True)
    assert response.redirect_chain[-1][0] == f"{reverse('login')}?next=/admin/"
    assert client_of(outsider).get(reverse("admin:index")).status_code == 403
    other = client.post(reverse("admin:login"), {"username": "x", "password": "y"})
    assert other.status_code == 302 and other.url.startswith(reverse("login"))


# Used rows stay -----------------------------------------------------------------------------------
def test_used_tells_every_kind_of_use(world):
    assert is_used(world.forward.variant)
    fresh = Variant.objects.create(code="fresh", name="Fresh")
    assert not is_used(fresh)
    used = dict(with_use(Variant.objects.all()).values_list("code", "used"))
    assert used["fresh"] is False and used["forward"] is True


def test_used_rows_are_not_deleted_and_unused_ones_are(root, world):
    fresh = Variant.objects.create(code="fresh", name="Fresh")
    assert root.post(url(Variant, "delete", world.forward.variant_id), {"post": "yes"}).status_code == 403
    assert root.post(url(Variant, "delete", fresh.pk), {"post": "yes"}).status_code == 302
    assert not Variant.objects.filter(code="fresh").exists()
    assert Variant.objects.filter(pk=world.forward.variant_id).exists()


def test_many_at_once_are_never_deleted(root, world):
    data = {"action": "delete_selected", "_selected_action": [world.forward.pk], "post": "yes"}
    root.post(url(Aircraft, "changelist"), data)
    assert Aircraft.objects.filter(pk=world.forward.pk).exists()


def test_the_operator_is_one_row(root, world):
    assert root.get(url(Operator, "add")).status_code == 403
    assert root.post(url(Operator, "delete", 1), {"post": "yes"}).status_code == 403


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
    data = filled(controller1.get(page)) | {"state": "left"}
    DuePoint.objects.all().delete()
    assert controller1.post(page, filled(controller1.get(page))).status_code == 302
    assert DuePoint.objects.filter(aircraft=world.forward).exists()
    assert controller1.post(page, data).status_code == 302
    assert not DuePoint.objects.filter(aircraft=world.forward).exists()


def test_changing_the_programme_counts_due_points(controller1, world):
    task = world.recurring(world.forward)
    page = url(RecurringCheck, "change", task.pk)
    data = filled(controller1.get(page))
    assert controller1.post(page, data).status_code == 302
    assert DuePoint.objects.filter(check_due=task, aircraft=world.forward).exists()
    del data["active"]
    assert controller1.post(page, data).status_code == 302
    assert not DuePoint.objects.filter(check_due=task).exists()


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


# People -------------------------------------------------------------------------------------------
def test_director_gives_roles_and_authorisations(director1, world):
    person = world.person("technician1")
    page = url(User, "change", person.pk)
    data = add_row(
        filled(director1.get(page)), "authorisations", act="inspect", reference="A-7", valid_from="2025-01-01"
    )
    assert director1.post(page, data).status_code == 302
    assert person.authorisations.filter(act="inspect", reference="A-7").exists()


def test_nobody_widens_what_they_may_do_themselves(director1, world):
    me = world.person("director1")
    page = url(User, "change", me.pk)
    groups, rights = set(me.groups.all()), me.authorisations.count()
    response = director1.get(page)
    data = filled(response) | {
        "groups": [],
        "is_superuser": "on",
        "is_staff": "on",
        "first_name": "New",
        "authorisations-TOTAL_FORMS": 1,
        "authorisations-INITIAL_FORMS": 0,
        "authorisations-0-act": "release",
        "authorisations-0-reference": "mine",
        "authorisations-0-valid_from": "2025-01-01",
    }
    assert director1.post(page, data).status_code == 302
    me.refresh_from_db()
    assert me.first_name == "New"
    assert set(me.groups.all()) == groups and me.authorisations.count() == rights
    assert not me.is_superuser


def test_a_director_does_not_reach_for_the_administrator(director1, root, world):
    boss = User.objects.get(username="root")
    assert director1.post(url(User, "change", boss.pk), {"username": "x"}).status_code == 403
    reset = reverse("admin:auth_user_password_change", args=[boss.pk])
    assert director1.post(reset, {"password1": "x", "password2": "x"}).status_code == 403
    person = world.person("technician1")
    page = url(User, "change", person.pk)
    assert director1.post(page, filled(director1.get(page)) | {"is_superuser": "on"}).status_code == 302
    person.refresh_from_db()
    assert not person.is_superuser


# Cost ---------------------------------------------------------------------------------------------
def queries(client, address: str) -> int:
    client.get(address)
    with CaptureQueriesContext(connection) as caught:
        assert client.get(address).status_code == 200
    return len(caught)


def test_lists_take_the_same_queries_with_more_rows(root, world):
    lists = [url(model, "changelist") for model in (Aircraft, Instrument, Part, Fitment, User, Base)]
    Fitment.objects.all().delete()
    part = Part.objects.create(part_number="X", serial_number="1", kind="panel")
    position = world.forward.variant.positions.first()
    fit = {"part": part, "aircraft": world.forward, "position": position}
    Fitment.objects.create(fitted_on=D(2020, 1, 1), removed_on=D(2020, 1, 2), **fit)
    before = [queries(root, address) for address in lists]
    for n in range(3, 23):
        Aircraft.objects.create(
            registration=f"Q-9{n:03}",
            serial_number=f"more-{n}",
            type_name="T",
            variant=world.forward.variant,
            base=world.forward.base,
            entered_service_on=world.today,
        )
        gauge = Instrument.objects.order_by("pk").first()
        Instrument.objects.create(
            code=f"more-{n}",
            kind="gauge",
            owner="us",
            unit="kPa",
            range_low=0,
            range_high=1,
            resolution=1,
            accuracy_kind=gauge.accuracy_kind,
            accuracy=1,
            base=gauge.base,
        )
        Part.objects.create(part_number="X", serial_number=f"m{n}", kind="panel")
        Fitment.objects.create(fitted_on=D(2020, 1, n), removed_on=D(2020, 1, n + 1), **fit)
        person = User.objects.create_user(f"more-{n}", home_base=world.forward.base)
        person.groups.set(world.person("technician1").groups.all())
    assert [queries(root, address) for address in lists] == before


def test_an_instrument_page_takes_the_same_queries_with_more_calibrations(root, world):
    gauge = Instrument.objects.order_by("pk").first()
    page = url(Instrument, "change", gauge.pk)
    before = queries(root, page)
    for n in range(20):
        gauge.calibrations.create(
            calibrated_on=D(2010, 1, 1 + n), due_on=D(2011, 1, 1), certificate_number=f"more-{n}"
        )
    assert queries(root, page) == before
