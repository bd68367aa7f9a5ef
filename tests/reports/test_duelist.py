"""The due list as CSV and PDF: the same numbers as the page, for the same filter."""

import csv
import datetime as dt
import io
import re
from collections.abc import Callable, Iterator
from html.parser import HTMLParser

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from pypdf import PdfReader

from checks.models import DuePoint, RecurringCheck
from checks.services.due import refresh_due
from reports.duelist import COLUMNS
from tests.checks.due_history import done, fly
from tests.world import TODAY, World, build_world

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _today() -> Iterator[None]:
    with time_machine.travel(dt.datetime.combine(TODAY, dt.time(12), dt.UTC), tick=False):
        yield


@pytest.fixture
def world() -> World:
    """Fifteen aircraft: more than a page of due points, dates counted, estimated, reached and unknown."""
    world = build_world(aircraft=15)
    by = world.person("controller1")
    RecurringCheck.objects.exclude(interval_landings=None).update(interval_landings=900)
    for n, aircraft in enumerate(world.fleet[:13]):
        fly(aircraft, by, TODAY - dt.timedelta(days=29), TODAY, hours=1.5 + n / 4, landings=n)
        for (variant, code), _ in world.master.recurring.items():
            if variant == aircraft.variant.code:
                on = TODAY - dt.timedelta(days=31 * (n + 1) - len(code))
                revision = world.revision(aircraft, code)
                done(world, aircraft, on, revision=revision, hours=1700 + 13 * n, landings=1000 + 55 * n)
    refresh_due()
    return world


@pytest.fixture
def browse(auditor, client_of: Callable[..., Client]) -> Client:
    return client_of(auditor)


class Cells(HTMLParser):
    """The texts of the cells of the one table of a page, row by row; words for screen readers left out."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.rows: list[list[str]] = []
        self._inside, self._away = False, 0
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "tr":
            self.rows.append([])
        elif tag in ("td", "th"):
            self._inside = True
            self.rows[-1].append("")
        elif self._inside and tag == "span" and dict(attrs).get("class") == "away":
            self._away = 1

    def handle_endtag(self, tag: str) -> None:
        if tag in ("td", "th"):
            self._inside = False
        elif tag == "span":
            self._away = 0

    def handle_data(self, data: str) -> None:
        if self._inside and not self._away:
            self.rows[-1][-1] += data


def page_rows(client: Client, query: str) -> list[dict[str, str]]:
    """Every row of the list over all its pages, by column name."""
    rows: list[dict[str, str]] = []
    page = "first"
    while page:
        answer = client.get(f"/due/{query}{'&' if query else '?'}page={page}")
        page = answer.context["page_obj"].after
        head, *body = Cells(answer.content.decode()).rows
        rows += [dict(zip(head, (cell.strip() for cell in row), strict=True)) for row in body]
    return rows


def csv_rows(client: Client, query: str) -> list[dict[str, str]]:
    text = client.get(f"/reports/lists/due.csv{query}").content.decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text, newline="")))


def pdf_text(client: Client, query: str) -> str:
    reader = PdfReader(io.BytesIO(client.get(f"/reports/due.pdf{query}").content))
    return "\n".join(page.extract_text() for page in reader.pages)


def in_words(row: dict[str, str]) -> dict[str, str]:
    """A row of the CSV file as the page words it."""

    def day(iso: str) -> str:
        return f"{dt.date.fromisoformat(iso).day} {dt.date.fromisoformat(iso):%b %Y}" if iso else ""

    def number(text: str) -> str:
        """A narrow space between thousands."""
        return re.sub(r"(?<=\d)(?=(\d{3})+(\D|$))", "\u202f", text).replace("-", "−")

    prefix = {"about": "about ", "reached": "reached by "}
    return {
        "Aircraft": row["Aircraft"],
        "Task": row["Task"],
        "State": row["State"],
        "Due": prefix.get(row["Date is"], "") + day(row["Due on"]),
        "Governed by": row["Governed by"],
        "Days left": number(row["Days left"]),
        "Hours left": number(row["Hours left"]),
        "Landings left": number(row["Landings left"]),
        "Tolerance until": prefix.get(row["That is"], "") + day(row["Tolerance until"]),
        "Base": row["Base"],
        "Last done": day(row["Last done"]),
        "Owner": row["Owner"],
    }


#: In the order of the columns on paper.
ON_PAPER = (
    "Aircraft",
    "Base",
    "Task",
    "State",
    "Due",
    "Governed by",
    "Days left",
    "Hours left",
    "Landings left",
    "Tolerance until",
    "Last done",
    "Owner",
)
QUERIES = ["", "?state=overdue", "?horizon=60&aircraft=Q-000", "?sort=-task", "?task=Wet-out+run"]


@pytest.mark.parametrize("query", QUERIES)
def test_page_csv_and_pdf_say_the_same(world: World, browse: Client, query: str) -> None:
    """Row by row and cell by cell; the PDF's text is read back out of the file."""
    page = page_rows(browse, query)
    assert [in_words(row) for row in csv_rows(browse, query)] == page and page
    paper = pdf_text(browse, query)
    flat = re.sub(r"\s+", " ", paper)
    at = 0
    for row in page:
        for name in (
            "Aircraft",
            "Task",
            "State",
            "Due",
            "Days left",
            "Hours left",
            "Landings left",
            "Last done",
            "Owner",
        ):
            if row[name]:
                at = flat.find(re.sub(r"\s+", " ", row[name]), at)
                assert at >= 0, f"{name} {row[name]!r} of {row} is not on paper in its place"
    assert flat.count("Q-00") >= len(page)


