"""A person changes the own password, within bounds."""

import datetime as dt

import pytest
import time_machine
from django.contrib.auth import get_user
from django.urls import reverse

from checks.services.errors import RecordError
from checks.services.persons import prove
from fleet.models import User
from tests.conftest import PASSWORD

pytestmark = pytest.mark.django_db
NEW = "nine quiet herons wade"
NOW = dt.datetime(2027, 3, 1, 9, 0, tzinfo=dt.UTC)


def posted(client, old: str, new: str = NEW, again: str = ""):
    data = {"old_password": old, "new_password1": new, "new_password2": again or new}
    return client.post(reverse("own_password"), data)


def test_every_person_finds_it_and_stays_logged_in(client_of, outsider: User) -> None:
    client, elsewhere = client_of(outsider), client_of(outsider)
    assert f'href="{reverse("own_password")}"' in client.get("/").content.decode()
    answer = posted(client, PASSWORD)
    assert answer.status_code == 302 and answer["Location"] == "/"
    outsider.refresh_from_db()
    assert outsider.check_password(NEW) and get_user(client).is_authenticated
    assert not get_user(elsewhere).is_authenticated, "other places are logged out"


@pytest.mark.parametrize(
    ("new", "again", "words"),
    [
        ("short", "", "at least 12 characters"),
        ("123456789012345", "", "entirely numeric"),
        (NEW, "another one entirely", "match"),
        ("technician-1x", "", "too similar"),
        ("", "", "required"),
    ],
)
def test_a_new_one_that_will_not_do_changes_nothing(client_of, technician, new, again, words) -> None:
    answer = posted(client_of(technician), PASSWORD, new, again)
    assert answer.status_code == 422 and words in answer.content.decode()
    technician.refresh_from_db()
    assert technician.check_password(PASSWORD)


def test_wrong_tries_are_bounded_and_count_for_signing_too(client_of, technician: User) -> None:
    with time_machine.travel(NOW, tick=False) as clock:
        client = client_of(technician)
        for _ in range(5):
            assert "This is not your password" in posted(client, "guess").content.decode()
        assert "wait 5 minutes" in posted(client, PASSWORD).content.decode()
        with pytest.raises(RecordError, match="closed for 5 minutes"):
            prove(technician, PASSWORD)
        clock.shift(301)
        assert posted(client, PASSWORD).status_code == 302


def test_the_set_up_pages_lead_to_it(client_of, director: User) -> None:
    answer = client_of(director).get(reverse("admin:password_change"))
    assert answer.status_code == 302 and answer["Location"] == reverse("own_password")
