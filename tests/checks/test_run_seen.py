"""What the page of a draft stands on is noted before the draft is read, so that a race loses nothing."""

import html
import json
import re

import pytest

from checks.models import CheckEvent
from checks.services.copies import revision_of
from checks.views import check_edit
from tests.checks.check_pages import address, logged_in, world_at_noon
from tests.checks.test_run_send import OTHER_PHONE, send, sending
from tests.checks.work import started
from tests.world import World

pytestmark = pytest.mark.django_db
world = pytest.fixture(world_at_noon)


def test_what_is_sent_while_the_page_is_made_is_asked_about_not_overwritten(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    draft = started(world, world.forward)
    other = sending(world, draft, device=OTHER_PHONE)
    judge, phone = check_edit.evaluate, logged_in(world, "technician1")

    def meanwhile(event: CheckEvent) -> object:
        """The page has its text; now another phone's arrives."""
        monkeypatch.setattr(check_edit, "evaluate", judge)
        assert send(phone, draft, other)[0] == 200
        return judge(event)

    monkeypatch.setattr(check_edit, "evaluate", meanwhile)
    answer = logged_in(world, "technician1").get(address(draft))
    page = answer.content.decode()
    known = json.loads(html.unescape(re.search(r'data-run="([^"]+)"', page)[1]))
    assert draft.readings.exists() and known["base"] != revision_of(draft)
    older = {name: value for name, value in answer.context["form"].text.items() if value}
    status, said = send(phone, draft, sending(world, draft, base=known["base"], text=older))
    assert (status, said["state"]) == (409, "conflict") and draft.readings.exists()
