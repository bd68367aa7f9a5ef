"""Logging in and out, the lock-out, and the pages that need no log-in."""

import datetime as dt

import pytest
import time_machine
from django.conf import settings
from django.contrib.auth import authenticate
from django.db import OperationalError
from django.test import Client
from django.urls import reverse

from fleet.models import User
from tests.conftest import PASSWORD

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2027, 3, 1, 9, 0, tzinfo=dt.UTC)


def try_log_in(client: Client, username: str, password: str):
    return client.post(reverse("login"), {"username": username, "password": password})


def test_log_in_leads_home_and_log_out_back(client: Client, technician: User) -> None:
    answer = try_log_in(client, "technician-1", PASSWORD)
    assert answer.status_code == 302 and answer["Location"] == "/"
    assert client.session["_auth_user_id"] == str(technician.pk)
    answer = client.post(reverse("logout"))
    assert answer.status_code == 302 and answer["Location"] == reverse("login")
    assert "_auth_user_id" not in client.session


def test_log_out_is_no_link(client_of, technician: User) -> None:
    assert client_of(technician).get(reverse("logout")).status_code == 405


def test_wrong_password_and_unknown_person_read_alike(client: Client, technician: User) -> None:
    known = try_log_in(client, "technician-1", "wrong")
    unknown = try_log_in(client, "nobody-1", "wrong")
    assert known.status_code == unknown.status_code == 200
    assert known.context["form"].non_field_errors() == unknown.context["form"].non_field_errors()


def test_leaver_cannot_log_in(client: Client, technician: User) -> None:
    technician.is_active = False
    technician.save(update_fields=["is_active"])
    assert try_log_in(client, "technician-1", PASSWORD).status_code == 200
    assert "_auth_user_id" not in client.session


@pytest.mark.parametrize("username", ["technician-1", "nobody-1"])
def test_lock_out_after_five_wrong_passwords(technician: User, username: str) -> None:
    client = Client()
    answers = [try_log_in(client, username, "wrong") for _ in range(settings.AXES_FAILURE_LIMIT)]
    assert [answer.status_code for answer in answers[:-1]] == [200] * (settings.AXES_FAILURE_LIMIT - 1)
    assert answers[-1].status_code == 429
    page = answers[-1].content.decode()
    assert "Too many tries" in page and "closed for 15 minutes" in page
    right = try_log_in(client, username, PASSWORD)
    assert right.status_code == 429 and right["Retry-After"] == "900"
    assert "_auth_user_id" not in client.session
    assert PASSWORD not in right.content.decode()


def test_lock_out_ends_after_its_time(technician: User) -> None:
    client = Client()
    with time_machine.travel(NOW, tick=False) as clock:
        for _ in range(settings.AXES_FAILURE_LIMIT):
            try_log_in(client, "technician-1", "wrong")
        clock.shift(settings.AXES_COOLOFF_TIME - dt.timedelta(seconds=1))
        assert try_log_in(client, "technician-1", PASSWORD).status_code == 429
        clock.shift(settings.AXES_COOLOFF_TIME + dt.timedelta(seconds=1))
        assert try_log_in(client, "technician-1", PASSWORD).status_code == 302


def test_lock_out_reaches_neither_a_colleague_nor_another_place(technician: User, inspector: User) -> None:
    here, elsewhere = Client(REMOTE_ADDR="192.0.2.1"), Client(REMOTE_ADDR="192.0.2.2")
    for _ in range(settings.AXES_FAILURE_LIMIT):
        try_log_in(here, "technician-1", "wrong")
    assert try_log_in(here, "technician-1", PASSWORD).status_code == 429
    assert try_log_in(here, "inspector-1", PASSWORD).status_code == 302
    assert try_log_in(elsewhere, "technician-1", PASSWORD).status_code == 302


def test_success_forgets_the_wrong_tries(technician: User) -> None:
    client = Client()
    for _ in range(2):
        for _ in range(settings.AXES_FAILURE_LIMIT - 1):
            assert try_log_in(client, "technician-1", "wrong").status_code == 200
        assert try_log_in(client, "technician-1", PASSWORD).status_code == 302
        client.post(reverse("logout"))


def test_password_asked_again_counts_towards_the_lock_out(rf, technician: User) -> None:
    """What a signature does: `authenticate` with the request, outside the log-in page."""
    for _ in range(settings.AXES_FAILURE_LIMIT):
        assert authenticate(rf.post("/"), username="technician-1", password="wrong") is None
    assert authenticate(rf.post("/"), username="technician-1", password=PASSWORD) is None


def test_log_in_goes_to_no_other_site(client: Client, technician: User) -> None:
    data = {"username": "technician-1", "password": PASSWORD, "next": "https://example.org/"}
    assert client.post(reverse("login"), data)["Location"] == "/"


def test_new_password_ends_the_other_sessions(client_of, technician: User) -> None:
    client = client_of(technician)
    technician.set_password("another phrase for tests")
    technician.save(update_fields=["password"])
    client.get(reverse("health"))
    answer = client.get("/admin/")
    assert answer.status_code == 302 and "login" in answer["Location"]


def test_health_answers_without_log_in(client: Client) -> None:
    answer = client.get(reverse("health"))
    assert answer.status_code == 200 and answer.content == b"ok"
    assert "no-cache" in answer["Cache-Control"]
    assert client.post(reverse("health")).status_code == 405


def test_health_says_when_the_database_is_gone(client: Client, monkeypatch) -> None:
    def gone(*_args: object) -> None:
        raise OperationalError("secret particulars")

    monkeypatch.setattr("fleet.views.health.connection.cursor", gone)
    answer = client.get(reverse("health"))
    assert answer.status_code == 503 and b"secret" not in answer.content


def test_every_other_page_asks_for_log_in(client: Client) -> None:
    answer = client.get("/admin/")
    assert answer.status_code == 302
    assert client.get("/no-such-page/").status_code == 404
