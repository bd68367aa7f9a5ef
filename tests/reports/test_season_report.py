"""The season plan and the stock as files: they say what the pages say."""

import csv
import datetime as dt
import io
from collections.abc import Iterator
from decimal import Decimal

import pytest
import time_machine
from django.test import Client
from pypdf import PdfReader

from checks.services.moves import plan_move
from checks.services.stock import record_movement
from tests.checks.check_pages import logged_in
from tests.checks.season_world import NOON, done, season_world, takes
from tests.world import World

pytestmark = pytest.mark.django_db
D = dt.date


@pytest.fixture
def world() -> Iterator[World]:
    with time_machine.travel(NOON, tick=False):
        yield season_world(aircraft=8)


@pytest.fixture
def browse(world: World) -> Client:
    return logged_in(world, "auditor1")


def rows(client: Client, url: str) -> list[dict[str, str]]:
    response = client.get(url)
    assert response.status_code == 200 and response["Content-Type"].startswith("text/csv")
    return list(csv.DictReader(io.StringIO(response.content.decode("utf-8-sig"))))


def paper(client: Client, url: str) -> tuple[str, PdfReader]:
    response = client.get(url)
    assert response.status_code == 200 and response["Content-Type"] == "application/pdf"
    reader = PdfReader(io.BytesIO(response.content))
    return " ".join(" ".join(page.extract_text() for page in reader.pages).split()), reader


def test_the_plan_as_csv_has_a_row_for_each_task(world: World, browse: Client) -> None:
    done(world, world.forward, D(2025, 8, 10), "pressure-flow")
    found = rows(browse, "/reports/season/north.csv")
    assert len(found) == 16
    own = {row["Task"]: row for row in found if row["Aircraft"] == world.forward.registration}
    assert own["Pressure and flow check"]["Done on"] == "2025-08-10"
    assert own["Windshield spray"]["Done on"] == "" and own["Windshield spray"]["State"] == "to do"
    assert own["Windshield spray"]["First day that counts"] == "2025-08-02"
    assert {row["Season date"] for row in found} == {"2025-10-01"}
    assert {row["Season date"] for row in rows(browse, "/reports/season/north.csv?year=2026")} == {
        "2026-10-01"
    }


def test_paper_says_what_the_page_says(world: World, browse: Client) -> None:
    takes("pressure-flow", "300")
    takes("windshield", "0")
    for n, one in enumerate(world.fleet[:4]):
        done(world, one, D(2025, 8, 5) + dt.timedelta(days=7 * n))
    batch, by = world.master.batches["fb-101"], world.person("controller1")
    record_movement(by=by, kind="counted", thing=batch, base=batch.base, quantity=Decimal(400))
    plan_move(
        aircraft=world.fleet[5],
        base=world.master.bases["outer"],
        on=D(2025, 9, 10),
        by=by,
    )
    words, reader = paper(browse, "/reports/season/north.pdf")
    assert "Season plan of North Skerry, 1 Oct 2025" in words
    for said in (
        "4 of 7 aircraft",
        "Fluid: short by 500",
        "At that pace all by about",
        "goes to Outer Skerry on 10 Sep 2025",
        "It releases no aircraft and gives no permission",
        "common practice, no source",
        world.fleet[6].registration,
    ):
        assert said in words, said
    assert reader.metadata.title.startswith("Season plan of North Skerry")
    assert reader.pages[0].get_contents() is not None


def test_a_plan_without_aircraft_has_paper_too(browse: Client) -> None:
    words, _ = paper(browse, "/reports/season/farcape.pdf")
    assert "No aircraft in service counts at this base." in words and "Nothing to list." in words


def test_an_unknown_base_is_not_found(browse: Client) -> None:
    assert browse.get("/reports/season/nowhere.pdf").status_code == 404
    assert browse.get("/reports/season/nowhere.csv").status_code == 404


def test_the_stock_as_csv_is_that_of_the_page(world: World, browse: Client) -> None:
    batch = world.master.batches["fb-101"]
    by = world.person("controller1")
    for kind, litres in (("scrapped", "5"), ("moved", "20")):
        outer = world.master.bases["outer"] if kind == "moved" else None
        record_movement(
            by=by, kind=kind, thing=batch, base=batch.base, quantity=Decimal(litres), to_base=outer
        )
    found = {(row["Base"], row["What"]): row for row in rows(browse, "/reports/lists/stock.csv")}
    assert found["North Skerry", "fb-101 (FPD 85 %)"]["On hand"] == "375.0"
    assert found["Outer Skerry", "fb-101 (FPD 85 %)"]["On hand"] == "20.0"
    assert {row["Base"] for row in rows(browse, "/reports/lists/stock.csv?base=outer")} == {"Outer Skerry"}
    entries = rows(browse, "/reports/lists/stock-entries.csv")
    assert [(row["Entry"], row["How much"], row["To base"]) for row in entries] == [
        ("moved to another base", "20.0", "Outer Skerry"),
        ("scrapped", "5.0", ""),
    ]
