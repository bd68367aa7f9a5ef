"""The calendar of a base: read back by an outside parser (the icalendar library) and, line by line, by the
rules of RFC 5545 itself; who may fetch it, how often, and what no log may hold."""

import datetime as dt
import logging
import re
from collections.abc import Iterator

import icalendar
import pytest
import time_machine
from django.core.cache import cache
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from checks.models import DuePoint
from checks.services.notices import make_feed, revoke_feed
from checks.services.packages import accept_package, move_package, withdraw_package
from fleet.models import Aircraft
from reports import calendar, package_views
from reports.calendar import Calendar, Entry, base_calendar
from reports.tables.ical import ical, uid_of
from tests.checks.packaging import CONCENTRATION, SKIN, due_in, only, planned, shared
from tests.snapshot import once
from tests.world import TODAY, World, build_world

pytestmark = pytest.mark.django_db
NOON = dt.datetime.combine(TODAY, dt.time(12), dt.UTC)


@pytest.fixture(autouse=True)
def clock() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(NOON, tick=False) as traveller:
        yield traveller


@pytest.fixture
def world() -> World:
    return once(("a calendar",), _world)


def _world() -> World:
    world = build_world()
    shared()
    due_in(world, world.forward, CONCENTRATION, 14)
    due_in(world, world.forward, SKIN, 16)
    planned(world)
    accept_package(package=only(world.forward), by=world.person("controller1"))
    return world


@pytest.fixture
def address(world: World) -> str:
    _, secret = make_feed(base=world.forward.base, owner=world.person("auditor1"))
    return f"/calendar/north.ics?key={secret}"


def fetched(address: str) -> bytes:
    answer = Client().get(address)
    assert answer.status_code == 200 and answer["Content-Type"] == "text/calendar; charset=utf-8"
    return answer.content


def events(text: bytes) -> dict[str, icalendar.Event]:
    return {str(event["SUMMARY"]): event for event in icalendar.Calendar.from_ical(text).walk("VEVENT")}


# --- what it says -----------------------------------------------------------------------------------


def test_an_outside_parser_reads_what_was_meant(world: World, address: str) -> None:
    found = events(fetched(address))
    package = found[f"Q-0000: work package {only(world.forward).pk}"]
    assert package.decoded("DTSTART") == TODAY + dt.timedelta(days=14)
    assert type(package.decoded("DTSTART")) is dt.date and package["DTSTART"].params["VALUE"] == "DATE"
    assert "Panel skin care" in package["DESCRIPTION"] and package["SEQUENCE"] == 0
    assert package.decoded("DTSTAMP") == NOON
    assert found["Q-0000: Panel skin care due"].decoded("DTSTART") == TODAY + dt.timedelta(days=16)
    assert found["North Skerry: season date"].decoded("DTSTART") in (
        dt.date(2025, 10, 1),
        dt.date(2026, 10, 1),
    )
    every = [str(event["UID"]) for event in icalendar.Calendar.from_ical(fetched(address)).walk("VEVENT")]
    assert len(set(every)) == len(every)


def test_the_rules_of_rfc_5545_hold_line_by_line(world: World, address: str) -> None:
    """Sections 3.1 (lines), 3.4 and 3.6 (calendar and its properties), 3.6.1 (event), 3.8.4.7 (UID)."""
    raw = fetched(address)
    assert raw.endswith(b"\r\n") and b"\n" not in raw.replace(b"\r\n", b"")
    assert all(len(line) <= 75 for line in raw.split(b"\r\n"))
    text = re.sub(rb"\r\n[ \t]", b"", raw).decode()
    lines = text.rstrip("\r\n").split("\r\n")
    assert lines[0] == "BEGIN:VCALENDAR" and lines[-1] == "END:VCALENDAR"
    assert lines.count("VERSION:2.0") == 1 and sum(line.startswith("PRODID:") for line in lines) == 1
    assert all(re.match(r"[A-Z0-9-]+[:;]", line) for line in lines)
    blocks = re.findall(r"BEGIN:VEVENT\r\n(.*?)END:VEVENT", text, re.S)
    assert len(blocks) >= 4
    for block in blocks:
        names = [re.match(r"[A-Z-]+", line).group() for line in block.split("\r\n") if line]
        for name in ("UID", "DTSTAMP", "DTSTART", "SEQUENCE", "SUMMARY"):
            assert names.count(name) == 1, (name, block)
        assert re.search(r"DTSTAMP:\d{8}T\d{6}Z\r\n", block)
        assert re.search(r"DTSTART;VALUE=DATE:\d{8}\r\n", block)


def test_long_words_commas_and_lines_come_back_as_they_were() -> None:
    """Octets are folded, not letters: an umlaut never falls apart."""
    title = "Ä, b; c\\ " * 20
    one = Entry("k", dt.date(2026, 3, 1), title, "first\nsecond, third", NOON, 3, "due")
    raw = ical(Calendar("Näme", (one,), False), 6)
    assert all(len(line) <= 75 for line in raw.split(b"\r\n"))
    (event,) = icalendar.Calendar.from_ical(raw).walk("VEVENT")
    assert str(event["SUMMARY"]) == title and str(event["DESCRIPTION"]) == "first\nsecond, third"


