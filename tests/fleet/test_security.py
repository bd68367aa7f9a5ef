"""What protects every page: policy headers, cookies, size limit, hashing, database safety checks.

The header values follow the Content Security Policy Level 3 recommendation of the W3C (source
expressions) and are asserted on a real answer, not on the settings.
"""

import re

import pytest
from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.password_validation import validate_password
from django.core.checks import run_checks
from django.core.exceptions import ImproperlyConfigured, ValidationError
from django.db import DEFAULT_DB_ALIAS, connection, connections
from django.http import HttpResponse
from django.test import Client
from django.urls import path, reverse

import fleet.settings
from fleet import system_checks
from fleet.models import Operator, User
from tests.conftest import PASSWORD

pytestmark = pytest.mark.django_db

# Three plain pages, so that the middleware is looked at without any page of ours.
urlpatterns = [
    path("plain/", lambda request: HttpResponse("x")),
    path("kept/", lambda request: HttpResponse("x", headers={"Cache-Control": "max-age=60"})),
    path("open/", login_not_required(lambda request: HttpResponse("x"))),
    path("login/", login_not_required(lambda request: HttpResponse("x")), name="login"),
]


def test_policy_is_strict_on_every_kind_of_answer(client: Client, client_of, auditor: User) -> None:
    for answer in (
        client.get(reverse("login")),
        client.get("/no-such-page/"),
        client.get(reverse("health")),
        client_of(auditor).get("/admin/"),
        client.post(reverse("health"), b"", content_type="x", CONTENT_LENGTH="999999999"),
    ):
        policy = answer["Content-Security-Policy"]
        assert "unsafe" not in policy and "*" not in policy and "data:" not in policy
        parts = dict(part.strip().split(" ", 1) for part in policy.split(";") if part.strip())
        assert parts["default-src"] == "'none'" and parts["script-src"] == "'self'"
        assert parts["style-src"] == "'self'" and parts["frame-ancestors"] == "'none'"
        assert parts["base-uri"] == "'none'" and parts["form-action"] == "'self'"


def test_other_headers(client: Client) -> None:
    answer = client.get(reverse("login"))
    assert answer["X-Frame-Options"] == "DENY"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Referrer-Policy"] == "same-origin"
    assert answer["Cross-Origin-Opener-Policy"] == "same-origin"


def test_log_in_page_holds_nothing_inline(client: Client) -> None:
    page = client.get(reverse("login")).content.decode()
    assert not re.search(r"<style|\sstyle=|\son[a-z]+=|javascript:", page)
    assert all("src=" in tag for tag in re.findall(r"<script[^>]*>", page))


def test_session_lasts_a_shift_and_is_closed_to_scripts(client: Client, auditor: User) -> None:
    client.post(reverse("login"), {"username": "auditor-1", "password": PASSWORD})
    cookie = client.cookies[settings.SESSION_COOKIE_NAME]
    assert cookie["httponly"] and cookie["samesite"] == "Lax"
    assert int(cookie["max-age"]) == 12 * 3600


@pytest.mark.urls("tests.fleet.test_security")
def test_private_pages_are_not_kept_and_closed_by_default(client: Client, client_of, auditor: User) -> None:
    assert client.get("/plain/").status_code == 302
    assert client_of(auditor).get("/plain/")["Cache-Control"] == "no-store, private"
    assert client_of(auditor).get("/kept/")["Cache-Control"] == "max-age=60"
    assert not client.get("/open/").has_header("Cache-Control")


def test_forged_form_is_refused(technician: User) -> None:
    client = Client(enforce_csrf_checks=True)
    answer = client.post(reverse("login"), {"username": "technician-1", "password": "x"})
    assert answer.status_code == 403


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"CONTENT_LENGTH": str(fleet.settings.MAX_BODY_BYTES + 1)}, 413),
        ({"CONTENT_LENGTH": "-5"}, 400),
        ({"CONTENT_LENGTH": "x"}, 400),
        ({"CONTENT_LENGTH": "0", "HTTP_TRANSFER_ENCODING": "chunked"}, 411),
    ],
)
def test_body_too_large_or_of_unknown_length_is_refused(client: Client, headers: dict, status: int) -> None:
    answer = client.post(reverse("login"), b"", content_type="text/plain", **headers)
    assert answer.status_code == status


def test_body_within_the_limit_passes(client: Client, settings) -> None:
    settings.MAX_BODY_BYTES = 1024
    small = {"username": "nobody-1", "password": "x" * 100}
    assert client.post(reverse("login"), small).status_code == 200
    assert client.post(reverse("login"), small | {"password": "x" * 2000}).status_code == 413


