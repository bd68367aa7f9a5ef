"""Questions about implausible readings on pages without JavaScript, on the record page and on paper."""

import re
from collections.abc import Iterator
from dataclasses import replace

import pytest
from django.test import Client

from checks.models import CheckEvent
from checks.services.inputs import RepeatInput
from checks.services.record import save_draft
from tests.checks.check_pages import address, logged_in, posted, series_step, world_at_noon
from tests.checks.test_questions import HIGH, USUAL, ask_of
from tests.checks.work import started, typed
from tests.reports.record_cases import flat, reader
from tests.world import World

pytestmark = pytest.mark.django_db
HOSTILE = "<b>twice</b> & again"


@pytest.fixture
def world() -> Iterator[World]:
    for made in world_at_noon():
        ask_of(made)
        yield made


@pytest.fixture
def event(world: World) -> CheckEvent:
    return started(world, world.forward)


@pytest.fixture
def client(world: World) -> Client:
    return logged_in(world, "technician1")


def save(client: Client, event: CheckEvent, do: str = "save", **more: str) -> str:
    answer = client.post(address(event), posted(event, typed(event, series=HIGH)) | {"do": do} | more)
    return (
        client.get(address(event)).content.decode() if answer.status_code == 302 else answer.content.decode()
    )


def block(page: str, step: int) -> str:
    """The opening tag of the question at a step."""
    return re.search(rf'<div class="asked[^>]*data-asks="{step}"[^>]*>', page)[0]


def test_the_form_says_what_was_expected_and_asks(client: Client, event: CheckEvent) -> None:
    step = series_step(event)
    page = save(client, event)
    assert "hidden" not in block(page, step.pk) and 'class="asked open"' in block(page, step.pk)
    assert "kPa at 20 °C on this aircraft; read 131" in page and "Read it again" in page
    assert f'href="#first-{step.pk}-reason"' in page  # among what bars signing
    sign = client.get(address(event, "sign")).content.decode()
    assert "on this aircraft; read 131. Read it again, or say why it stands as read." in sign


def test_where_nothing_is_asked_nothing_is_shown(client: Client, event: CheckEvent) -> None:
    client.post(address(event), posted(event, typed(event, series=USUAL)))
    page = client.get(address(event)).content.decode()
    assert "hidden" in block(page, series_step(event).pk) and "Read first: <span></span>" in page


def test_read_again_moves_the_readings_and_empties_the_boxes(client: Client, event: CheckEvent) -> None:
    step = series_step(event)
    page = save(client, event, do=f"again-{step.pk}")
    first = "1:00 110; 2:00 131; 3:00 131; 4:00 131"
    assert f'name="first-{step.pk}-read" value="{first}"' in page
    assert "Read first: <span>1:00 110, 2:00 131, 3:00 131, 4:00 131 kPa</span>" in page
    assert event.first_readings.count() == 4 and not event.readings.filter(step=step).exists()
    again = posted(event, typed(event, series=USUAL)) | {f"first-{step.pk}-read": first}
    assert client.post(address(event), again | {"do": "sign"}).url == address(event, "sign")
    assert event.first_readings.count() == 4 and event.readings.filter(step=step).count() == 4


@pytest.mark.parametrize("do", ["again-0", "again-x", "again-999999"])
def test_a_step_that_nobody_can_be_asked_about_moves_nothing(
    client: Client, event: CheckEvent, do: str
) -> None:
    save(client, event, do=do)
    assert not event.first_readings.exists() and event.readings.filter(role="series").count() == 4


def test_a_reason_ends_the_question(client: Client, event: CheckEvent) -> None:
    step = series_step(event)
    page = save(client, event, **{f"first-{step.pk}-reason": HOSTILE})
    assert 'class="asked"' in block(page, step.pk) and "&lt;b&gt;twice&lt;/b&gt; &amp; again" in page
    assert "Before it can be signed" not in page


def test_record_page_and_paper_tell_question_and_answer(
    client: Client, event: CheckEvent, world: World
) -> None:
    given = replace(
        typed(event, series=USUAL),
        repeats=(RepeatInput(series_step(event).pk, "2:00 131; 3:00 131", "kPa", reason=HOSTILE),),
    )
    save_draft(event=event, by=world.person("technician1"), given=given)
    client.post(address(event, "sign"), {"password": "a phrase for tests only"})
    page = client.get(address(event)).content.decode()
    told = re.search(r'aria-labelledby="asked-about">.*?</section>', page, re.S)[0]
    assert "read 131. Read again; first read 2:00 131, 3:00 131 kPa. Reason: &lt;b&gt;twice" in told
    paper = flat("\n".join(sheet.extract_text() for sheet in reader(event).pages))
    assert "Asked about before signing" in paper and "on this aircraft; read 131" in paper
    assert "first read 2:00 131, 3:00 131 kPa. Reason: <b>twice</b> & again" in paper


def test_a_record_without_a_question_says_nothing_of_it(client: Client, event: CheckEvent) -> None:
    client.post(address(event), posted(event, typed(event, series=USUAL)))
    client.post(address(event, "sign"), {"password": "a phrase for tests only"})
    assert "Asked about before signing" not in client.get(address(event)).content.decode()
