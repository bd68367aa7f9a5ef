"""The set-up site: what it lets through, what it keeps, and that every page of it opens."""

import datetime as dt

import pytest
from django.contrib import admin
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fleet.admin.base import is_used, with_use
from fleet.models import Aircraft, Base, Fitment, Instrument, Operator, Part, User, Variant
from tests.fleet.set_up import add_row, filled, url
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
