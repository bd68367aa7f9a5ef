"""The fleet drift report: the ranking's own rows summed up, drawn and worded on paper."""

import datetime as dt
import io
import re
from collections.abc import Callable, Iterator

import pytest
import time_machine
from django.core.management import call_command
from django.db import connection
from django.http import QueryDict
from django.test import Client
from django.test.utils import CaptureQueriesContext
from pypdf import PdfReader

import reports.fleet_trend
from checks.models import DriftRun, SeriesState
from checks.selectors.drift_card import report_card
from checks.services.drift import refresh_drift
from checks.services.drift_card import refresh_report_card
from checks.services.due import refresh_due
from reports.fleet_trend import fleet_trend
from tests.checks.drift_history import at_noon, ramp, read_check
from tests.world import TODAY, World, build_world

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _today() -> Iterator[None]:
    with time_machine.travel(at_noon(), tick=False):
        yield


@pytest.fixture
def world() -> World:
    """Four aircraft: over limit, closing, steady; the fourth was read once, at Far Cape."""
    world = build_world(aircraft=4)
    first, second, third, fourth = world.fleet
    read_check(world, first, TODAY, {"port": 0.5})
    ramp(world, second, 0.16, seed=2)
    ramp(world, third, 0.0, seed=3)
    read_check(world, fourth, TODAY, {"port": 0.0})
    fourth.base = world.master.bases["farcape"]
    fourth.save()
    refresh_due()
    refresh_drift()
    return world


@pytest.fixture
def browse(auditor, client_of: Callable[..., Client]) -> Client:
    return client_of(auditor)


def paper(client: Client, query: str = "") -> tuple[str, PdfReader]:
    answer = client.get(f"/reports/drift.pdf{query}")
    assert answer.headers["Content-Type"] == "application/pdf"
    reader = PdfReader(io.BytesIO(answer.content))
    text = "\n".join(page.extract_text() for page in reader.pages)
    return re.sub(r"\s+", " ", text), reader


def test_the_summary_counts_by_base_and_state(world: World) -> None:
    told = fleet_trend(QueryDict())
    assert told.states == ("over limit", "closing", "drifting", "too few readings", "steady")
    assert told.summary == (
        ("Far Cape", (0, 0, 0, 1, 0)),
        ("North Skerry", (1, 1, 0, 0, 1)),
        ("all shown", (1, 1, 0, 1, 1)),
    )
    assert [row.registration for row, _ in told.acting] == ["Q-0000", "Q-0001"]
    assert [row.registration for row in told.others] == ["Q-0003", "Q-0002"]


def test_paper_says_what_the_page_says(world: World, browse: Client) -> None:
    text, reader = paper(browse)
    assert "Drift of the fleet as of 12 Mar 2025" in text and "Shown: the whole fleet. 4 measuring" in text
    page = browse.get("/drift/").context["rows"]
    for line in page:
        row = line["row"]
        assert row.registration in text and row.state in text and row.advice.what in text
        assert row.chance.replace("\u00a0", " ") in text
        assert row.crossing in text and row.margin in text
    assert "Uncontrolled when printed" in text
    assert "tried on simulated aircraft and not in the field" in text
    assert "these readings can name no single panel" in text
    assert reader.metadata.title.startswith("Drift of the fleet")


def test_points_to_act_on_are_drawn_with_their_limit(world: World, browse: Client) -> None:
    """142 and 122 kPa: the invented reference tables' own rows at 20 °C."""
    text, _ = paper(browse)
    assert "limit 142 kPa" in text and "limit 122 kPa" in text
    assert text.count("Pressure, kPa") == 2


def test_paper_says_how_good_it_was_and_what_changed(world: World, browse: Client) -> None:
    text, _ = paper(browse)
    assert "No past forecast was held against a reading yet" in text
    assert "no change can be told" in text
    refresh_report_card()
    text, _ = paper(browse)
    card = report_card()
    assert card.last.headline in text and f"all years {card.whole.grade.forecasts} " in text
    assert "What changed since the last report Since 10 Feb 2025: 1 new" in text
    assert "Q-0000 system test port over limit now over limit" in text
    base = world.master.bases["farcape"].pk
    assert "Since 10 Feb 2025: no point changed its state" in paper(browse, f"?base={base}")[0]


def test_the_filter_is_followed_and_stated(world: World, browse: Client) -> None:
    base = world.master.bases["farcape"].pk
    text, _ = paper(browse, f"?base={base}&point=test_port")
    assert "Shown: base Far Cape; system test port. 1 measuring" in text
    assert "Q-0003" in text and "Q-0000" not in text and "None: no point shown" in text


def test_nothing_to_show_has_words(world: World, browse: Client) -> None:
    assert "No series fits this filter." in paper(browse, "?aircraft=ZZ")[0]


def test_before_the_first_run_paper_says_so(browse: Client) -> None:
    assert "No drift was computed yet." in paper(browse)[0]


def test_a_filter_not_understood_is_explained_by_the_page(world: World, browse: Client) -> None:
    answer = browse.get("/reports/drift.pdf?state=late")
    assert (answer.status_code, answer.url) == (302, "/drift/?state=late")


def test_who_may_not_read_gets_no_paper(world: World, outsider, client_of: Callable[..., Client]) -> None:
    assert client_of(outsider).get("/reports/drift.pdf").status_code == 403
    assert Client().get("/reports/drift.pdf").status_code == 302


def test_more_charts_than_a_person_reads_go_into_the_table(
    world: World, browse: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reports.fleet_trend, "MOST_CHARTS", 1)
    told = fleet_trend(QueryDict())
    assert (len(told.acting), told.left_without_chart) == (1, 1)
    assert told.others[0].state == SeriesState.State.CLOSING
    assert "1 more stand first in the table" in paper(browse)[0]


def test_the_fit_that_a_report_names_is_kept(world: World, browse: Client) -> None:
    run = DriftRun.objects.get()
    assert run.printed_at is None
    assert f"Fit {run.pk}, of " in paper(browse)[0]
    run.refresh_from_db()
    first = run.printed_at
    paper(browse)
    run.refresh_from_db()
    assert run.printed_at == first is not None


def test_an_old_fit_is_called_old(world: World) -> None:
    assert not fleet_trend(QueryDict()).fit.stale
    assert fleet_trend(QueryDict(), today=TODAY + dt.timedelta(days=2)).fit.stale


def test_queries_do_not_grow_with_the_rows(world: World) -> None:
    def cost() -> int:
        with CaptureQueriesContext(connection) as queries:
            fleet_trend(QueryDict())
        return len(queries)

    few = cost()
    for aircraft in world.fleet:
        read_check(world, aircraft, TODAY, {"nozzle": 0.0}, gauge="vessel-500", minutes=5)
    refresh_drift()
    assert len(fleet_trend(QueryDict()).others) + len(fleet_trend(QueryDict()).acting) == 8
    assert cost() == few


def test_the_nightly_command_says_what_it_did(world: World, capsys: pytest.CaptureFixture[str]) -> None:
    call_command("refresh_drift")
    assert re.match(r"4 series scored from 20 readings in [\d.]+ s\.", capsys.readouterr().out)
