"""manage.py demo: the invented fleet, loaded once, with where to look and who to log in as."""

import datetime as dt
import os
import socket
import sys
import time
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.utils import timezone

from checks.selectors.drift import latest_run
from checks.services.drift import refresh_drift
from checks.services.drift_card import refresh_report_card
from checks.services.due import refresh_due
from checks.services.use_season import learn_use_season
from fleet import demo_logins
from fleet.models import User
from reports.demo.history import SEED, generate
from reports.demo.state import DEMO, REAL, TRUTH_FILE, clear_demo, database_state, keep_truth

ADDRESS = "127.0.0.1:8000"
PASSWORD = "invented fleet"  # for everybody in the demo, and printed: production refuses the demo
LOG_INS = (
    ("technician1", "record and sign a check: New check"),
    ("inspector1", "second signature"),
    ("releaser1", "release, rectify, decide in writing"),
    ("controller1", "due list, utilisation, deferrals, master data"),
    ("director1", "drift ranking, reports, approvals"),
    ("auditor1", "read everything, change nothing"),
)
NOT_HERE = (
    "The demo does not load here: this is a production environment (DEBUG is off and ALLOWED_HOSTS names "
    "more than this machine), and its log-ins are printed for everyone. Use another machine, or leave "
    "ALLOWED_HOSTS unset."
)
REAL_DATA = (
    "The demo does not load here: this database holds data that are not the demo's. Nothing was changed. "
    "Name an empty database in DATABASE_URL, or a new folder in LOCAL_DIR."
)


class Command(BaseCommand):
    help = "Load the invented demo fleet once, say where to look, and serve it."
    requires_migrations_checks = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--serve",
            nargs="?",
            const=ADDRESS,
            metavar="ADDRESS:PORT",
            help=f"then serve it, by default on {ADDRESS}, until Ctrl-C",
        )
        parser.add_argument("--reset", action="store_true", help="throw the demo away and make it anew")
        parser.add_argument("--seed", type=int, default=SEED, help=f"another history (default {SEED})")
        parser.add_argument("--today", type=dt.date.fromisoformat, help="day on which the history ends")

    def handle(self, *_args: Any, **options: Any) -> None:
        if settings.PRODUCTION:
            raise CommandError(NOT_HERE)
        address = options["serve"]
        if address:
            address = _address(address)
            _refuse_taken(address)
        call_command("migrate", verbosity=0, interactive=False)
        state = database_state()
        if state == REAL:
            raise CommandError(REAL_DATA)
        if state == DEMO and options["reset"]:
            clear_demo()
        if state == DEMO and not options["reset"]:
            _go_on_with_the_days()
            self.stdout.write("The demo is loaded already; --reset makes it anew.")
        else:
            self._load(options["seed"], options["today"] or timezone.localdate())
        self._say_where(address or ADDRESS)
        if address:
            self._serve(address)

    def _load(self, seed: int, today: dt.date) -> None:
        self.stdout.write("Loading the invented fleet (about a minute) ...")
        self.stdout.flush()
        began = time.monotonic()
        truth = generate(seed=seed, today=today, password=PASSWORD)
        keep_truth(truth)
        seconds = time.monotonic() - began
        self.stdout.write(f"{truth.events} events of six years loaded in {seconds:.0f} s.")

    def _say_where(self, address: str) -> None:
        known = dict(
            User.objects.filter(is_active=True, username__in=dict(LOG_INS))
            .order_by("groups__name")
            .values_list("username", "groups__name")
        )
        demo_logins.keep(
            [
                {"role": known[name], "username": name, "password": PASSWORD}
                for name, _ in LOG_INS
                if name in known
            ]
        )
        lines = [
            "",
            f"Look at   http://{address}/",
            f"Password  {PASSWORD}   (everybody's)",
            *(f"  {name:<12} {what}" for name, what in LOG_INS if name in known),
            f"Truth     {TRUTH_FILE}   (what really drifts)",
            "Everything is invented. Not for use on any aircraft.",
            "",
        ]
        self.stdout.write("\n".join(lines))
        self.stdout.flush()

    def _serve(self, address: str) -> None:
        """Become the web server: one process with threads, style sheets and scripts served by the app."""
        command = [sys.executable, "-m", "gunicorn", "fleet.wsgi:application", "--bind", address]
        command += ["--workers", "1", "--worker-class", "gthread", "--threads", "8", "--no-control-socket"]
        command += ["--log-level", "warning"]
        self.stdout.write(f"Serving on http://{address}/ until Ctrl-C.")
        self.stdout.flush()
        connection.close()
        os.chdir(settings.BASE_DIR)
        os.execv(sys.executable, command)


def _go_on_with_the_days() -> None:
    """Season of use, due points and, once a day, drift: what runs every night where it is in earnest."""
    learn_use_season()
    refresh_due()
    run = latest_run()
    if run is None or timezone.localdate(run.run_at) < timezone.localdate():
        refresh_drift()
        refresh_report_card()


def _refuse_taken(address: str) -> None:
    """CommandError where something else answers there already: better before a minute of loading."""
    host, _, port = address.rpartition(":")
    family = socket.AF_INET6 if host.startswith("[") else socket.AF_INET
    with socket.socket(family) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host.strip("[]"), int(port)))
        except OSError as error:
            raise CommandError(
                f"{address} can't be served: {error.strerror}. Name another one: --serve 8010"
            ) from None


def _address(text: str) -> str:
    """'9000' or 'host:9000' -> 'host:port'. CommandError where it is neither."""
    host, colon, port = text.rpartition(":")
    if not port.isdecimal() or not 0 < int(port) < 65536 or (colon and not host):
        raise CommandError(f"--serve takes a port or address:port, such as 8010 or {ADDRESS}, not {text!r}.")
    return f"{host or ADDRESS.partition(':')[0]}:{port}"