def test_a_moved_package_is_the_same_entry_in_a_higher_sequence(world: World, address: str, clock) -> None:
    package = only(world.forward)
    before = events(fetched(address))[f"Q-0000: work package {package.pk}"]
    clock.shift(dt.timedelta(hours=1))
    by = world.person("controller1")
    move_package(package=package, by=by, on=TODAY + dt.timedelta(days=9), base=package.base)
    after = events(fetched(address))[f"Q-0000: work package {package.pk}"]
    assert after["UID"] == before["UID"] and after["SEQUENCE"] == before["SEQUENCE"] + 1
    assert after.decoded("DTSTAMP") > before.decoded("DTSTAMP")
    assert after.decoded("DTSTART") == TODAY + dt.timedelta(days=9)
    withdraw_package(package=package, by=by)
    assert not any("work package" in title for title in events(fetched(address)))


def test_identifiers_stay_and_tell_nothing() -> None:
    assert uid_of("package 7") == uid_of("package 7") != uid_of("package 8")
    assert re.fullmatch(r"[0-9a-f]{32}@weepwatch", uid_of("package 7"))


def test_only_this_base_and_no_more_than_so_many(world: World, monkeypatch) -> None:
    outer = base_calendar(world.master.bases["outer"], timezone.now())
    assert {entry.category for entry in outer.entries} == {"season"}
    monkeypatch.setattr(calendar, "MOST", 2)
    cut = base_calendar(world.forward.base, timezone.now())
    assert cut.cut and len(cut.entries) == 2


def test_questions_do_not_grow_with_the_entries(world: World) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as found:
            base_calendar(world.forward.base, timezone.now())
        return len(found)

    few, point = asked(), DuePoint.objects.filter(due_on__isnull=False).first()
    for n in range(20):
        one = Aircraft.objects.create(
            registration=f"Q-M{n:03}",
            serial_number=f"M{n}",
            type_name="Demo Single",
            variant=world.forward.variant,
            base=world.forward.base,
            entered_service_on=TODAY,
        )
        point.pk, point.aircraft = None, one
        point.save(force_insert=True)
    assert asked() == few


# --- who may fetch it -------------------------------------------------------------------------------


def test_without_log_in_by_its_key_alone(world: World, address: str) -> None:
    answer = Client().get(address)
    assert answer.status_code == 200 and answer["Cache-Control"] == "private, max-age=900"
    assert Client().post(address).status_code == 405
    mark = answer["ETag"]
    same = Client().get(address, headers={"If-None-Match": mark})
    assert same.status_code == 304 and not same.content


def test_revoked_wrong_or_none(world: World) -> None:
    owner = world.person("auditor1")
    feed, secret = make_feed(base=world.forward.base, owner=owner)
    assert Client().get("/calendar/north.ics").status_code == 400
    assert Client().get("/calendar/north.ics", {"key": "x" * 5000}).status_code == 404
    assert Client().get("/calendar/outer.ics", {"key": secret}).status_code == 404
    revoke_feed(feed=feed, by=owner)
    answer = Client().get("/calendar/north.ics", {"key": secret})
    assert answer.status_code == 404 and secret.encode() not in answer.content


def test_guessing_is_slowed_for_one_machine_and_not_for_others(address: str, monkeypatch) -> None:
    monkeypatch.setattr(package_views, "MOST_WRONG", 3)
    for _ in range(3):
        assert Client().get("/calendar/north.ics", {"key": "guess"}).status_code == 404
    slowed = Client().get(address)
    assert slowed.status_code == 429 and slowed["Retry-After"] == "300"
    assert Client(REMOTE_ADDR="10.0.0.9").get(address).status_code == 200


def test_asking_all_the_time_is_refused(address: str, monkeypatch) -> None:
    monkeypatch.setattr(package_views, "MOST_ASKED", 2)
    cache.clear()
    assert [Client().get(address).status_code for _ in range(3)] == [200, 200, 429]


def test_no_log_holds_a_key(world: World, address: str, caplog: pytest.LogCaptureFixture) -> None:
    secret = address.split("=")[1]
    with caplog.at_level(logging.DEBUG):
        Client().get(address)
        Client().get("/calendar/north.ics", {"key": secret + "x"})
        Client().get("/calendar/outer.ics", {"key": secret})
    assert "/calendar/" in caplog.text and secret not in caplog.text.replace(_of_queries(caplog), "")
    assert secret not in _of_queries(caplog)


def _of_queries(caplog: pytest.LogCaptureFixture) -> str:
    """What the database log holds: digests, and no key."""
    return "\n".join(r.getMessage() for r in caplog.records if r.name.startswith("django.db"))
