"""The digest by mail: what it says, that nothing is told twice, and what happens when a mail server fails."""

import datetime as dt
from collections.abc import Iterator

import pytest
import time_machine
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.core.management import CommandError, call_command
from django.test import override_settings

from checks.models import NoticeTold
from checks.services.defects import raise_defect
from checks.services.due import refresh_due
from checks.services.notices import choose_notices
from fleet.models import User
from tests.checks.packaging import CONCENTRATION, due_in
from tests.snapshot import once
from tests.world import TODAY, World, build_world

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _noon() -> Iterator[None]:
    with time_machine.travel(dt.datetime.combine(TODAY, dt.time(12), dt.UTC), tick=False):
        yield


@pytest.fixture
def world() -> World:
    return once(("a mail to send",), _world)


def _world() -> World:
    world = build_world()
    due_in(world, world.forward, CONCENTRATION, -20)
    refresh_due()
    raise_defect(aircraft=world.underfloor, by=world.person("technician1"), description="Drip.")
    for name in ("controller1", "director1"):
        person = world.person(name)
        person.email = f"{name}@example.invalid"
        person.save()
    return world


def choose(person: User, *kinds: str) -> None:
    choose_notices(person=person, kinds=kinds, bases=(), every_base=True)


def send(**options: str) -> None:
    call_command("send_notices", verbosity=0, **options)


def test_one_mail_with_what_was_chosen(world: World) -> None:
    choose(world.person("controller1"), "overdue", "defects")
    choose(world.person("director1"), "overdue")
    send(address="https://checks.example/")
    first, second = sorted(mail.outbox, key=lambda one: one.to)
    assert first.to == ["controller1@example.invalid"] and second.to == ["director1@example.invalid"]
    assert first.subject == "Weepwatch: overdue or in tolerance 1, new defects 1"
    assert "- Q-0000: Fluid concentration, overdue, due 20 Feb 2025" in first.body
    assert "https://checks.example/due/" in first.body and "https://checks.example/notices/" in first.body
    assert "Drip" not in second.body
    assert "DEMONSTRATION" in first.body and "an authorised person signs" in first.body


def test_what_was_told_is_not_told_again(world: World) -> None:
    choose(world.person("controller1"), "overdue", "defects")
    send()
    send()
    assert len(mail.outbox) == 1
    raise_defect(aircraft=world.forward, by=world.person("technician1"), description="Another.")
    send()
    assert len(mail.outbox) == 2 and "Another." in mail.outbox[1].body and "Drip" not in mail.outbox[1].body


def test_nobody_without_address_permission_or_choice(world: World) -> None:
    person = world.person("controller1")
    send()
    choose(person, "overdue")
    User.objects.filter(pk=person.pk).update(email="")
    send()
    User.objects.filter(pk=person.pk).update(email="a@example.invalid", is_active=False)
    send()
    assert mail.outbox == [] and not NoticeTold.objects.exists()


class Broken(EmailBackend):
    """Refuses one person's mail."""

    def send_messages(self, messages: list) -> int:
        if messages[0].to == ["controller1@example.invalid"]:
            raise OSError("password=secret")
        return super().send_messages(messages)


def test_a_mail_that_fails_is_told_next_time_and_others_are_sent(
    world: World, caplog: pytest.LogCaptureFixture
) -> None:
    choose(world.person("controller1"), "overdue")
    choose(world.person("director1"), "overdue")
    with (
        override_settings(EMAIL_BACKEND="tests.reports.test_send_notices.Broken"),
        pytest.raises(CommandError, match="1 could not be sent"),
    ):
        send()
    assert [one.to for one in mail.outbox] == [["director1@example.invalid"]]
    assert "secret" not in caplog.text and "example.invalid" not in caplog.text
    send()
    assert [one.to for one in mail.outbox][1:] == [["controller1@example.invalid"]]


def test_by_default_a_mail_is_a_file(world: World, settings) -> None:
    choose(world.person("controller1"), "overdue")
    settings.EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    send()
    from pathlib import Path

    (written,) = Path(settings.EMAIL_FILE_PATH).iterdir()
    assert "Fluid concentration" in written.read_text()


@pytest.mark.parametrize("text", ["checks.example", "ftp://checks.example", "https://", "https://a/?x=1"])
def test_an_address_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(CommandError, match="--address"):
        send(address=text)
