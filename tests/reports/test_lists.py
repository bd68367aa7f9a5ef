"""Lists as CSV: the rows that the page shows, in its order; text that a spreadsheet would run; queries."""

import csv
import datetime as dt
import io
import json
from collections.abc import Callable
from decimal import Decimal

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openpyxl import load_workbook

from checks.models import CheckEvent
from checks.services.cause_found import record_cause
from checks.services.defects import raise_defect
from checks.services.drift import refresh_drift
from checks.services.drift_card import refresh_report_card
from checks.services.due import refresh_due
from checks.services.stock import record_movement
from fleet.models import Aircraft, Base, User
from reports.lists import LISTS
from tests.checks.conftest import NOON
from tests.checks.drift_history import read_check
from tests.checks.work import performed, started
from tests.world import World, build_world


@pytest.fixture
def browse(auditor: User, client_of: Callable[[User], Client]) -> Client:
    return client_of(auditor)


def rows(client: Client, name: str, query: str = "") -> list[dict[str, str]]:
    answer = client.get(reverse("reports:list_file", args=[name, "csv"]) + query)
    assert answer.status_code == 200 and answer["Content-Type"] == "text/csv; charset=utf-8"
    assert answer["Content-Disposition"].startswith(f'attachment; filename="{name}-')
    return list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"), newline="")))


def column(client: Client, name: str, head: str, query: str = "") -> list[str]:
    return [row[head] for row in rows(client, name, query)]


@pytest.fixture
def busy(world: World) -> World:
    """Two aircraft of two bases: one with an over-limit check and a draft, the other with a good check."""
    performed(world, world.forward, series=("300", "310", "310", "310"))
    started(world, world.forward)
    performed(world, world.underfloor)
    Aircraft.objects.filter(pk=world.underfloor.pk).update(
        base=Base.objects.exclude(pk=world.forward.base_id)[0]
    )
    batch = world.master.batches["fb-101"]
    record_movement(
        by=world.person("controller1"), kind="counted", thing=batch, base=batch.base, quantity=Decimal(5)
    )
    refresh_due()
    refresh_drift(now=NOON)
    return world


#: lists of what comes only with time; they have tests of their own
LATER = ("forecasts", "causes")


@pytest.mark.parametrize("name", [name for name in LISTS if name not in LATER])
def test_each_page_offers_its_file_with_the_same_query(busy: World, browse: Client, name: str) -> None:
    page = browse.get(reverse(LISTS[name].page) + "?sort=aircraft&page=last").content.decode()
    assert f'href="{reverse("reports:list_file", args=[name, "csv"])}?sort=aircraft"' in page
    found = rows(browse, name)
    assert found and tuple(found[0]) == LISTS[name].columns


def test_records(busy: World, browse: Client) -> None:
    found = rows(browse, "records")
    assert sorted((r["Aircraft"], r["Outcome"], r["State"], r["In doubt"]) for r in found) == [
        (str(busy.forward), "", "draft", "no"),
        (str(busy.forward), "over limit", "signed", "no"),
        (str(busy.underfloor), "within limit", "signed", "no"),
    ]
    assert {r["Date of work"] for r in found} == {busy.today.isoformat()}
    assert column(browse, "records", "Outcome", "?state=draft") == [""]
    up, down = (column(browse, "records", "Aircraft", f"?sort={way}aircraft") for way in ("", "-"))
    assert up == sorted(up) and down == sorted(up, reverse=True) and up != down


def test_icing_status_has_a_row_for_each_reason(busy: World, browse: Client) -> None:
    found = rows(browse, "icing", "?sort=status")
    assert (found[0]["Aircraft"], found[0]["Kind"]) == (str(busy.forward), "open defect")
    assert "310 kPa" in found[0]["What is recorded"]
    page = browse.get("/icing/?sort=status").context["lines"]
    assert [str(line["aircraft"]) for line in page] == list(dict.fromkeys(r["Aircraft"] for r in found))
    assert sum(max(len(line["reasons"]), 1) for line in page) == len(found)


@pytest.mark.parametrize("sort", ["aircraft", "-aircraft", "base", "-base", "variant", "status", "-status"])
def test_aircraft_sort_as_the_page_does(busy: World, browse: Client, sort: str) -> None:
    page = browse.get(f"/aircraft/?sort={sort}").context["lines"]
    found = rows(browse, "aircraft", f"?sort={sort}")
    assert [r["Aircraft"] for r in found] == [str(line["aircraft"]) for line in page]
    head = {"aircraft": "Aircraft", "base": "Base", "variant": "Variant"}.get(sort.lstrip("-"))
    if head:
        values = [r[head] for r in found]
        assert values == sorted(values, reverse=sort.startswith("-")) and len(set(values)) > 1


@pytest.mark.parametrize("sort", ["", "raised", "aircraft", "-aircraft", "state", "base"])
def test_defects_with_text_that_a_spreadsheet_would_run(busy: World, browse: Client, sort: str) -> None:
    by = busy.person("controller1")
    raise_defect(aircraft=busy.underfloor, by=by, description="=cmd|'/C calc'!A0\n<b>second line</b>")
    found = rows(browse, "defects", f"?sort={sort}")
    page = browse.get(f"/defects/?sort={sort}").context["defects"]
    assert [r["Aircraft"] for r in found] == [str(one.defect.aircraft) for one in page]
    assert "'=cmd|'/C calc'!A0\n<b>second line</b>" in [r["Defect"] for r in found]
    assert {r["State"] for r in found} == {"open"}


