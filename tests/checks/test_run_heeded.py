"""On a retest of the same day warnings are shown, not asked again, to the person who acknowledged them."""

import datetime as dt

import pytest

from checks.models import CheckEvent, Step
from tests.checks.check_pages import OVER, address, logged_in, world_at_noon
from tests.checks.work import performed, started
from tests.world import World

pytestmark = pytest.mark.django_db
world = pytest.fixture(world_at_noon)
NOTE = "Acknowledged by you earlier today"


def kinds_followed(event: CheckEvent) -> set[str]:
    return set(event.cautions_followed.values_list("step__kind", flat=True))


def test_a_retest_of_the_same_day_is_not_asked_again(world: World) -> None:
    first = performed(world, world.forward, series=OVER)
    purge = performed(world, world.forward, "panel-purge", follows=first)
    retest = started(world, world.forward, follows=purge)
    warned = retest.revision.steps.filter(kind__in=("warning", "caution"))
    assert set(retest.cautions_followed.values_list("step", flat=True)) == {s.pk for s in warned}
    # What is done by hand is done anew and asked anew.
    assert kinds_followed(retest) == {Step.Kind.WARNING, Step.Kind.CAUTION}
    page = logged_in(world, "technician1").get(address(retest)).content.decode()
    assert page.count(NOTE) == warned.count()
    assert all(step.text.split(":")[0] in page for step in warned)


def test_words_that_the_earlier_work_did_not_have_are_asked(world: World) -> None:
    first = performed(world, world.forward)
    purge = started(world, world.forward, "panel-purge", follows=first)
    asked = purge.revision.steps.filter(kind__in=("warning", "caution")).exclude(
        pk__in=purge.cautions_followed.values("step")
    )
    assert [step.text[:6] for step in asked] == ["No air"]


def test_another_person_is_asked(world: World) -> None:
    first = performed(world, world.forward, series=OVER)
    retest = started(world, world.forward, by="technician2", follows=first)
    assert not retest.cautions_followed.exists()
    # Nor does another person see the note on a run that the first one began.
    own = started(world, world.forward, follows=first)
    assert NOTE not in logged_in(world, "technician2").get(address(own)).content.decode()


def test_another_day_is_asked(world: World) -> None:
    yesterday = world.today - dt.timedelta(days=1)
    first = performed(world, world.forward, work_date=yesterday, series=OVER)
    assert not started(world, world.forward, follows=first).cautions_followed.exists()


def test_a_first_check_is_asked(world: World) -> None:
    performed(world, world.forward)
    assert not started(world, world.forward).cautions_followed.exists()
