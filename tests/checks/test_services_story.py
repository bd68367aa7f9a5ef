"""The whole story on one aircraft: over limit, defect, purge, retest, rectified, released."""

import pytest
import time_machine

from checks.models import CheckEvent, Defect
from checks.services.defects import rectify
from checks.services.errors import RecordError
from checks.services.sign import sign_released
from tests.checks.work import performed
from tests.world import PASSWORD, World

OVER = ("300", "310", "310", "310")


def test_a_check_within_its_limits_is_released_by_an_authorised_person(world: World) -> None:
    event = performed(world, world.forward)
    assert (event.outcome, event.next_action) == ("within limit", "release may be asked for")
    release = sign_released(event=event, by=world.person("releaser1"), password=PASSWORD)
    assert release.certificate_number.startswith("DEMO-R-") and release.name == "Releaser 1"
    assert not Defect.objects.exists()


def test_over_limit_raises_a_defect_that_only_a_person_closes(
    world: World, clock: time_machine.Traveller
) -> None:
    releaser = world.person("releaser1")
    first = performed(world, world.forward, series=OVER)
    assert (first.outcome, first.next_action) == ("over limit", "purge and test again")
    defect = first.defect
    with pytest.raises(RecordError, match="neither rectified nor deferred"):
        sign_released(event=first, by=releaser, password=PASSWORD)
    clock.shift(3600)
    purge = performed(world, world.forward, "panel-purge", follows=first)
    assert (purge.outcome, purge.next_action) == ("done", "test again")
    assert purge.resets.filter(why="purge", point__code="port").exists()
    clock.shift(3600)
    retest = performed(world, world.forward, follows=purge)
    assert retest.outcome == "within limit"
    defect.refresh_from_db()
    assert defect.state(world.today) == "open"
    with pytest.raises(RecordError, match="This work's own defect"):
        sign_released(event=retest, by=releaser, password=PASSWORD)
    rectify(defect=defect, by=releaser, password=PASSWORD, text="Panels purged.", retest=retest)
    assert Defect.objects.get().state(world.today) == "closed"
    sign_released(event=retest, by=releaser, password=PASSWORD)
    assert CheckEvent.objects.signed().count() == 3
