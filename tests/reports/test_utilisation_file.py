"""The totals of one day sent as a CSV file at the desk."""

import datetime as dt

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from checks.models import DuePoint, ImportBatch
from checks.services.due import refresh_due
from fleet.models import UtilisationEntry
from tests.world import World

PAGE = reverse("reports:utilisation_file")
DAY = dt.date(2025, 3, 11)
GOOD = "registration,hours,landings\nQ-0000,2020.5,1520\nq-0001,2031,1533\n"


@pytest.fixture
def desk(client_of, world: World) -> Client:
    return client_of(world.person("controller1"))


def send(desk: Client, text: str | bytes, on: object = DAY, name: str = "day.csv", **more: str):
    data = text.encode() if isinstance(text, str) else text
    return desk.post(PAGE, {"on": str(on), "file": SimpleUploadedFile(name, data), **more})


def entries() -> list[tuple[str, str, int]]:
    found = UtilisationEntry.objects.filter(on=DAY).order_by("aircraft__registration")
    return [(e.aircraft.registration, str(e.hours), e.landings) for e in found]


def test_a_file_enters_the_fleet_says_where_from_and_counts_due_points(world: World, desk: Client) -> None:
    world.signed(world.forward, dt.date(2025, 1, 10), hours="1980.0")
    refresh_due()
    before = dict(DuePoint.objects.exclude(hours_left=None).values_list("pk", "hours_left"))
    answer = send(desk, GOOD)
    assert answer.status_code == 200 and "2 entered" in answer.content.decode()
    assert entries() == [("Q-0000", "2020.50", 1520), ("Q-0001", "2031.00", 1533)]
    entry = UtilisationEntry.objects.get(on=DAY, aircraft=world.fleet[0])
    assert entry.source == "day.csv, line 2" and entry.entered_by == world.person("controller1")
    after = dict(DuePoint.objects.exclude(hours_left=None).values_list("pk", "hours_left"))
    assert before and all(after[key] < left for key, left in before.items())


def test_sent_twice_enters_once(world: World, desk: Client) -> None:
    send(desk, GOOD)
    answer = send(desk, GOOD)
    assert answer.status_code == 200 and "0 new, 2 on file already" in answer.content.decode()
    assert len(entries()) == 2 and ImportBatch.objects.count() == 1


def test_bad_rows_are_named_by_line_and_field_and_good_ones_entered(world: World, desk: Client) -> None:
    heads = "Registration;Hours [h, decimal comma];Landings;Pilot\n"
    text = f"{heads}Q-0000;2020,5;15.5\nQ-0001;2031,0;1533\nQ-9;1;1\n"
    answer = send(desk, text)
    words = answer.content.decode()
    assert answer.status_code == 422
    assert entries() == [("Q-0001", "2031.00", 1533)]
    problems = [(one.line, one.field) for one in answer.context["came"].tally.problems]
    assert problems == [(2, "landings"), (4, "registration")]
    assert "15.5" in words and "is not a whole number" in words and "Nothing reads the column" in words
    mended = text.replace("15.5", "1520").replace("Q-9;1;1\n", "")
    assert send(desk, mended).status_code == 200 and len(entries()) == 2


def test_backwards_and_odd_figures(world: World, desk: Client) -> None:
    """Backwards is refused; odd is asked about, and taken with the tick."""
    answer = send(desk, "registration,hours,landings\nQ-0000,1990,1520\nQ-0001,9000,1533\n")
    problems = [(one.line, one.field, one.reason) for one in answer.context["came"].tally.problems]
    assert [one[:2] for one in problems] == [(2, "hours"), (3, "hours")]
    assert "never run backwards" in problems[0][2] and "more than 24 h a day" in problems[1][2]
    assert entries() == []
    answer = send(desk, "registration,hours,landings\nQ-0001,9000,1533\n", sure="on")
    assert answer.status_code == 200 and entries() == [("Q-0001", "9000.00", 1533)]


@pytest.mark.parametrize(
    ("text", "more", "words"),
    [
        ("", {}, "empty"),
        ("registration,hours\nQ-0000,2020\n", {}, "No column for landings"),
        (b"registration,hours,landings\nQ-\xe90,2020,1\n", {}, "is not utf-8 text"),
        (GOOD, {"on": ""}, "Give the day"),
        (GOOD, {"on": "2025-03-14"}, "is still to come"),
        (GOOD, {"name": "day.xlsx"}, "not allowed"),
    ],
)
def test_what_can_not_be_taken_as_a_whole(world: World, desk: Client, text, more, words) -> None:
    answer = send(desk, text, **more)
    assert answer.status_code == 422 and words in answer.content.decode()
    assert not UtilisationEntry.objects.filter(hours__gt=2000).exists() and not ImportBatch.objects.exists()


def test_the_sheet_leads_to_it(world: World, desk: Client) -> None:
    assert PAGE in desk.get(reverse("checks:utilisation_sheet")).content.decode()
    assert desk.get(PAGE).status_code == 200
