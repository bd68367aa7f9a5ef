"""Areas marked on a panel: kept in the remark, signed with it, drawn wherever the look is shown."""

from collections.abc import Iterator
from dataclasses import replace

import pytest

from checks.models import CheckEvent, Step
from checks.services.record import save_draft
from checks.services.sign import sign_performed
from checks.services.verify import verify_event
from reports.record import check_record
from tests.checks import check_pages
from tests.checks.check_pages import address, logged_in, posted
from tests.checks.work import performed, started, typed
from tests.reports.record_cases import flat, paper
from tests.world import PASSWORD, World

pytestmark = pytest.mark.django_db
WORDS = "at upper outer, tip; edge tip"


@pytest.fixture
def world() -> Iterator[World]:
    yield from check_pages.world_at_noon()


def look_of(event: CheckEvent) -> Step:
    return event.revision.steps.get(kind=Step.Kind.OBSERVE, position_kind="panel")


def marked(world: World, event: CheckEvent, code: str = "wing-lo", *areas: str, remark: str = "") -> dict:
    """The form as a browser posts it, with areas ticked on one panel that is not satisfactory."""
    form = posted(event, typed(event, dry=[code]))
    place = f"observation-{look_of(event).pk}-{world.position(event.aircraft, code).pk}"
    ticked = {f"{place}-at.{area}": "yes" for area in areas}
    return form | ticked | {f"{place}-remark": remark}


def test_marks_are_kept_in_words_and_shown_again_as_marks(world: World) -> None:
    event = started(world, world.forward)
    client = logged_in(world, "technician1")
    form = marked(world, event, "wing-lo", "upper.outer", "upper.tip", "edge.tip", remark="Comes slowly")
    assert client.post(address(event), form).status_code == 302
    look = event.observations.get(satisfactory=False)
    assert look.remark == f"{WORDS}. Comes slowly"
    page = client.get(address(event)).content.decode()
    place = f"observation-{look.step_id}-{look.position_id}"
    for area, ticked in (("upper.tip", True), ("edge.tip", True), ("lower.tip", False)):
        assert f'name="{place}-at.{area}" value="yes"{" checked" if ticked else ""}>' in page
    assert f'name="{place}-remark" value="Comes slowly"' in page


def test_marks_alone_say_what_was_seen(world: World) -> None:
    event = started(world, world.forward)
    client = logged_in(world, "technician1")
    assert client.post(address(event), marked(world, event, "wing-lo", "lower.root")).status_code == 302
    assert event.observations.get(satisfactory=False).remark == "at lower root"


def test_neither_mark_nor_remark_is_refused_with_both_ways_out(world: World) -> None:
    event = started(world, world.forward)
    answer = logged_in(world, "technician1").post(address(event), marked(world, event))
    assert answer.status_code == 422
    assert "left wing outboard: mark where, or say in the remark what was seen" in answer.content.decode()


def test_satisfactory_with_marks_is_asked_about_and_nothing_is_lost(world: World) -> None:
    event = started(world, world.forward)
    form = marked(world, event, "wing-lo", "upper.tip")
    place = f"observation-{look_of(event).pk}-{world.position(event.aircraft, 'wing-lo').pk}"
    client = logged_in(world, "technician1")
    answer = client.post(address(event), form | {f"{place}-satisfactory": "yes"})
    assert answer.status_code == 422
    for page in (answer, client.get(address(event))):
        text = page.content.decode()
        assert "left wing outboard: areas are marked, but it is said to be satisfactory" in text
        assert f'name="{place}-at.upper.tip" value="yes" checked>' in text


def test_a_remark_too_long_for_its_marks_is_refused_at_the_remark(world: World) -> None:
    event = started(world, world.forward)
    form = marked(world, event, "wing-lo", "upper.tip", remark="x" * 195)
    answer = logged_in(world, "technician1").post(address(event), form)
    assert answer.status_code == 422 and "at most 200 characters" in answer.content.decode()


def test_a_panel_of_the_fin_has_a_left_and_a_right_side(world: World) -> None:
    event = started(world, world.forward)
    form = marked(world, event, "fin-up", "left.tip", "upper.root")  # no such side there
    assert logged_in(world, "technician1").post(address(event), form).status_code == 302
    assert event.observations.get(satisfactory=False).remark == "at left tip"


def test_looks_at_other_places_have_no_outline(world: World) -> None:
    event = started(world, world.forward)
    page = logged_in(world, "technician1").get(address(event)).content.decode()
    panels = event.aircraft.variant.positions.filter(kind="panel").count()
    assert page.count('class="areas"') == panels * event.revision.steps.filter(position_kind="panel").count()


@pytest.fixture
def purged(world: World) -> CheckEvent:
    """Over its limit, then a purge in which a panel stays dry at its tip: signed."""
    first = performed(world, world.forward, series=("300", "310", "310", "310"))
    draft = started(world, world.forward, "panel-purge", follows=first)
    whole = typed(draft, dry=["wing-lo"])
    looks = tuple(
        replace(one, remark="Comes slowly", areas=(("upper", "outer"), ("upper", "tip"), ("edge", "tip")))
        if one.satisfactory == "no"
        else one
        for one in whole.observations
    )
    person = world.person("technician1")
    saved = save_draft(event=draft, by=person, given=replace(whole, observations=looks))
    assert saved.problems == ()
    return sign_performed(event=saved.event, by=person, password=PASSWORD)


def test_marks_are_signed_with_the_remark(purged: CheckEvent) -> None:
    record = purged.signatures.get(act="performed").record
    assert f'"remark":"{WORDS}. Comes slowly"' in record.canonical and record.form == 1
    assert verify_event(purged) == []


@pytest.mark.parametrize("page", ["record", "first check", "aircraft"])
def test_the_drawing_stands_on_the_record_and_in_stories(world: World, purged: CheckEvent, page: str) -> None:
    where = {
        "record": address(purged),
        "first check": address(purged.follows),
        "aircraft": f"/aircraft/{world.forward.registration}/",
    }[page]
    text = logged_in(world, "technician1").get(where).content.decode()
    drawings = 2 if page == "record" else 1  # what was seen, and the story
    assert text.count("<title>Outline of the panel: left wing outboard</title>") == drawings
    assert text.count(f"<desc>Marked: {WORDS[3:]}.</desc>") == drawings
    assert text.count('class="c-area"') == 3 * drawings
    assert "Comes slowly" in text


def test_the_drawing_stands_on_paper(purged: CheckEvent) -> None:
    for event, caption in ((purged, "left wing outboard"), (purged.follows, "Panel purge, 12 Mar 2025")):
        assert check_record(event.pk)
        text = flat(paper(event))
        assert caption in text and text.count(f"left wing outboard: {WORDS[3:]}") >= 1