def test_passwords_are_hashed_with_argon2_first_and_weak_ones_refused() -> None:
    # RFC 9106 recommends Argon2id; OWASP ASVS 5.0 (6.2.1, 6.2.4) asks for length and known-password checks.
    assert fleet.settings.PASSWORD_HASHERS[0].endswith("Argon2PasswordHasher")
    with pytest.raises(ValidationError):
        validate_password("short-one")
    with pytest.raises(ValidationError):
        validate_password("123456789012345")
    validate_password("four plain words here")


def test_argon2_is_really_what_is_stored(settings) -> None:
    settings.PASSWORD_HASHERS = fleet.settings.PASSWORD_HASHERS
    person = User(username="technician-9")
    person.set_password("four plain words here")
    assert person.password.startswith("argon2$argon2id$")
    assert person.check_password("four plain words here") and not person.check_password("four")


def ids(found: list) -> list[str]:
    return [message.id for message in found]


def test_the_database_in_use_is_found_safe() -> None:
    assert system_checks.durable_database(databases=[DEFAULT_DB_ALIAS]) == []
    assert system_checks.durable_database(databases=None) == []
    system_checks.refuse_unsafe_start()


@pytest.mark.only_sqlite
@pytest.mark.parametrize(
    ("pragma", "loose", "tried"),
    [("synchronous", "NORMAL", "FULL"), ("recursive_triggers", "OFF", "ON")],
)
@pytest.mark.django_db(transaction=True)
def test_sqlite_without_the_tried_pragmas_is_refused(pragma: str, loose: str, tried: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"PRAGMA {pragma} = {loose}")
        try:
            found = system_checks.durable_database(databases=[DEFAULT_DB_ALIAS])
            assert ids(found) == ["fleet.E002"] and pragma in found[0].msg
            with pytest.raises(ImproperlyConfigured, match="does not start"):
                system_checks.refuse_unsafe_start()
        finally:
            cursor.execute(f"PRAGMA {pragma} = {tried}")


@pytest.mark.only_sqlite
def test_sqlite_with_deferred_transactions_is_refused(monkeypatch) -> None:
    monkeypatch.setitem(connection.settings_dict, "OPTIONS", {"transaction_mode": "DEFERRED"})
    found = system_checks.durable_database(databases=[DEFAULT_DB_ALIAS])
    assert ids(found) == ["fleet.E002"] and "transaction_mode" in found[0].msg


@pytest.fixture
def postgres_connection(postgres_url: str):
    """A connection of its own to the server, whichever engine the suite runs on."""
    import dj_database_url
    from django.db.utils import ConnectionHandler

    handler = ConnectionHandler({DEFAULT_DB_ALIAS: dj_database_url.parse(postgres_url)})
    yield handler[DEFAULT_DB_ALIAS]
    handler[DEFAULT_DB_ALIAS].close()


@pytest.mark.postgres
def test_postgresql_is_safe_as_installed_and_refused_without_synchronous_commit(
    postgres_connection,
) -> None:
    assert system_checks.postgresql_findings(postgres_connection) == []
    for value in ("off", "local"):
        with postgres_connection.cursor() as cursor:
            cursor.execute(f"SET synchronous_commit = {value}")
        found = system_checks.postgresql_findings(postgres_connection)
        assert ids(found) == ["fleet.E001"] and value in found[0].msg


class Answers:
    """A stand-in for a server whose fsync cannot be switched off for one test alone."""

    vendor = "postgresql"

    def __init__(self, rows: dict[str, str]) -> None:
        self.rows = rows

    def cursor(self) -> "Answers":
        return self

    __enter__ = cursor

    def __exit__(self, *_error: object) -> None: ...

    def execute(self, _sql: str, _names: list) -> None: ...

    def fetchall(self) -> list[tuple[str, str]]:
        return list(self.rows.items())


@pytest.mark.parametrize("off", ["fsync", "full_page_writes", "synchronous_commit"])
def test_postgresql_that_would_lose_records_is_refused(off: str) -> None:
    safe = {"fsync": "on", "full_page_writes": "on", "synchronous_commit": "on"}
    assert system_checks.postgresql_findings(Answers(safe)) == []
    found = system_checks.postgresql_findings(Answers(safe | {off: "off"}))
    assert ids(found) == ["fleet.E001"] and off in found[0].msg


def test_demo_in_production_is_refused(settings) -> None:
    settings.DEMO, settings.PRODUCTION = True, False
    assert "fleet.E003" not in ids(run_checks())
    settings.PRODUCTION = True
    assert "fleet.E003" in ids(run_checks())
    settings.DEMO = False
    assert "fleet.E003" not in ids(run_checks())


def test_banner_follows_the_operator(client: Client) -> None:
    words = "invented. Not for use on any aircraft"
    assert words not in client.get(reverse("login")).content.decode()
    Operator.objects.create(name="Test operator", is_demo=True)
    assert words in client.get(reverse("login")).content.decode()


def test_no_request_holds_a_transaction() -> None:
    assert not any(c.settings_dict.get("ATOMIC_REQUESTS") for c in connections.all())
