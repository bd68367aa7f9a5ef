"""Pages of an instrument found out of calibration: the report, the traceback, the review, marks elsewhere."""

import datetime as dt
from collections.abc import Callable
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from checks.models import CheckEvent, DoubtReview, InstrumentFinding
from fleet.models import Calibration, User
from tests.checks.test_doubt import GAUGE, LOW, ago, found, limit
from tests.world import PASSWORD, World, build_world

LogIn = Callable[[User], Client]
REPORT = {"found_on": "2025-03-10", "text": "Against a reference gauge.", "password": PASSWORD}


def report(code: str = GAUGE) -> str:
    return reverse("checks:doubt_report", args=[code])


@pytest.fixture
def desk(world: World, client_of: LogIn) -> Client:
    return client_of(world.person("controller1"))


@pytest.fixture
def event(world: World) -> CheckEvent:
    """5 kPa under its limit, so that it would be over it with the error corrected."""
    return world.signed(world.forward, ago(world, 10), values={"port": str(int(limit(world)) - 5)})


def test_the_controller_reports_and_is_led_to_the_traceback(
    world: World, desk: Client, event: CheckEvent
) -> None:
    page = desk.get(reverse("checks:instrument_detail", args=[GAUGE])).content.decode()
    assert report() in page
    answer = desk.post(report(), REPORT | {"error": "−9,5"}, follow=True)
    finding = InstrumentFinding.objects.get()
    assert (finding.error, finding.found_on) == (LOW, dt.date(2025, 3, 10))
    assert answer.redirect_chain[-1][0] == reverse("checks:doubt_finding", args=[finding.pk])
    text = answer.content.decode()
    assert "reads 9.5 kPa too low" in text and "the outcome of 1 would have been another one" in text
    assert "over limit" in text and reverse("checks:check", args=[event.pk]) in text
    assert reverse("reports:traceback_pdf", args=[finding.pk]) in text


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({}, "mark below that it is not known"),
        ({"error": "much"}, "is not a plain number"),
        ({"error": "1.23456"}, "no more than 4 decimal places"),
        ({"error": "4", "not_known": "on"}, "Keep one of the two"),
        ({"error": "4", "found_on": "2031-01-01"}, "still to come"),
        ({"error": "4", "password": "x"}, "password is not right"),
    ],
)
def test_what_is_wrong_with_a_report_is_said_and_nothing_typed_is_lost(
    desk: Client, given: dict, words: str
) -> None:
    answer = desk.post(report(), REPORT | given)
    assert answer.status_code == 422
    text = answer.content.decode()
    assert words in text and "Against a reference gauge." in text
    assert not InstrumentFinding.objects.exists()


def test_an_error_not_known_and_later_known(world: World, desk: Client, event: CheckEvent) -> None:
    desk.post(report(), REPORT | {"not_known": "on"})
    first = InstrumentFinding.objects.get()
    assert first.error is None
    assert "It takes the place of" in desk.get(report()).content.decode()
    desk.post(report(), REPORT | {"error": "-0.5", "replaces": first.pk})
    second = InstrumentFinding.objects.get(replaces=first)
    old = desk.get(reverse("checks:doubt_finding", args=[first.pk])).content.decode()
    assert reverse("checks:doubt_finding", args=[second.pk]) in old and "holds nothing in doubt" in old
    review = reverse("checks:doubt_review", args=[first.pk])
    assert review not in old


def test_a_failed_calibration_is_filled_in_beforehand(desk: Client) -> None:
    failed = Calibration.objects.get(result="failed")
    form = desk.get(report(failed.instrument.code)).context["form"]
    assert form.initial == {"found_on": failed.calibrated_on, "error": "-9.5"}


def test_the_releaser_reviews_those_that_would_not_change_together_then_the_other(
    world: World, client_of: LogIn, event: CheckEvent
) -> None:
    sound = [world.signed(world.forward, ago(world, day), values={"port": "60"}) for day in (30, 20)]
    finding = found(world)
    client = client_of(world.person("releaser1"))
    address = reverse("checks:doubt_review", args=[finding.pk])
    chosen = client.get(f"{address}?unchanged").context["form"].initial["events"]
    assert set(chosen) == {str(one.pk) for one in sound}
    given = {"events": chosen, "accepted": "yes", "text": "Far from the limit.", "password": PASSWORD}
    assert client.post(address, given | {"password": "x"}).status_code == 422
    client.post(address, given)
    assert DoubtReview.objects.filter(accepted=True).count() == 2
    asked = client.get(f"{address}?check={event.pk}").context["form"]
    assert asked.initial["events"] == [str(event.pk)] and len(asked.fields["events"].choices) == 1
    client.post(address, {**given, "events": [event.pk], "accepted": "no"})
    assert DoubtReview.objects.filter(accepted=False).get().event == event
    page = client.get(reverse("checks:doubt_finding", args=[finding.pk])).content.decode()
    assert "0 not reviewed" in page and "reviewed: to be repeated" in page
    assert "No check is in doubt any more" in client.get(address).content.decode()


def test_the_check_and_the_lists_say_that_it_is_in_doubt(
    world: World, desk: Client, event: CheckEvent
) -> None:
    show, records = reverse("checks:check", args=[event.pk]), reverse("checks:records")
    assert "in doubt" not in desk.get(show).content.decode()
    found(world)
    page = desk.get(show).content.decode()
    port = int(limit(world)) - 5
    assert "in doubt" in page and f"{port} as read, {port + 9.5:g} corrected" in page
    row = desk.get(records, {"state": "doubt"}).context["rows"]
    assert [cells["cells"][4] for cells in row] == [{"state": "in doubt", "note": "signed"}]
    other = world.signed(world.underfloor, ago(world, 1), code="fluid-concentration")
    assert other.pk not in {one.pk for one in desk.get(records, {"state": "doubt"}).context["page_obj"]}


def test_the_instrument_is_out_of_calibration_until_it_is_calibrated_anew(world: World, desk: Client) -> None:
    def state() -> str:
        page = desk.get(reverse("checks:instruments"), {"words": GAUGE})
        return page.context["rows"][0]["cells"][2]["state"]

    assert state() == "in calibration"
    found(world)
    assert state() == "out of calibration"
    detail = desk.get(reverse("checks:instrument_detail", args=[GAUGE])).content.decode()
    assert "No reading may be taken with it" in detail and "Found on" in detail
    Calibration.objects.create(
        instrument=world.instrument(GAUGE),
        calibrated_on=world.today,
        due_on=world.today + dt.timedelta(days=365),
        result="adjusted",
        certificate_number="again",
    )
    assert state() == "in calibration"


@pytest.mark.parametrize("name", ["checks:doubt_finding", "checks:records", "reports:traceback_pdf"])
def test_queries_do_not_grow_with_the_checks(db: None, clock: object, client_of: LogIn, name: str) -> None:
    world, cost = build_world(aircraft=22), {}
    finding = found(world, Decimal("-300"))
    client = client_of(world.person("releaser1"))
    address = reverse(name, args=[] if name == "checks:records" else [finding.pk])
    for number in (2, 22):
        for aircraft in world.fleet[len(world.history) : number]:
            world.signed(aircraft, ago(world, 10))
        client.get(address)
        with CaptureQueriesContext(connection) as queries:
            assert client.get(address).status_code == 200
        cost[number] = len(queries)
    assert cost[2] == cost[22]
