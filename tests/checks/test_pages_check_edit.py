"""A check while it is carried out: made from its steps, nothing typed is lost, the outcome at once."""

import re
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from checks.forms.check import CheckForm
from checks.models import CheckEvent, LimitRow, Step
from fleet.models import Position
from tests.checks.check_pages import OVER, address, logged_in, posted, series_step, world_at_noon
from tests.checks.work import instrument_key, started, typed
from tests.world import World

pytestmark = pytest.mark.django_db
world = pytest.fixture(world_at_noon)


@pytest.fixture
def client(world: World) -> Client:
    return logged_in(world, "technician1")


@pytest.fixture
def draft(world: World) -> CheckEvent:
    return started(world, world.forward)


def rows_of(event: CheckEvent) -> list[tuple]:
    """Everything kept of a draft, by place."""
    readings = event.readings.order_by("step", "sequence").values_list(
        "step", "sequence", "typed", "unit", "elapsed_seconds", "instrument", "calibration"
    )
    looks = event.observations.order_by("step", "position").values_list("step", "position", "satisfactory")
    cautions = event.cautions_followed.order_by("step").values_list("step", "restored")
    return [*readings, *looks, *cautions]


# --- the page is made from the steps -----------------------------------------------------------


@pytest.mark.parametrize("code", ["pressure-flow", "panel-purge", "strainer-filter", "fluid-concentration"])
@pytest.mark.parametrize("variant", ["forward", "underfloor"])
def test_every_step_of_any_procedure_is_there_in_order(
    world: World, client: Client, variant: str, code: str
) -> None:
    aircraft = getattr(world, variant)
    event = started(world, aircraft, code)
    text = client.get(address(event)).content.decode()
    shown = [int(n) for n in re.findall(r'id="step-(\d+)"', text)]
    steps = list(event.revision.steps.all())
    assert shown == [step.number for step in steps]
    for step in steps:
        boxed = step.kind in (Step.Kind.WARNING, Step.Kind.CAUTION, Step.Kind.CONFIRM)
        assert (f'name="caution-{step.pk}-acknowledged"' in text) == boxed
        assert (f'name="caution-{step.pk}-restored"' in text) == bool(step.restore_text)
        if step.kind == Step.Kind.OBSERVE and step.position_kind:
            places = Position.objects.filter(variant=aircraft.variant, kind=step.position_kind)
            names = {f"observation-{step.pk}-{place.pk}-satisfactory" for place in places}
            assert names == set(re.findall(rf'id="(observation-{step.pk}-\d+-satisfactory)"', text))
    assert "Invented example, no approved data" in text


def test_what_the_tool_knows_is_filled_in(world: World, client: Client, draft: CheckEvent) -> None:
    text = client.get(address(draft)).content.decode()
    assert 'name="hours" value="2000.00"' in text and 'name="landings" value="1500"' in text
    assert "Latest entry: 10 Feb 2025" in text
    step = series_step(draft)
    times = re.findall(rf'name="reading-{step.pk}-\d+-elapsed" value="([^"]*)"', text)
    assert times == ["0:00", "1:00", "2:00", "3:00", "4:00", "5:00"]


def test_instruments_out_of_calibration_are_named_and_not_offered(
    world: World, client: Client, draft: CheckEvent
) -> None:
    text = client.get(address(draft)).content.decode()
    select = re.search(rf'<select id="series-{series_step(draft).pk}-instrument".*?</select>', text, re.S)[0]
    due = world.master.calibrations["gauge-5"][-1].due_on
    assert "gauge-1, due" in select and "gauge-5" not in select and "gauge-6" not in select
    assert f"gauge-5 is out of calibration: it was due on {due:%d %b %Y}" in text
    # Those of the base first, one that can't show a passed limit last and with a note.
    assert select.index("gauge-1") < select.index("gauge-2") < select.index("port-gauge-1")
    assert "reads to 160 kPa only" in select


