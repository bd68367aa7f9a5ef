"""The site as a web server starts it: static files served by itself, unsafe starts refused."""

import secrets
import subprocess
from pathlib import Path

import pytest
from django.test import Client

from tests.fleet.test_settings import start

PUBLIC = {"ALLOWED_HOSTS": "weepwatch.example.org"}
FETCH = """
import io, os, re, sys
from django.core.management import call_command
os.environ["DJANGO_SETTINGS_MODULE"] = "fleet.settings"
from django.conf import settings
import django; django.setup()
if settings.PRODUCTION:
    call_command("collectstatic", interactive=False, verbosity=0)
call_command("migrate", verbosity=0)
from fleet.wsgi import application

def get(path):
    seen = {}
    environ = {"REQUEST_METHOD": "GET", "PATH_INFO": path, "wsgi.url_scheme": "https"}
    environ |= {"SERVER_NAME": "x", "SERVER_PORT": "443", "HTTP_HOST": settings.ALLOWED_HOSTS[0]}
    environ["wsgi.input"] = io.BytesIO()
    body = b"".join(application(environ, lambda status, headers: seen.update(headers, status=status)))
    return seen, body

head, page = get("/login/")
print("page", head["status"], head.get("Strict-Transport-Security"))
style = re.search(rb'<link rel="stylesheet" href="([^"]+)"', page).group(1).decode()
head, body = get(style)
print("style", style, head["status"], head["Cache-Control"], head["Content-Type"], len(body) > 1000)
"""


def last_lines(done: subprocess.CompletedProcess[str]) -> list[str]:
    assert done.returncode == 0, done.stderr
    return done.stdout.strip().splitlines()[-2:]


def test_local_site_serves_style_without_collecting(tmp_path: Path) -> None:
    page, style = last_lines(start(tmp_path, FETCH))
    assert page == "page 200 OK None"
    assert style.startswith("style /static/fleet/weepwatch.css 200 OK") and style.endswith("True")


def test_production_serves_style_named_by_content_for_ever(tmp_path: Path) -> None:
    done = start(tmp_path, FETCH, SECRET_KEY=secrets.token_urlsafe(64), **PUBLIC)
    page, style = last_lines(done)
    assert page == "page 200 OK max-age=31536000; includeSubDomains; preload"
    name = style.split()[1]
    assert name.startswith("/static/fleet/weepwatch.") and len(name.split(".")[-2]) == 12
    assert "immutable" in style and "text/css" in style and style.endswith("True")


def test_server_does_not_start_with_the_demo_in_production(tmp_path: Path) -> None:
    done = start(tmp_path, "import fleet.wsgi", SECRET_KEY=secrets.token_urlsafe(64), DEMO="1", **PUBLIC)
    assert done.returncode != 0
    assert "Weepwatch does not start" in done.stderr and "fleet.E003" in done.stderr


@pytest.mark.django_db
def test_htmx_comes_from_here(client: Client) -> None:
    page = client.get("/login/").content.decode()
    assert "django_htmx/htmx" in page and "//" not in page.split("django_htmx/htmx")[0].rsplit('src="', 1)[1]
