"""manage.py demo: loads once, resets only what is its own, and refuses real data and production."""

import datetime as dt
import io
import os
import secrets
import socket
import subprocess
import sys
import time
from pathlib import Path
from urllib.request import urlopen

import pytest
import time_machine
from django.core.management import CommandError, call_command
from django.test import Client

from checks.models import DriftRun, DuePoint
from checks.selectors.drift import latest_run
from fleet import system_checks
from fleet.models import Operator, User
from reports.demo.master import load_master
from reports.demo.plan import Truth
from reports.demo.state import DEMO, EMPTY, REAL, clear_demo, database_state
from reports.management.commands import demo
from tests.fleet.test_settings import ROOT, start
from tests.world import TODAY

PUBLIC = {"ALLOWED_HOSTS": "weepwatch.example.org", "SECRET_KEY": secrets.token_urlsafe(64)}
COMMAND = """
import os
os.environ["DJANGO_SETTINGS_MODULE"] = "fleet.settings"
import django; django.setup()
from django.core.management import call_command
"""


@pytest.fixture
def light(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[dict]:
    """The command with a load of master data alone: six years take too long for each of these tests."""
    calls: list[dict] = []

    def generate(*, seed: int, today: dt.date, password: str) -> Truth:
        calls.append({"seed": seed, "today": today})
        load_master(today=today, password=password)
        return Truth(seed, today)

    monkeypatch.setattr(demo, "generate", generate)
    monkeypatch.setattr("reports.demo.state.TRUTH_FILE", tmp_path / "demo-truth.json")
    return calls


def run(*words: str) -> str:
    out = io.StringIO()
    call_command("demo", *words, stdout=out)
    return out.getvalue()


@pytest.mark.django_db
def test_loads_once_and_says_where_to_look(light, tmp_path):
    told = run("--today", "2025-03-12", "--seed", "5")
    assert light == [{"seed": 5, "today": TODAY}]
    assert "http://127.0.0.1:8000/" in told and "invented fleet" in told
    for name in ("technician1", "inspector1", "releaser1", "controller1", "director1", "auditor1"):
        assert name in told
    assert (tmp_path / "demo-truth.json").read_text().startswith("{")
    assert "loaded already" in run()
    assert len(light) == 1


@pytest.mark.django_db
def test_a_demo_of_an_earlier_day_is_brought_up_to_today(light):
    with time_machine.travel(dt.datetime(2027, 3, 1, 9, tzinfo=dt.UTC), tick=False) as clock:
        run()
        assert not DriftRun.objects.exists()
        run()
        run()
        assert DriftRun.objects.count() == 1, "once a day"
        clock.shift(dt.timedelta(days=1))
        run()
        assert DriftRun.objects.count() == 2 and latest_run().run_at.day == 2
        assert {point.computed_at.day for point in DuePoint.objects.all()} <= {2}


@pytest.mark.django_db
def test_the_printed_log_ins_work(light):
    run()
    for name, _ in demo.LOG_INS:
        answer = Client().post("/login/", {"username": name, "password": demo.PASSWORD})
        assert answer.status_code == 302, name


@pytest.mark.django_db
@pytest.mark.parametrize("words", [(), ("--reset",)])
def test_real_data_are_left_alone(light, words):
    Operator.objects.create(name="An operator")
    with pytest.raises(CommandError, match="data that are not the demo's"):
        run(*words)
    assert light == [] and Operator.objects.get().name == "An operator"


@pytest.mark.django_db
def test_one_account_is_real_data(light):
    User.objects.create_user("somebody")
    assert database_state() == REAL
    with pytest.raises(CommandError, match="Nothing was changed"):
        run("--reset")
    assert User.objects.count() == 1


@pytest.mark.django_db
def test_only_the_demos_own_database_is_cleared(settings):
    with pytest.raises(RuntimeError):
        clear_demo()
    load_master(today=TODAY)
    assert database_state() == DEMO
    settings.PRODUCTION = True
    with pytest.raises(RuntimeError):
        clear_demo()
    assert Operator.objects.get().is_demo


@pytest.mark.django_db
def test_production_is_refused_before_anything_is_touched(settings, light):
    settings.PRODUCTION = True
    with pytest.raises(CommandError, match="production environment"):
        run("--reset")
    assert database_state() == EMPTY and light == []


def test_production_is_refused_by_the_environment_alone(tmp_path):
    done = start(tmp_path, COMMAND + 'call_command("demo")', **PUBLIC)
    assert done.returncode != 0 and "production environment" in done.stderr
    assert not (tmp_path / "weepwatch.sqlite3").exists()


@pytest.mark.django_db
def test_a_site_that_others_reach_does_not_start_on_demo_data(settings):
    load_master(today=TODAY)
    assert system_checks.no_demo_data_in_production(databases=["default"]) == []
    settings.PRODUCTION = True
    found = system_checks.no_demo_data_in_production(databases=["default"])
    assert [message.id for message in found] == ["fleet.E005"]
    Operator.objects.update(is_demo=False)
    assert system_checks.no_demo_data_in_production(databases=["default"]) == []


CLEARED = (
    COMMAND
    + """
import datetime as dt
from django.db import connection
from checks.models import Record
from fleet.guards import missing_guards
from fleet.models import User
from reports.demo.master import load_master
from reports.demo.state import clear_demo, database_state
call_command("migrate", verbosity=0)
for _ in range(2):
    load_master(today=dt.date(2025, 3, 12))
    print(database_state(), Record.objects.count() > 10)
    clear_demo()
    print(database_state(), User.objects.count(), missing_guards(connection))
"""
)


def test_reset_empties_signed_records_too_and_puts_the_guards_back(tmp_path):
    done = start(tmp_path, CLEARED)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == ["demo True", "empty 0 []"] * 2


@pytest.mark.parametrize(
    ("text", "address"),
    [("8010", "127.0.0.1:8010"), ("0.0.0.0:9000", "0.0.0.0:9000"), ("[::1]:8000", "[::1]:8000")],
)
def test_addresses_to_serve_on(text, address):
    assert demo._address(text) == address


@pytest.mark.parametrize("text", ["", "here", "host:", ":8000", "70000", "127.0.0.1"])
def test_addresses_that_make_no_sense(text):
    with pytest.raises(CommandError, match="--serve takes a port"):
        demo._address(text)


def test_a_taken_address_is_refused_before_loading(light):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(CommandError, match="Name another one"):
            run("--serve", str(port))
    assert light == []


SERVED = (
    COMMAND
    + """
import datetime as dt, sys
from reports.management.commands import demo
from reports.demo.master import load_master
from reports.demo.plan import Truth
demo.generate = lambda *, seed, today, password: load_master(today=today) and Truth(seed, today)
call_command("demo", "--serve", sys.argv[1])
"""
)


def test_serves_pages_and_styles_until_it_is_ended(tmp_path):
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    variables = {"PATH": os.environ["PATH"], "PYTHONPATH": str(ROOT), "LOCAL_DIR": str(tmp_path)}
    command = [sys.executable, "-c", SERVED, str(port)]
    with subprocess.Popen(command, env=variables, cwd=tmp_path, stdout=subprocess.PIPE) as server:
        try:
            page = fetched(f"http://127.0.0.1:{port}/login/")
            style = fetched(f"http://127.0.0.1:{port}/static/fleet/weepwatch.css")
        finally:
            server.terminate()
            told = server.stdout.read().decode()
    assert "invented" in page and len(style) > 1000
    assert f"Look at   http://127.0.0.1:{port}/" in told
    with pytest.raises(OSError):
        fetched(f"http://127.0.0.1:{port}/login/", patience=0)


def fetched(address: str, patience: float = 60) -> str:
    """The page, asked for again until somebody answers."""
    until = time.monotonic() + patience
    while True:
        try:
            with urlopen(address, timeout=10) as answer:
                return answer.read().decode()
        except OSError:
            if time.monotonic() >= until:
                raise
            time.sleep(0.3)