def test_an_instrument_too_coarse_for_the_lowest_limit_is_offered_last_and_says_so(
    world: World, client: Client, draft: CheckEvent
) -> None:
    step = series_step(draft)
    rows = LimitRow.objects.filter(table__revision=draft.revision, table__point=step.point)
    lowest = min(rows.values_list("upper", flat=True))
    fits, coarse = world.instrument("gauge-1"), world.instrument("gauge-2")
    fits.resolution, coarse.resolution = lowest / 10, lowest / 10 + Decimal("0.01")
    fits.save()
    coarse.save()
    text = client.get(address(draft)).content.decode()
    select = re.search(rf'<select id="series-{step.pk}-instrument".*?</select>', text, re.S)[0]
    labels = re.findall(r"<option[^>]*>([^<]+)</option>", select)
    assert [one for one in labels if "coarse: in steps of" in one] == [
        one for one in labels if one.startswith("gauge-2")
    ]
    assert labels.index(next(one for one in labels if one.startswith("gauge-2"))) > labels.index(
        next(one for one in labels if one.startswith("gauge-3"))
    )


def test_a_procedure_that_measures_nothing_asks_for_no_conditions(world: World, client: Client) -> None:
    purge = client.get(address(started(world, world.forward, "panel-purge"))).content.decode()
    assert "Supply voltage" not in purge and "Put back" in purge


# --- keeping the draft ---------------------------------------------------------------------------


def test_a_whole_form_is_kept_and_shown_again(world: World, client: Client, draft: CheckEvent) -> None:
    fields = {"pump": "metering pump 1", "mode": "max", "supply_voltage": "27.6", "hose_bled": "yes"}
    fields |= {"temperature_place": "tank", "remarks": "First look after <winter>"}
    data = posted(draft, typed(draft, fields=fields, dry=["wing-lo"]))
    assert client.post(address(draft), data).status_code == 302
    kept = rows_of(draft)
    form = CheckForm(CheckEvent.objects.get(pk=draft.pk))
    again = {name: value for name, value in form.text.items() if value}
    assert {k: v for k, v in again.items() if k in fields} == fields
    # There and back: what the page shows is, posted as it stands, the same draft.
    assert client.post(address(draft), again).status_code == 302
    assert rows_of(draft) == kept and len(kept) > 20
    assert "First look after &lt;winter&gt;" in client.get(address(draft)).content.decode()


def test_nonsense_stays_as_typed_and_all_else_is_kept(
    world: World, client: Client, draft: CheckEvent
) -> None:
    step = series_step(draft)
    data = posted(draft, typed(draft)) | {f"reading-{step.pk}-2-typed": "9x6", "hours": "two thousand"}
    response = client.post(address(draft), data)
    text = response.content.decode()
    assert response.status_code == 422
    assert f'name="reading-{step.pk}-2-typed" value="9x6"' in text
    assert f'href="#reading-{step.pk}-2-typed"' in text and 'href="#hours"' in text
    assert "reading 3: &#x27;9x6&#x27; is not a plain number; write digits with one decimal mark" in text
    assert draft.readings.filter(step=step).count() == 3
    draft.refresh_from_db()
    assert draft.hours == 2000


def test_nonsense_is_still_there_after_leaving_the_page(
    world: World, client: Client, draft: CheckEvent
) -> None:
    step = series_step(draft)
    data = posted(draft, typed(draft)) | {
        f"reading-{step.pk}-2-typed": "9x6",
        f"reading-{step.pk}-2-elapsed": "3:07",
    }
    client.post(address(draft), data)
    text = client.get(address(draft)).content.decode()
    assert f'name="reading-{step.pk}-2-typed" value="9x6"' in text
    assert f'name="reading-{step.pk}-2-elapsed" value="3:07"' in text
    assert "is not a plain number" in client.get(address(draft, "sign")).content.decode()
    # Another person does not see it: it is no part of the draft.
    assert "9x6" not in logged_in(world, "technician2").get(address(draft)).content.decode()
    client.post(address(draft), posted(draft, typed(draft)))
    assert "9x6" not in client.get(address(draft)).content.decode()


