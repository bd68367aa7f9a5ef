"""The pages beside the ranking: one aircraft on its plan, the report card, what each gauge adds."""

from collections.abc import Callable, Iterator

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from checks.models import CheckEvent, ImportBatch, SeriesState, StockMovement
from checks.selectors.drift import drift_rows, series_states
from checks.selectors.gauges import ALONE, HIGH, LOW, NONE, gauge_rows
from checks.services.drift import refresh_drift
from checks.services.drift_card import refresh_report_card
from checks.services.drift_records import followed
from fleet.models import Fitment, Instrument, Part
from tests.checks.drift_history import ago, at_noon, ramp, read_check, reset, series
from tests.world import TODAY, World, build_world

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _today() -> Iterator[None]:
    with time_machine.travel(at_noon(), tick=False):
        yield


@pytest.fixture
def browse(auditor, client_of: Callable[..., Client]) -> Client:
    return client_of(auditor)


@pytest.fixture
def world() -> World:
    """Aircraft with panel ports (the first of the two variants that has them) and one without."""
    world = build_world(aircraft=4)
    for n, aircraft in enumerate(world.fleet):
        codes = _codes(world, aircraft)
        for days in (500, 350, 200, 60):
            levels = dict.fromkeys(codes, 0.0)
            if n == 1:
                levels[codes[-1]] = (500 - days) * 0.0007
            read_check(world, aircraft, ago(days), levels)
    refresh_drift()
    refresh_report_card()
    return world


def _codes(world: World, aircraft) -> list[str]:
    points = aircraft.variant.points.filter(pk__in=followed()).order_by("order", "code")
    return list(points.values_list("code", flat=True))


def text(client: Client, address: str, **query: str) -> str:
    answer = client.get(address, query)
    assert answer.status_code == 200
    return answer.content.decode()


# --- one aircraft -------------------------------------------------------------------------------


def test_every_point_is_on_the_page_and_leads_to_its_series(world: World, browse: Client) -> None:
    for aircraft in (world.forward, world.underfloor):
        page = text(browse, f"/drift/aircraft/{aircraft.registration}/")
        own = SeriesState.objects.filter(aircraft=aircraft).select_related("point")
        assert own.count() == len(_codes(world, aircraft))
        assert page.count('<article class="small') == own.count()
        for one in own:
            assert f'href="/drift/{one.pk}/"' in page
            assert one.point.name[1:] in page
        assert " style=" not in page and "<script>" not in page


def test_the_wings_lie_left_and_right_of_the_plan(world: World, browse: Client) -> None:
    sides = browse.get(f"/drift/aircraft/{world.underfloor.registration}/").context["sides"]
    assert all("left" in card["name"] for card in sides["left"]) and sides["left"]
    assert all("right" in card["name"] for card in sides["right"]) and sides["right"]
    assert {card["name"] for card in sides["whole"]} >= {"system test port", "propeller nozzle"}


def test_all_charts_stand_on_one_scale(world: World, browse: Client) -> None:
    """The limit lies at the same height in every chart: that is what makes them comparable."""
    page = text(browse, f"/drift/aircraft/{world.underfloor.registration}/")
    limits = {part.split('d="')[1].split('"')[0] for part in page.split('class="c-limit"')[1:]}
    assert len(limits) == 1


def test_an_aircraft_without_ports_says_that_no_panel_can_be_named(world: World, browse: Client) -> None:
    words = "can name no single panel"
    assert words in text(browse, f"/drift/aircraft/{world.forward.registration}/")
    assert words not in text(browse, f"/drift/aircraft/{world.underfloor.registration}/")


def test_points_that_move_together_are_told_on_every_page(world: World, browse: Client) -> None:
    one = SeriesState.objects.filter(aircraft=world.fleet[0]).first()
    one.facts["whole_aircraft"] = True
    one.save()
    registration = world.fleet[0].registration
    page = text(browse, f"/drift/aircraft/{registration}/")
    assert "may move together: look at thermometer, gauge and fluid first" in page
    ranking = text(browse, "/drift/")
    assert "all points may move together" in ranking and f"/drift/aircraft/{registration}/" in ranking
    assert "all points may move together" not in text(browse, "/drift/", aircraft=world.fleet[1].registration)


def test_an_aircraft_that_was_never_read(browse: Client) -> None:
    world = build_world()
    page = text(browse, f"/drift/aircraft/{world.forward.registration}/")
    assert "Nothing scored yet" in page
    assert browse.get("/drift/aircraft/Q-NONE/").status_code == 404


def test_the_aircraft_page_asks_the_same_for_2_readings_and_22(browse: Client) -> None:
    world = build_world()

    def cost() -> int:
        with CaptureQueriesContext(connection) as queries:
            text(browse, f"/drift/aircraft/{world.forward.registration}/")
        return len(queries)

    ramp(world, world.forward, 0.0, checks=2)
    refresh_drift()
    few = cost()
    ramp(world, world.forward, 0.0, checks=22, every=60, last_ago=300)
    refresh_drift()
    assert cost() == few


