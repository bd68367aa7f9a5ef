"""The harness itself: what it skips, leaves out and forbids, tried on small suites of its own."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection

from fleet import guards
from tests.conftest import CAST

ROOT = Path(__file__).resolve().parents[1]
SUITE = """
import pytest

@pytest.mark.skip(reason="no such thing here")
def test_skipped(): pass

@pytest.mark.xfail(reason="known", strict=True)
def test_expected_failure(): assert False

@pytest.mark.postgres
def test_server(postgres_url): assert postgres_url.startswith("postgresql://")

@pytest.mark.only_sqlite
def test_one_engine(): pass

@pytest.mark.only_postgresql
def test_other_engine(): pass

@pytest.mark.long
def test_long(): assert False
"""


def run(folder: Path, **variables: str) -> str:
    """The summary line of a run of SUITE with our conftest and configuration."""
    (folder / "test_small.py").write_text(SUITE)
    (folder / "conftest.py").write_text("from tests.conftest import *\n")
    environment = {k: v for k, v in os.environ.items() if not k.startswith(("WEEPWATCH_", "PYTEST_"))}
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider"]
    done = subprocess.run(
        [*command, "-c", str(ROOT / ".pytest.ini"), "--rootdir", str(folder), str(folder / "test_small.py")],
        cwd=ROOT,
        env=environment | variables,
        capture_output=True,
        text=True,
    )
    assert done.stdout, done.stderr
    return f"{done.stdout.strip().splitlines()[-1]} (ended with {done.returncode})"


def test_without_server_and_switch_things_are_skipped(tmp_path: Path) -> None:
    summary = run(tmp_path)
    assert "1 passed, 2 skipped, 2 deselected, 1 xfailed" in summary and "ended with 0" in summary


def test_the_switch_turns_skips_into_failures(tmp_path: Path) -> None:
    summary = run(tmp_path, WEEPWATCH_NO_SKIPS="1")
    assert "1 passed, 2 deselected, 1 xfailed, 2 errors" in summary
    assert "skipped" not in summary and "ended with 1" in summary


def test_a_named_server_is_used(tmp_path: Path) -> None:
    summary = run(tmp_path, WEEPWATCH_TEST_POSTGRES="postgresql://nobody@127.0.0.1:1/none")
    assert "2 passed, 1 skipped" in summary


@pytest.mark.only_sqlite
@pytest.mark.django_db
def test_sqlite_suite_runs_on_a_file_of_its_own() -> None:
    name = str(connection.settings_dict["NAME"])
    assert "memory" not in name and not name.startswith(str(ROOT))


@pytest.mark.django_db
@pytest.mark.parametrize("name", CAST)
def test_the_cast_belongs_to_the_roles_that_the_migration_made(name: str, request, django_user_model) -> None:
    person = request.getfixturevalue(name)
    groups = [group.name for group in person.groups.all()]
    assert groups == ([CAST[name][0]] if CAST[name][0] else [])
    assert bool(person.get_all_permissions()) == (name != "outsider")
    assert person.authorisations.count() == len(CAST[name][1])


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("turn", ["before a flush", "after it"])
def test_roles_and_guards_return_after_the_tables_were_emptied(turn: str, controller) -> None:
    assert controller.has_perm("fleet.add_utilisationentry") and not controller.has_perm("fleet.add_user")
    assert guards.missing_guards(connection) == []
    assert len(guards.all_declared()) > 0


def test_files_of_tests_land_outside_the_checkout() -> None:
    assert not Path(settings.MEDIA_ROOT).is_relative_to(ROOT)
