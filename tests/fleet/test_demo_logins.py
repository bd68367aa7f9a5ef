"""The demo's log-ins on the log-in page: only where a demo is, never in production."""

import stat

import pytest
from django.test import Client

from fleet import demo_logins
from fleet.models import Operator

LOGINS = [{"role": "technician", "username": "technician1", "password": "invented phrase"}]


@pytest.fixture(autouse=True)
def _folder(settings, tmp_path) -> None:
    settings.LOCAL_DIR = tmp_path / "local"


@pytest.fixture
def demo(db: None) -> None:
    Operator(name="Invented", is_demo=True).save()
    demo_logins.keep(LOGINS)


def test_a_demo_shows_its_log_ins(demo: None) -> None:
    page = Client().get("/login/").content.decode()
    assert "Demo log-ins" in page and "technician1" in page and "invented phrase" in page


def test_the_file_is_for_this_user_alone(demo: None, settings) -> None:
    mode = (settings.LOCAL_DIR / demo_logins.FILE).stat().st_mode
    assert stat.S_IMODE(mode) == 0o600


def test_real_records_show_none(demo: None) -> None:
    Operator(name="Real", is_demo=False).save()
    assert demo_logins.kept() == []
    assert "invented phrase" not in Client().get("/login/").content.decode()


def test_production_shows_and_keeps_none(demo: None, settings) -> None:
    settings.PRODUCTION = True
    assert demo_logins.kept() == []
    with pytest.raises(RuntimeError):
        demo_logins.keep(LOGINS)


@pytest.mark.parametrize("text", ["", "{", '[{"role": "x"}]'])
def test_a_spoilt_file_shows_none(demo: None, settings, text: str) -> None:
    (settings.LOCAL_DIR / demo_logins.FILE).write_text(text)
    assert demo_logins.kept() == []


def test_without_a_file_none(db: None) -> None:
    assert demo_logins.kept() == []
    assert "Demo log-ins" not in Client().get("/login/").content.decode()