def test_every_kind_of_date_was_compared(world: World, browse: Client) -> None:
    rows = csv_rows(browse, "")
    assert {row["Date is"] for row in rows} == {"", "counted", "about", "reached"}
    assert len(rows) == DuePoint.objects.count() > 50
    assert list(rows[0]) == list(COLUMNS)


def test_paper_says_what_was_asked_and_that_it_is_uncontrolled(world: World, browse: Client) -> None:
    base = world.master.bases["north"]
    paper = pdf_text(browse, f"?base={base.pk}&state=overdue&horizon=30")
    assert "base North Skerry; due within 30 days; overdue" in paper
    assert "Uncontrolled when printed" in paper and "It releases no aircraft" in paper
    assert "as of 12 Mar 2025" in paper and "DEMONSTRATION" in paper
    assert "the whole due list" in pdf_text(browse, "")


def test_paper_without_rows(world: World, browse: Client) -> None:
    assert "Nothing on the due list fits this filter" in pdf_text(browse, "?aircraft=ZZZ")
    assert csv_rows(browse, "?aircraft=ZZZ") == []


def test_files_name_the_day(world: World, browse: Client) -> None:
    named = {"lists/due.csv": "due-2025-03-12.csv", "due.pdf": "due-list-2025-03-12.pdf"}
    for (path, name), mime in zip(named.items(), ("text/csv", "application/pdf"), strict=True):
        answer = browse.get(f"/reports/{path}")
        assert answer["Content-Disposition"] == f'attachment; filename="{name}"'
        assert answer["Content-Type"].startswith(mime)


def test_text_of_people_is_no_formula(world: World, browse: Client) -> None:
    base = world.fleet[0].base
    base.name = '=HYPERLINK("http://x.invalid","Skerry")'
    base.save()
    raw = browse.get("/reports/lists/due.csv").content.decode()
    assert ",\"'=HYPERLINK(" in raw and ',"=HYPERLINK(' not in raw
    assert any(row["Days left"].startswith("-") for row in csv_rows(browse, ""))
    assert "=HYPERLINK" in re.sub(r"\s", "", pdf_text(browse, ""))


@pytest.mark.parametrize("file", ["lists/due.csv", "due.pdf"])
def test_a_filter_not_understood_leads_to_the_page_that_explains_it(browse: Client, file: str) -> None:
    answer = browse.get(f"/reports/{file}?horizon=soon&state=overdue")
    assert (answer.status_code, answer["Location"]) == (302, "/due/?horizon=soon&state=overdue")


@pytest.mark.parametrize("file", ["lists/due.csv", "due.pdf"])
def test_strangers_get_no_file(file: str, outsider, client_of: Callable[..., Client]) -> None:
    assert Client().get(f"/reports/{file}").status_code == 302
    assert client_of(outsider).get(f"/reports/{file}").status_code == 403


def test_queries_do_not_grow(world: World, browse: Client) -> None:
    counts = []
    for query in ("?aircraft=Q-0000", ""):
        with CaptureQueriesContext(connection) as caught:
            rows = csv_rows(browse, query)
        counts.append(len(caught))
    assert counts[0] == counts[1] and len(rows) > 50
