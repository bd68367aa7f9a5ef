"""The log-ins of the demo, so that the log-in page can show them. Kept by the demo, never in production."""

import json
import os

from django.conf import settings

from fleet.models import Operator

FILE = "demo-logins.json"


def keep(logins: list[dict[str, str]]) -> None:
    """Write the log-ins (dicts of role, username, password) into the local folder, for this user alone.

    RuntimeError in a production environment.
    """
    if settings.PRODUCTION:
        raise RuntimeError("a production environment keeps no log-ins of a demo")
    settings.LOCAL_DIR.mkdir(mode=0o700, parents=True, exist_ok=True)
    path = settings.LOCAL_DIR / FILE
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as handle:
        json.dump(logins, handle)


def kept() -> list[dict[str, str]]:
    """The log-ins to show: none in production, none where the records are not the demo's. One query."""
    path = settings.LOCAL_DIR / FILE
    if settings.PRODUCTION or not path.is_file() or not Operator.objects.filter(is_demo=True).exists():
        return []
    try:
        logins = json.loads(path.read_text())
    except ValueError:
        return []
    return [login for login in logins if {"role", "username", "password"} <= login.keys()]
