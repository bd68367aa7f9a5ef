"""Readings in doubt are left out of the trend, as was known at each moment, and count after a review."""

import datetime as dt

import pytest

from checks.models import CheckEvent, InstrumentFinding
from checks.services.doubt import report_out_of_calibration, review_doubt
from checks.services.drift import refresh_drift
from checks.services.drift_again import series_again
from checks.services.drift_inputs import gather
from tests.checks.drift_history import series
from tests.world import PASSWORD, World

DAYS = (100, 70, 40, 10)  # gauge-1 was last calibrated 120 days before the world's today
pytestmark = pytest.mark.django_db


@pytest.fixture
def read(world: World) -> list[CheckEvent]:
    """Four checks of one aircraft, scored."""
    made = [
        world.signed(world.forward, world.today - dt.timedelta(days=day), values={"port": value})
        for day, value in zip(DAYS, ("80", "82", "120", "81"), strict=True)
    ]
    refresh_drift()
    assert series(world.forward).readings_in_life == 4
    return made


@pytest.fixture
def finding(world: World, read: list[CheckEvent], django_capture_on_commit_callbacks) -> InstrumentFinding:
    return found(world, django_capture_on_commit_callbacks)


def found(world: World, commits, code: str = "gauge-1", back: int = 30, **how: object) -> InstrumentFinding:
    """Found out of calibration so many days ago, reported now."""
    with commits(execute=True):
        return report_out_of_calibration(
            instrument=world.instrument(code),
            by=world.person("controller1"),
            password=PASSWORD,
            found_on=world.today - dt.timedelta(days=back),
            error=None,
            text="Compared with a reference gauge.",
            **how,
        )


def in_trend(world: World, code: str = "port") -> list[str]:
    return series(world.forward, code).chart["events"]


def test_a_finding_takes_what_it_touches_out_of_the_trend(
    world: World, read: list[CheckEvent], finding: InstrumentFinding
) -> None:
    """Three checks lie between the calibration and the day of the finding; the fourth came after it."""
    state = series(world.forward)
    assert in_trend(world) == [read[3].pk.hex]
    assert state.facts["in_doubt"] == [event.pk.hex for event in read[:3]]
    assert (state.state, state.readings_in_life) == ("too few readings", 1)
    assert len(in_trend(world, "nozzle")) == 4  # its vessel was not found so
    assert series_again(state).equal


def test_a_review_that_lets_a_check_stand_brings_it_back(
    world: World, read: list[CheckEvent], finding: InstrumentFinding, django_capture_on_commit_callbacks
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        for event, accepted in ((read[0], True), (read[1], False)):
            review_doubt(
                finding=finding,
                events=[event],
                by=world.person("releaser1"),
                password=PASSWORD,
                accepted=accepted,
                text="Compared with the next check.",
            )
    assert in_trend(world) == [read[0].pk.hex, read[3].pk.hex]
    assert series(world.forward).facts["in_doubt"] == [read[1].pk.hex, read[2].pk.hex]


def test_a_finding_that_takes_its_place_counts_from_then_on(
    world: World, read: list[CheckEvent], finding: InstrumentFinding, django_capture_on_commit_callbacks
) -> None:
    """The laboratory says that it was out on an earlier day already."""
    found(world, django_capture_on_commit_callbacks, back=60, replaces=finding)
    assert in_trend(world) == [read[2].pk.hex, read[3].pk.hex]


def test_a_thermometer_puts_every_point_of_its_checks_in_doubt(
    world: World, read: list[CheckEvent], django_capture_on_commit_callbacks
) -> None:
    found(world, django_capture_on_commit_callbacks, code="thermo-1", back=5)
    # Its last good calibration lies between the first check and the second.
    assert in_trend(world) == in_trend(world, "nozzle") == [read[0].pk.hex]
    assert series(world.forward).state == "too few readings"


def test_before_the_finding_nothing_was_known_of_it(
    world: World, read: list[CheckEvent], clock, django_capture_on_commit_callbacks
) -> None:
    old, before = series(world.forward), dt.datetime(2025, 3, 12, 12, tzinfo=dt.UTC)
    clock.shift(dt.timedelta(hours=2))
    found(world, django_capture_on_commit_callbacks)
    assert series_again(old).equal
    assert len(gather(now=before).readings) == 8
    assert len(gather(now=before + dt.timedelta(hours=3)).readings) == 5
