"""The fixed cast, the engines and the one switch that forbids skipping."""

import datetime as dt
import os
from collections.abc import Callable, Iterator
from contextlib import ExitStack

import pytest
from django.conf import settings
from django.contrib.auth.models import Group, Permission
from django.core.cache import cache
from django.db import connections
from django.test import Client, TransactionTestCase

from fleet import guards
from fleet.models import Authorisation, User
from tests.guards import guards_lifted

NO_SKIPS = os.environ.get("WEEPWATCH_NO_SKIPS") == "1"
PASSWORD = "a phrase for tests only"

# Person of the cast -> (role, which is the name of the group, and what is authorised on file).
CAST: dict[str, tuple[str | None, tuple[str, ...]]] = {
    "technician": ("technician", ("perform",)),
    "inspector": ("inspector", ("perform", "inspect")),
    "releaser": ("authorised releaser", ("perform", "release")),
    "controller": ("maintenance controller", ()),
    "director": ("director of maintenance", ()),
    "auditor": ("auditor", ()),
    "outsider": (None, ()),
}


def pytest_configure(config: pytest.Config) -> None:
    # Argon2 is slow on purpose; tests/fleet/test_security.py reads the real list from fleet.settings.
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out (not skip) what has no meaning on the engine in use.

    On PostgreSQL also what asks no database: the same test has run beside SQLite.
    """
    postgresql = settings.DATABASES["default"]["ENGINE"].endswith("postgresql")
    other = "only_sqlite" if postgresql else "only_postgresql"
    left_out = [i for i in items if i.get_closest_marker(other) or (postgresql and not _asks_a_database(i))]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        gone = set(left_out)
        items[:] = [item for item in items if item not in gone]


def _asks_a_database(item: pytest.Item) -> bool:
    marked = item.get_closest_marker("django_db") or item.get_closest_marker("postgres")
    return bool(marked) or not {"db", "transactional_db"}.isdisjoint(getattr(item, "fixturenames", ()))


def _forbid_skip(report: pytest.TestReport | pytest.CollectReport) -> None:
    if NO_SKIPS and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped although WEEPWATCH_NO_SKIPS is set: {report.longrepr}"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo):
    report = yield
    _forbid_skip(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(collector: pytest.Collector):
    report = yield
    _forbid_skip(report)
    return report


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings_parallel_suffix: None, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """On SQLite the test database is a file of its own for each run: the live server's threads need
    connections of their own, and two runs in one checkout must not meet."""
    for connection in connections.all():
        if connection.vendor == "sqlite":
            name = tmp_path_factory.mktemp("database") / "test.sqlite3"
            connection.settings_dict["TEST"]["NAME"] = str(name)


@pytest.fixture(scope="session")
def standing_roles(django_db_setup: None, django_db_blocker) -> dict[str, set[str]]:
    """The groups that the migrations made, with their permissions as app_label.codename."""
    roles: dict[str, set[str]] = {}
    with django_db_blocker.unblock():
        for group in Group.objects.prefetch_related("permissions__content_type"):
            roles[group.name] = {f"{p.content_type.app_label}.{p.codename}" for p in group.permissions.all()}
    return roles


def _restore(roles: dict[str, set[str]]) -> None:
    """Emptying made the permissions anew, under other ids."""
    known = {
        f"{permission.content_type.app_label}.{permission.codename}": permission
        for permission in Permission.objects.select_related("content_type")
    }
    for name, permissions in roles.items():
        group, _ = Group.objects.get_or_create(name=name)
        group.permissions.set([known[permission] for permission in permissions])


@pytest.fixture(autouse=True)
def _database_emptied_afterwards(request: pytest.FixtureRequest) -> Iterator[None]:
    """For tests that commit: the roles are back at their start, and the guards of signed records let go
    at their end, so that Django can empty the tables. This is the one bypass there is; the guards return
    with the signal that Django sends after emptying."""
    marker = request.node.get_closest_marker("django_db")
    asked = {"transactional_db", "live_server", "django_db_reset_sequences"} & set(request.fixturenames)
    if not asked and not (marker and marker.kwargs.get("transaction")):
        yield
        return
    roles = request.getfixturevalue("standing_roles")
    request.getfixturevalue("transactional_db")
    _restore(roles)
    yield
    for connection in connections.all():
        guards.remove(connection, guards.all_declared())


@pytest.fixture(scope="session")
def postgres_url() -> str:
    """A server on which tests may make and drop databases, whichever engine the suite runs on."""
    url = os.environ.get("WEEPWATCH_TEST_POSTGRES", "")
    if not url:
        pytest.skip("no PostgreSQL server: WEEPWATCH_TEST_POSTGRES is not set")
    return url


def make_person(name: str, role: str | None, acts: tuple[str, ...] = ()) -> User:
    """A person of the role with an authorisation without end for each act."""
    user = User.objects.create_user(
        name,
        password=PASSWORD,
        first_name=name.split("-")[0].capitalize(),
        last_name=name.split("-")[-1],
        certificate_number=f"T-{name}" if acts else "",
        certificate_kind="Test certificate" if acts else "",
    )
    if role:
        user.groups.add(Group.objects.get_or_create(name=role)[0])
    for act in acts:
        Authorisation.objects.create(user=user, act=act, reference="T-1", valid_from=dt.date(2020, 1, 1))
    return user


@pytest.fixture(autouse=True, scope="session")
def _tear_down_passes_the_guards() -> Iterator[None]:
    """A transactional test ends by emptying every table, which the guards would rightly refuse."""
    flush = TransactionTestCase._fixture_teardown

    def empty_tables(case: TransactionTestCase) -> None:
        with ExitStack() as stack:
            for alias in case._databases_names(include_mirrors=False):
                stack.enter_context(guards_lifted(connections[alias]))
            flush(case)

    TransactionTestCase._fixture_teardown = empty_tables
    yield
    TransactionTestCase._fixture_teardown = flush


def _member(name: str) -> Callable[..., User]:
    role, acts = CAST[name]

    @pytest.fixture(name=name)
    def member(db: None) -> User:
        return make_person(f"{name}-1", role, acts)

    member.__doc__ = f"{name}-1: {role or 'no role at all'}; authorised to {', '.join(acts) or 'nothing'}."
    return member


technician = _member("technician")
inspector = _member("inspector")
releaser = _member("releaser")
controller = _member("controller")
director = _member("director")
auditor = _member("auditor")
outsider = _member("outsider")


@pytest.fixture
def client_of() -> Callable[[User], Client]:
    """A browser in which the given person is logged in."""

    def log_in(user: User) -> Client:
        client = Client()
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        return client

    return log_in


@pytest.fixture(autouse=True)
def _cache_apart() -> Iterator[None]:
    """Wrong passwords of one test are no tries of the next, whose people have the same numbers."""
    cache.clear()
    yield


@pytest.fixture(autouse=True)
def _files_apart(settings, tmp_path) -> Iterator[None]:
    """Uploads and mail of a test never land in the checkout."""
    settings.MEDIA_ROOT = tmp_path / "media"
    settings.EMAIL_FILE_PATH = tmp_path / "mail"
    yield