def test_what_belongs_to_no_value_yet_is_kept_too(world: World, client: Client, draft: CheckEvent) -> None:
    """An instrument chosen, a time read, a collection begun: the value comes later, perhaps after leaving."""
    step = series_step(draft)
    collection = draft.revision.steps.get(kind=Step.Kind.TIMED_COLLECTION)
    data = {
        f"series-{step.pk}-instrument": instrument_key("gauge-2"),
        f"reading-{step.pk}-3-elapsed": "3:04",
        f"reading-{collection.pk}-0-started": "4:10",
    }
    assert client.post(address(draft), data).status_code == 302
    text = client.get(address(draft)).content.decode()
    assert re.search(rf'value="{instrument_key("gauge-2")}" data-unit="kPa" selected', text)
    assert f'name="reading-{step.pk}-3-elapsed" value="3:04"' in text and 'value="4:10"' in text
    assert not draft.readings.exists()
    # Somebody else goes on with it: what they kept is shown, not what waited here.
    logged_in(world, "technician2").post(address(draft), posted(draft, typed(draft)))
    text = client.get(address(draft)).content.decode()
    assert re.search(rf'value="{instrument_key("gauge-1")}" data-unit="kPa" selected', text)
    assert f'name="reading-{step.pk}-3-elapsed" value="4:00"' in text


def test_an_instrument_out_of_calibration_is_refused_with_its_date(
    world: World, client: Client, draft: CheckEvent
) -> None:
    step = series_step(draft)
    data = posted(draft, typed(draft)) | {f"series-{step.pk}-instrument": instrument_key("gauge-5")}
    response = client.post(address(draft), data)
    due = world.master.calibrations["gauge-5"][-1].due_on
    text = response.content.decode()
    assert response.status_code == 422
    assert f"it was due on {due:%d %b %Y}; take another one" in text
    summary = re.search(r'<div class="summary".*?</div>', text, re.S)[0]
    assert summary.count("<li>") == 1  # once, not for each of the rows that share the instrument
    assert f'href="#series-{step.pk}-instrument"' in summary
    assert not draft.readings.filter(step=step).exists()


def test_more_rows_come_without_javascript_and_lose_nothing(client: Client, draft: CheckEvent) -> None:
    step = series_step(draft)
    data = posted(draft, typed(draft)) | {f"series-{step.pk}-rows": "6", f"reading-{step.pk}-5-typed": "9,6,"}
    response = client.post(address(draft), data | {"do": f"rows-{step.pk}"})
    text = response.content.decode()
    assert response.status_code == 200
    assert f'name="series-{step.pk}-rows" value="9"' in text
    assert f'id="reading-{step.pk}-8-typed"' in text and f'id="reading-{step.pk}-9-typed"' not in text
    assert 'value="9,6,"' in text and 'value="96"' in text


def test_a_unit_that_is_not_the_gauge_s_own_is_asked_about(client: Client, draft: CheckEvent) -> None:
    step = series_step(draft)
    data = posted(draft, typed(draft)) | {f"series-{step.pk}-unit": "bar"}
    data |= {f"reading-{step.pk}-{n}-typed": value for n, value in enumerate(("0.9", "0.96", "0.96", "0.96"))}
    client.post(address(draft), data)
    text = client.get(address(draft)).content.decode()
    assert "gauge-1 reads in kPa; the unit chosen here is bar. Is it right?" in text


def test_a_draft_is_thrown_away_by_its_own_button_alone(client: Client, draft: CheckEvent) -> None:
    assert client.post(address(draft), {"do": "discard"}).status_code == 302
    assert not CheckEvent.objects.exists()


def test_only_who_records_checks_keeps_them(world: World, draft: CheckEvent) -> None:
    for username in ("auditor1", "controller1"):
        reader = logged_in(world, username)
        page = reader.get(address(draft))
        assert page.status_code == 200 and "<form id=" not in page.content.decode()
        assert reader.post(address(draft), {"do": "discard"}).status_code == 403
        assert reader.post(address(draft, "outcome")).status_code == 403
    assert CheckEvent.objects.filter(pk=draft.pk).exists()