# --- what is in store, what came from paper -------------------------------------------------------


def closing(world: World) -> SeriesState:
    """The panel port of the second aircraft that rises; asked for a purge whatever the model says."""
    state = SeriesState.objects.get(aircraft=world.fleet[1], point__code=_codes(world, world.fleet[1])[-1])
    SeriesState.objects.filter(pk=state.pk).update(state="closing", urgency=1, action="purge before")
    return series_states().get(pk=state.pk)


def in_store(world: World, part: Part, base: str) -> None:
    StockMovement.objects.create(
        kind=StockMovement.Kind.RECEIVED,
        on=ago(5),
        base=world.master.bases[base],
        part=part,
        quantity=1,
        entered_by=world.person("controller1"),
        entered_at=at_noon(),
    )


def test_a_part_in_store_is_told_for_the_panel_that_it_fits(world: World) -> None:
    state = closing(world)
    assert state.point.position_id, "the last followed point of this variant is a panel port"
    Fitment.objects.filter(aircraft=state.aircraft, position=state.point.position).delete()

    def said() -> str:
        return drift_rows([state])[0].part

    assert said() == "no part on file there"
    fitted = Part.objects.create(part_number="P-1", serial_number="1", kind="panel")
    Fitment.objects.create(
        part=fitted, aircraft=state.aircraft, position=state.point.position, fitted_on=ago(900)
    )
    assert said() == "no part in store"
    base = state.aircraft.base
    here = next(code for code, one in world.master.bases.items() if one.pk == base.pk)
    there = next(code for code, one in world.master.bases.items() if one.pk != base.pk)
    in_store(world, Part.objects.create(part_number="P-1", serial_number="2", kind="panel"), there)
    assert said() == "part at another base"
    in_store(world, Part.objects.create(part_number="P-1", serial_number="3", kind="panel"), here)
    assert said() == "part on hand"


def test_where_nothing_is_asked_no_part_is_told(world: World) -> None:
    calm = [row for row in drift_rows(series_states()) if row.state == "steady"]
    assert calm and not any(row.part for row in calm)


def test_readings_from_paper_are_counted_and_marked(browse: Client) -> None:
    world = build_world()
    by = world.person("controller1")
    batch = ImportBatch.objects.create(
        kind="checks", file_name="old.csv", sha256="0", rows_added=1, imported_by=by, accepted_by=by
    )
    paper = {"source": CheckEvent.Source.IMPORTED, "import_batch": batch}
    read_check(world, world.forward, ago(900), {"port": 0.0}, gauge=None, **paper)
    read_check(world, world.forward, ago(700), {"port": 0.0}, gauge=None, **paper)
    read_check(world, world.forward, ago(100), {"port": 0.0})
    refresh_drift()
    (row,) = drift_rows(series_states())
    assert (row.readings, row.imported) == (3, 2)
    assert "2 from paper records" in text(browse, "/drift/")
    page = text(browse, f"/drift/{series(world.forward).pk}/")
    chart = page.split('id="course"')[1].split("<details")[0]
    assert chart.count("from paper records") >= 2  # a shape of its own, named in the key and the readout
    assert ", from paper records" in chart
    reset(world, world.forward, ago(50), ["port"])
    read_check(world, world.forward, ago(20), {"port": 0.0})
    refresh_drift()
    (row,) = drift_rows(series_states())
    assert (row.readings, row.imported) == (1, 0)  # the paper is of the life before


# --- one series -----------------------------------------------------------------------------------


def test_another_instrument_and_a_reset_are_marked(browse: Client) -> None:
    world = build_world()
    for days, gauge in ((400, "gauge-1"), (300, "gauge-1"), (200, "gauge-2"), (100, "gauge-2")):
        read_check(world, world.forward, ago(days), {"port": 0.0}, gauge=gauge)
    reset(world, world.forward, ago(50), ["port"])
    read_check(world, world.forward, ago(20), {"port": 0.0}, gauge="gauge-1")
    refresh_drift()
    page = text(browse, f"/drift/{series(world.forward).pk}/")
    figure = page.split('id="course"')[1].split("</figure>")[0]
    assert figure.count("gauge-2 from here") >= 1 and figure.count("gauge-1 from here") >= 1
    assert ">purge<" in figure and "with gauge-2" in figure
    readings = page.split('aria-labelledby="readings"')[1].split("</section>")[0]
    assert readings.count("gauge-2") == 2 and readings.count("gauge-1") == 3


