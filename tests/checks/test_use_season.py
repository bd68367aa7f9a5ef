"""The season learnt from the fleet's totals: stored, used for every date told from a rate, explained."""

import datetime as dt

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

from checks.models import DuePoint, RecurringCheck, UseSeason
from checks.selectors.due_counting import count_due
from checks.selectors.use_season import seasons
from checks.services.due import refresh_due
from checks.services.use_season import learn_use_season
from fleet.models import UtilisationEntry
from tests.checks.due_history import done, point
from tests.world import World, build_world

TODAY = dt.date(2025, 3, 12)
BUSY = {6, 7, 8}


@pytest.fixture
def flown(db, clock) -> World:
    """Four aircraft, used 1 h and one landing a day and twice that from June to August, with totals every
    week from 26 months ago to the world's own entry of 10 Feb 2025 and after it; a check every 300 h."""
    world = build_world(aircraft=4)
    own = UtilisationEntry.objects.filter(aircraft=world.fleet[0]).get()
    days = [own.on - dt.timedelta(days=back) for back in range(-28, 800) if back and back % 7 == 0]
    UtilisationEntry.objects.bulk_create(
        UtilisationEntry(
            aircraft=aircraft,
            on=on,
            hours=own.hours + flown_since(own.on, on),
            landings=own.landings + flown_since(own.on, on),
            entered_by=world.person("controller1"),
        )
        for aircraft in world.fleet
        for on in sorted(days)
        if on <= TODAY
    )
    task = world.recurring(world.forward)
    RecurringCheck.objects.filter(pk=task.pk).update(
        interval_hours=300, interval_days=None, interval_months=None, before_season=False
    )
    done(world, world.forward, own.on, hours=own.hours)
    return world


def flown_since(known: dt.date, on: dt.date) -> int:
    """Hours between the two days, negative where `on` is earlier."""
    first, last = sorted((known, on))
    between = (first + dt.timedelta(days=n) for n in range(1, (last - first).days + 1))
    used = sum(2 if day.month in BUSY else 1 for day in between)
    return used if on > known else -used


def test_busy_months_are_found_and_stored(flown: World) -> None:
    stored = {one.kind: one for one in learn_use_season(today=TODAY)}
    assert set(stored) == {"hours", "landings"}
    one = stored["hours"]
    assert (one.years, one.aircraft) == (2, 4)
    busy = [one.months[month - 1] for month in sorted(BUSY)]
    assert min(busy) > 1.5 * max(value for n, value in enumerate(one.months, 1) if n not in BUSY)
    assert learn_use_season(today=TODAY)[0].pk == "hours" and UseSeason.objects.count() == 2


def test_too_little_takes_the_season_away(flown: World) -> None:
    learn_use_season(today=TODAY)
    assert learn_use_season(today=dt.date(2024, 12, 31)) == []
    assert not UseSeason.objects.exists() and seasons(TODAY) == {}


def test_stored_dates_and_explained_dates_go_by_it(flown: World) -> None:
    """270 h left at 1 h a day come to December; with 92 busy days between, to autumn. Both ways of counting
    give the same day."""
    refresh_due(today=TODAY)
    before = point(flown, flown.forward).due_on
    learn_use_season(today=TODAY)
    refresh_due(today=TODAY)
    after = point(flown, flown.forward).due_on
    assert (before - after).days > 60 and after.month in (8, 9, 10)
    counted = {(one.aircraft_id, one.check_id): one.projection.on for one in count_due(today=TODAY)}
    for stored in DuePoint.objects.all():
        assert counted[stored.aircraft_id, stored.check_due_id] == stored.due_on


def test_the_page_of_a_due_point_shows_it(flown: World, client_of) -> None:
    learn_use_season(today=TODAY)
    refresh_due(today=TODAY)
    desk: Client = client_of(flown.person("controller1"))
    page = reverse("checks:due_point", args=[point(flown, flown.forward).pk])
    words = desk.get(page).content.decode()
    assert "learnt from 4 aircraft in 2 whole years" in words and "a day and the season" in words
    UseSeason.objects.all().delete()
    words = desk.get(page).content.decode()
    assert "don’t cover two whole years" in words and "and the season" not in words


def test_the_night_learns_it_for_the_whole_fleet_only(flown: World) -> None:
    call_command("refresh_due", flown.fleet[0].registration, verbosity=0)
    assert not UseSeason.objects.exists()
    call_command("refresh_due", verbosity=0)
    assert UseSeason.objects.count() == 2
