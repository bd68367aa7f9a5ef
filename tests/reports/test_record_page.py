"""The address of a record on paper: a file with a fair name, a refusal with words for a draft."""

from collections.abc import Callable

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from tests.checks.work import started
from tests.reports import record_cases as cases
from tests.world import World


@pytest.fixture
def browse(auditor, client_of: Callable[..., Client]) -> Client:
    return client_of(auditor)


def address(key: object) -> str:
    return reverse("reports:record_pdf", args=[key])


def test_it_is_a_file_named_after_the_record(world: World, browse: Client) -> None:
    event = cases.within(world)
    answer = browse.get(address(event.pk))
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    name = "Q-0000-00001-pressure-flow-2025-03-12.pdf"
    assert answer["Content-Disposition"] == f'attachment; filename="{name}"'
    assert answer.content.startswith(b"%PDF-")


def test_the_page_of_the_check_leads_to_it(world: World, browse: Client) -> None:
    event = cases.within(world)
    assert address(event.pk) in browse.get(reverse("checks:check", args=[event.pk])).content.decode()


def test_a_draft_is_refused_with_words_and_the_way_to_it(world: World, browse: Client) -> None:
    draft = started(world, world.forward)
    answer = browse.get(address(draft.pk))
    page = answer.content.decode()
    assert answer.status_code == 404 and "A draft is no record" in page
    assert reverse("checks:check", args=[draft.pk]) in page


def test_nothing_is_at_another_key(world: World, browse: Client) -> None:
    assert browse.get(address("00000000-0000-4000-8000-000000000000")).status_code == 404


def test_strangers_and_other_methods(
    world: World, outsider, browse: Client, client_of: Callable[..., Client]
) -> None:
    where = address(cases.over(world).pk)
    assert Client().get(where).status_code == 302
    assert client_of(outsider).get(where).status_code == 403
    assert browse.post(where).status_code == 405


def test_records_of_every_kind_open_as_page_and_paper(
    world: World, browse: Client, clock: time_machine.Traveller
) -> None:
    """One from paper has no times of reading; its page and its sheet must still open."""
    for event in (cases.imported(world), *cases.corrected(world, clock), cases.inspected(world)):
        assert browse.get(reverse("checks:check", args=[event.pk])).status_code == 200
        assert browse.get(address(event.pk)).status_code == 200