def test_drift_in_the_order_asked_for(busy: World, browse: Client) -> None:
    for sort in ("", "margin", "-margin", "aircraft", "point", "crossing", "rank"):
        found = rows(browse, "drift", f"?sort={sort}")
        page = browse.get(f"/drift/?sort={sort}").context["rows"]
        assert [(r["Aircraft"], r["Point"]) for r in found] == [
            (line["row"].registration, line["row"].point) for line in page
        ]
    margins = [
        float(text)
        for text in column(browse, "drift", "Margin as share of the limit", "?sort=-margin")
        if text
    ]
    assert margins == sorted(margins, reverse=True) and len(margins) > 1


def test_instruments_utilisation_and_procedures(busy: World, browse: Client) -> None:
    gauges = column(browse, "instruments", "Instrument", "?kind=gauge&sort=-code")
    assert gauges == sorted(gauges, reverse=True) and "gauge-1" in gauges and "thermo-1" not in gauges
    hours = [float(text) for text in column(browse, "utilisation", "Flight hours", "?sort=-hours")]
    assert hours == sorted(hours, reverse=True)
    found = rows(browse, "procedures", "?sort=-title")
    titles = [row["Procedure"] for row in found]
    assert titles == sorted(titles, reverse=True)
    assert {row["State"] for row in found} == {"effective", "superseded"} and all(
        row["Approved by"] for row in found
    )


def test_what_is_not_understood_is_explained_by_the_page(busy: World, browse: Client) -> None:
    for name, query in (("records", "?begins=yesterday"), ("icing", "?base=moon"), ("drift", "?state=fine")):
        answer = browse.get(reverse("reports:list_file", args=[name, "csv"]) + query)
        assert answer.status_code == 302 and answer["Location"].startswith(reverse(LISTS[name].page))
    assert browse.get(reverse("reports:list_file", args=["people", "csv"])).status_code == 404
    assert rows(browse, "records", "?sort=%3Cscript%3E") == rows(browse, "records")


def test_a_longer_file_takes_no_more_queries(db: None, browse: Client) -> None:
    world, cost = build_world(aircraft=22), {}
    refresh_due()
    by = world.person("controller1")
    for number, more in ((2, world.fleet[:2]), (22, world.fleet[2:])):
        for one in more:
            raise_defect(aircraft=one, by=by, description="Drip.")
        Aircraft.objects.update(state=Aircraft.State.LEFT)
        kept = [one.pk for one in world.fleet[:number]]
        Aircraft.objects.filter(pk__in=kept).update(state=Aircraft.State.IN_SERVICE)
        for name in ("aircraft", "icing", "defects", "utilisation"):
            with CaptureQueriesContext(connection) as queries:
                assert len(rows(browse, name)) >= number
            cost.setdefault(name, []).append(len(queries))
    assert all(few == many for few, many in cost.values()), cost


def test_past_forecasts_with_what_came(db: None, browse: Client) -> None:
    world = build_world()
    for days, level in ((300, 0.0), (200, 0.01), (100, 1.0)):
        read_check(world, world.forward, world.today - dt.timedelta(days=days), {"port": level})
    with time_machine.travel(NOON, tick=False):
        refresh_drift()
        refresh_report_card()
    page = browse.get("/drift/report-card/").content.decode()
    assert 'href="/reports/lists/forecasts.csv"' in page
    later, earlier = rows(browse, "forecasts")
    assert tuple(later) == LISTS["forecasts"].columns
    assert (earlier["Inside"], earlier["Over limit"]) == ("yes", "no")
    assert (later["Inside"], later["Over limit"], later["Over limit before"]) == ("no", "yes", "no")
    low, high = (float(later[f"Expected {end} (at 20 °C)"]) for end in ("from", "to"))
    assert low < high < float(later["Value that came (at 20 °C)"])
    assert earlier["Foretold as of"] < earlier["Read on"] == later["After the reading of"]


def test_confirmed_causes(busy: World, browse: Client) -> None:
    assert rows(browse, "causes") == []
    event = CheckEvent.objects.get(aircraft=busy.forward, state="signed")
    by = busy.person("technician1")
    found = record_cause(event=event, by=by, cause="panel_blocked", remark="=1+1 Invented.")
    page = browse.get("/causes/").content.decode()
    assert 'href="/reports/lists/causes.csv"' in page
    (row,) = rows(browse, "causes")
    assert tuple(row) == LISTS["causes"].columns
    assert (row["Aircraft"], row["Confirmed"]) == (str(busy.forward), str(found))
    assert row["Remark"] == "'=1+1 Invented."


@pytest.mark.parametrize("name", LISTS)
def test_workbook_and_json_hold_what_the_csv_holds(busy: World, browse: Client, name: str) -> None:
    """General-purpose reference: openpyxl reads the workbook."""
    said = rows(browse, name)
    answer = browse.get(reverse("reports:list_file", args=[name, "xlsx"]))
    sheet = load_workbook(io.BytesIO(answer.content))["List"]
    head, *lines = sheet.iter_rows(values_only=True)
    assert head == LISTS[name].columns and len(lines) == len(said)
    assert sheet.freeze_panes == "B2" and sheet.auto_filter.ref.startswith("A1:")
    told = json.loads(browse.get(reverse("reports:list_file", args=[name, "json"])).content)
    assert (told["list"], tuple(told["columns"]), len(told["rows"])) == (name, head, len(said))
    for line, texts, row in zip(lines, said, told["rows"], strict=True):
        for cell, text, value in zip(line, texts.values(), row.values(), strict=True):
            assert (cell is None) == (text == "") == (value in ("", None))
            if isinstance(value, int | float) and not isinstance(value, bool):
                assert float(text) == value == cell