# --- the outcome at once -------------------------------------------------------------------------


def outcome(client: Client, event: CheckEvent, data: dict) -> str:
    response = client.post(address(event, "outcome"), data, headers={"HX-Request": "true"})
    assert response.status_code == 200
    return response.content.decode()


def test_over_limit_says_why_at_once(client: Client, draft: CheckEvent) -> None:
    text = outcome(client, draft, posted(draft, typed(draft, series=OVER)))
    assert "<html" not in text
    # 137.5 kPa: the row of 20 °C of the demo's table (142 x 0.97, in halves).
    assert "310 kPa against upper limit 137.5 kPa at 20 °C: outside by 172.5 kPa" in text
    assert "Next: purge and test again." in text and 'class="state act"' in text
    assert "Nothing here releases the aircraft" in text and "a single blocked panel" in text
    assert 'id="outcome-line"' in text and 'hx-swap-oob="true"' in text
    assert "upper limit at 20 °C" in text and "settled run" in text  # drawn, and as tables
    draft.refresh_from_db()
    assert draft.is_draft and not draft.outcome


def test_what_is_missing_is_said_and_is_no_next_step(client: Client, draft: CheckEvent) -> None:
    text = outcome(client, draft, posted(draft, typed(draft, volume="")))
    assert "<strong>Not valid: propeller nozzle: no value.</strong>" in text and "Next:" not in text


def test_nothing_is_said_before_there_is_something_to_say(client: Client, draft: CheckEvent) -> None:
    text = outcome(client, draft, {})
    assert "Nothing to say yet" in text and "Before it can be signed" in text
    assert "enter the fluid temperature first" in text and 'class="outcome-line"' in text
    panel = Position.objects.filter(variant=draft.aircraft.variant, kind="panel").first()
    look = draft.revision.steps.get(kind=Step.Kind.OBSERVE, position_kind="panel")
    assert f'href="#observation-{look.pk}-{panel.pk}-satisfactory"' in text


def test_a_dead_pump_passes_no_check(client: Client, draft: CheckEvent) -> None:
    text = outcome(client, draft, posted(draft, typed(draft, series=("8", "8", "8", "8"), volume="2")))
    assert "Next: a person must decide in writing." in text
    assert "a pump that does not run passes every upper limit" in text


def test_a_temperature_from_memory_is_not_valid(client: Client, draft: CheckEvent) -> None:
    given = typed(draft, fields={"temperature_from_memory": "yes"})
    assert "not measured (from memory)" in outcome(client, draft, posted(draft, given))


def test_what_can_not_be_read_is_named_in_the_part_too(client: Client, draft: CheckEvent) -> None:
    step = series_step(draft)
    data = posted(draft, typed(draft)) | {f"reading-{step.pk}-3-typed": "96?"}
    text = outcome(client, draft, data)
    assert "Not all could be read" in text and f'href="#reading-{step.pk}-3-typed"' in text


def test_page_and_part_ask_as_much_for_22_readings_as_for_2(client: Client, draft: CheckEvent) -> None:
    counts = []
    outcome(client, draft, posted(draft, typed(draft, series=("96",))))
    for values in (("96", "96"), ("96",) * 22):
        data = posted(draft, typed(draft, series=values))
        with CaptureQueriesContext(connection) as part:
            outcome(client, draft, data)
        with CaptureQueriesContext(connection) as page:
            assert client.get(address(draft)).status_code == 200
        counts.append((len(part), len(page)))
    assert counts[0] == counts[1]


@pytest.mark.parametrize(("code", "waits"), [("pressure-flow", True), ("pump-output", False)])
def test_a_collection_waits_for_pressure_only_where_a_series_is_read(
    world: World, client: Client, code: str, waits: bool
) -> None:
    text = client.get(address(started(world, world.forward, code))).content.decode()
    assert "For 60 s" in text and ("begun after the pressure has settled" in text) == waits
