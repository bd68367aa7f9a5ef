"""Totals of a whole fleet typed on one sheet."""

import datetime as dt

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from checks.models import DuePoint
from checks.services.due import refresh_due
from fleet.models import Aircraft, UtilisationEntry
from tests.world import World, build_world

PAGE = reverse("checks:utilisation_sheet")
DAY = dt.date(2025, 3, 11)


@pytest.fixture
def desk(client_of, world: World) -> Client:
    return client_of(world.person("controller1"))


def typed(world: World, *rows: tuple[str, str], on: dt.date | str = DAY, **more: str) -> dict[str, str]:
    """hours and landings for the aircraft in their order."""
    data = {"on": str(on), **more}
    for aircraft, (hours, landings) in zip(world.fleet, rows, strict=False):
        data |= {f"a{aircraft.pk}-hours": hours, f"a{aircraft.pk}-landings": landings}
    return data


def entries(on: dt.date = DAY) -> list[tuple[str, str, int]]:
    found = UtilisationEntry.objects.filter(on=on).order_by("aircraft__registration")
    return [(e.aircraft.registration, str(e.hours), e.landings) for e in found]


def test_one_sheet_enters_the_fleet_and_counts_due_points_anew(world: World, desk: Client) -> None:
    for one in world.fleet:
        world.signed(one, dt.date(2025, 1, 10), hours="1980.0")
    refresh_due()
    before = dict(DuePoint.objects.exclude(hours_left=None).values_list("pk", "hours_left"))
    answer = desk.post(PAGE, typed(world, ("2020.5", "1520"), ("2031", "1533")))
    assert answer.status_code == 302
    assert entries() == [("Q-0000", "2020.50", 1520), ("Q-0001", "2031.00", 1533)]
    after = dict(DuePoint.objects.exclude(hours_left=None).values_list("pk", "hours_left"))
    assert before and all(after[key] < left for key, left in before.items())


def test_empty_rows_are_passed_over(world: World, desk: Client) -> None:
    assert desk.post(PAGE, typed(world, ("", ""), ("2031", "1533"))).status_code == 302
    assert entries() == [("Q-0001", "2031.00", 1533)]


def test_good_rows_are_entered_and_bad_ones_stay_as_typed(world: World, desk: Client) -> None:
    answer = desk.post(PAGE, typed(world, ("1990", "1510"), ("2031", "1533")))
    words = answer.content.decode()
    assert answer.status_code == 422
    assert entries() == [("Q-0001", "2031.00", 1533)]
    assert 'value="1990"' in words and "Hours never run backwards" in words
    assert "1 row not entered" in words and "2031.00 h, 1533 landings entered" in words


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (("2020", ""), "This field is required"),
        (("many", "1520"), "Enter a number"),
        (("-5", "1520"), "greater than or equal to 0"),
        (("2020", "15.5"), "Enter a whole number"),
    ],
)
def test_what_can_not_be_read_is_named_in_its_row(world: World, desk: Client, row, words: str) -> None:
    answer = desk.post(PAGE, typed(world, row))
    assert answer.status_code == 422 and words in answer.content.decode()
    assert entries() == []


def test_odd_figures_are_asked_about_and_taken_with_a_tick(world: World, desk: Client) -> None:
    data = typed(world, ("9000", "1520"))
    answer = desk.post(PAGE, data)
    assert answer.status_code == 422 and "more than 24 h a day" in answer.content.decode()
    assert entries() == []
    key = f"a{world.fleet[0].pk}-sure"
    assert f'name="{key}"' in answer.content.decode()
    assert desk.post(PAGE, data | {key: "on"}).status_code == 302
    assert entries() == [("Q-0000", "9000.00", 1520)]


def test_a_gap_is_asked_about(world: World, desk: Client) -> None:
    """The world's own entry is 30 days old; nothing is odd but that."""
    operator = world.master.operator
    operator.stale_use_days = 14
    operator.save()
    answer = desk.post(PAGE, typed(world, ("2020", "1520")))
    assert "Nothing was entered since 10 Feb 2025, 29 days ago" in answer.content.decode()
    assert entries() == []


def test_a_sheet_sent_twice_enters_once(world: World, desk: Client) -> None:
    data = typed(world, ("2020", "1520"), ("2031", "1533"))
    assert desk.post(PAGE, data).status_code == desk.post(PAGE, data).status_code == 302
    assert len(entries()) == 2


@pytest.mark.parametrize("day", ["", "2025-13-01", "2025-03-14"])
def test_a_day_that_can_not_be(world: World, desk: Client, day: str) -> None:
    answer = desk.post(PAGE, typed(world, ("2020", "1520"), on=day))
    assert answer.status_code == 422 and not UtilisationEntry.objects.filter(hours=2020).exists()
    assert 'value="2020"' in answer.content.decode()


def test_only_aircraft_of_the_base_asked_for(world: World, desk: Client) -> None:
    other = next(base for base in world.master.bases.values() if base != world.forward.base)
    world.forward.base = other
    world.forward.save()
    words = desk.get(PAGE, {"base": other.pk}).content.decode()
    assert world.forward.registration in words and world.underfloor.registration not in words


def test_queries_do_not_grow_with_the_fleet(db, client_of, clock) -> None:
    world = build_world(aircraft=22)
    other = next(base for base in world.master.bases.values() if base != world.forward.base)
    Aircraft.objects.filter(pk__in=[one.pk for one in world.fleet[:2]]).update(base=other)
    desk = client_of(world.person("controller1"))
    cost = []
    for base in (other, world.fleet[2].base):
        desk.get(PAGE, {"base": base.pk})
        with CaptureQueriesContext(connection) as asked:
            desk.get(PAGE, {"base": base.pk})
        cost.append(len(asked))
    assert cost[0] == cost[1]