def test_the_forecast_goes_on_to_the_next_check_and_says_where_it_meets_the_limit(browse: Client) -> None:
    world = build_world(aircraft=2)
    ramp(world, world.fleet[1], 0.16, seed=2)
    refresh_drift()
    state = series(world.fleet[1])
    assert state.state == "closing" and state.crossing_on
    page = text(browse, f"/drift/{state.pk}/")
    figure = page.split('id="course"')[1].split("</figure>")[0]
    assert "limit met, 8 of 10" in figure and "Meets the limit about" in figure and ">scored<" in figure
    assert state.chart["band"][-1][0] > TODAY.isoformat()


# --- the report card and the gauges ---------------------------------------------------------------


def test_the_report_card_tells_last_year_first(world: World, browse: Client) -> None:
    page = text(browse, "/drift/report-card/")
    assert page.index("The last twelve months") < page.index("By year")
    assert "where 9 of 10 were expected" in page
    assert 'href="/reports/lists/forecasts.csv"' in page and " style=" not in page
    card = browse.get("/drift/report-card/").context["card"]
    assert card.last.grade.forecasts > 0 and card.last.headline in page


def test_without_a_night_the_report_card_says_so(browse: Client) -> None:
    assert "No past forecast was held against a reading yet" in text(browse, "/drift/report-card/")
    assert "No drift was computed yet" in text(browse, "/drift/gauges/")


def test_crossings_are_listed_with_what_had_been_said(world: World, browse: Client) -> None:
    read_check(world, world.fleet[0], ago(3), {_codes(world, world.fleet[0])[0]: 1.0})
    refresh_drift()
    refresh_report_card()
    page = text(browse, "/drift/report-card/")
    crossed = page.split('aria-labelledby="crossed"')[1]
    assert world.fleet[0].registration in crossed and "no date given" in crossed


@pytest.mark.parametrize("address", ["/drift/report-card/", "/drift/gauges/"])
def test_pages_ask_the_same_for_2_rows_and_22(browse: Client, address: str) -> None:
    world = build_world(aircraft=22)

    def cost() -> int:
        with CaptureQueriesContext(connection) as queries:
            text(browse, address)
        return len(queries)

    def cross(fleet: list) -> None:
        for n, one in enumerate(fleet):
            for days in (300, 200, 100):
                gauge = f"gauge-{1 + (n + days // 100) % 2}"
                read_check(world, one, ago(days), {"port": 0.0}, gauge=gauge)
            read_check(world, one, ago(10), {"port": 1.0})
        refresh_drift()
        refresh_report_card()

    cross(world.fleet[:2])
    few = cost()
    more = Instrument.objects.get(code="gauge-1")
    for n in range(20):
        more.pk, more.code = None, f"extra-{n}"
        more.save()
    cross(world.fleet[2:])
    assert len(browse.get("/drift/report-card/").context["crossed"]["rows"]) == 22
    assert cost() == few


def test_a_gauge_that_reads_high_is_named_and_one_that_stands_alone_is_not_judged(browse: Client) -> None:
    """Two gauges that differ by 0.06 in ln, used in turn on 24 aircraft; a third reads one aircraft only."""
    world = build_world(aircraft=25)
    for n, one in enumerate(world.fleet[:24]):
        for k, days in enumerate((400, 300, 200, 100)):
            high = (n + k) % 2
            read_check(world, one, ago(days), {"port": 0.03 if high else -0.03}, gauge=f"gauge-{1 + high}")
    third = Instrument.objects.get(code="gauge-1")
    third.pk, third.code = None, "gauge-9"
    third.save()
    for days in (400, 300, 200, 100):
        read_check(world, world.fleet[24], ago(days), {"port": 0.1}, gauge="gauge-9")
    refresh_drift()
    rows = {row.instrument.code: row for row in gauge_rows()[1]}
    assert rows["gauge-2"].verdict == HIGH and rows["gauge-1"].verdict == LOW
    assert rows["gauge-9"].verdict == ALONE
    assert rows["gauge-2"].effect - rows["gauge-1"].effect == pytest.approx(0.06, abs=0.02)
    assert (rows["gauge-1"].readings, rows["gauge-9"].readings) == (48, 4)
    page = text(browse, "/drift/gauges/")
    assert "gauge-2 reads high by +" in page and "gauge-1 reads low by −" in page
    assert "no comparison" in page and reverse("checks:instrument_detail", args=["gauge-2"]) in page
    assert "in calibration" in page or "out of calibration" in page


def test_gauges_that_agree_show_no_difference() -> None:
    world = build_world(aircraft=12)
    for n, one in enumerate(world.fleet):
        for k, days in enumerate((400, 300, 200, 100)):
            read_check(world, one, ago(days), {"port": 0.0}, gauge=f"gauge-{1 + (n + k) % 2}")
    refresh_drift()
    assert {row.verdict for row in gauge_rows()[1]} == {NONE}
