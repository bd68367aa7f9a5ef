"""Scanned labels: each leads where it should; an instrument goes into the check at hand with one tap."""

import datetime as dt
import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from checks.models import CheckEvent, Handover, Step
from checks.services.record import save_draft
from checks.services.sign import sign_performed
from fleet.models import Calibration, Fitment, Part
from tests.checks.check_pages import logged_in, posted, series_step, world_at_noon
from tests.checks.work import filled, instrument_key, started, typed
from tests.world import PASSWORD, World

pytestmark = pytest.mark.django_db
world = pytest.fixture(world_at_noon)


@pytest.fixture
def client(world: World) -> Client:
    return logged_in(world, "technician1")


def label(kind: str, code: object) -> str:
    return reverse("checks:label", args=[kind, code])


def instrument_field(step: Step) -> str:
    return (
        f"series-{step.pk}-instrument" if step.kind == "timed_series" else f"reading-{step.pk}-0-instrument"
    )


def chosen(page: str, step: Step) -> str:
    """The key of the instrument that stands chosen at a step, empty for none."""
    select = re.search(rf'<select id="{instrument_field(step)}".*?</select>', page, re.DOTALL)[0]
    found = re.search(r'<option [^>]*\bvalue="(\d+)"[^>]* selected', select)
    return found[1] if found else ""


# --- where labels lead --------------------------------------------------------------------------------------


def test_an_aircraft_leads_to_its_page(world: World, client: Client) -> None:
    page = reverse("checks:aircraft", args=["Q-0000"])
    assert client.get(label("aircraft", "Q-0000")).url == page
    assert client.get(label("aircraft", "q-0000")).url == page


def test_a_part_leads_to_the_aircraft_that_it_is_fitted_to_now(world: World, client: Client) -> None:
    panel = world.position(world.forward, "wing-li")
    part = Part.objects.create(part_number="P/1", serial_number="7 é", kind="panel")
    never = client.get(label("part", part.pk))
    assert never.status_code == 200 and "It never was." in never.content.decode()
    Fitment.objects.filter(aircraft=world.forward, position=panel, removed_on=None).update(
        removed_on=world.today
    )
    fitment = Fitment.objects.create(part=part, aircraft=world.forward, position=panel, fitted_on=world.today)
    there = reverse("checks:aircraft", args=["Q-0000"])
    answer = client.get(label("part", part.pk))
    assert answer.url == f"{there}#position-wing-li"
    assert 'id="position-wing-li"' in client.get(there).content.decode()
    Fitment.objects.filter(pk=fitment.pk).update(
        removed_on=world.today + dt.timedelta(days=1), removal_reason="invented reason"
    )
    page = client.get(label("part", part.pk)).content.decode()
    assert there in page and "13 Mar 2025" in page and "invented reason" in page


def test_an_instrument_leads_to_its_page_where_no_check_asks_for_one(world: World, client: Client) -> None:
    page = reverse("checks:instrument_detail", args=["gauge-1"])
    assert client.get(label("instrument", "gauge-1")).url == page
    started(world, world.forward, "panel-purge")  # asks for no gauge
    started(world, world.forward, by="technician2")  # another person's
    assert client.get(label("instrument", "gauge-1")).url == page


@pytest.mark.parametrize(
    ("kind", "code"),
    [
        ("aircraft", "Q-9999"),
        ("part", "999999"),
        ("part", "x"),
        ("part", "²"),
        ("part", "9" * 18),
        ("part", "9" * 5000),
        ("instrument", "none"),
        ("tool", "1"),
    ],
)
def test_a_label_of_nothing_is_not_found(client: Client, kind: str, code: str) -> None:
    assert client.get(label(kind, code)).status_code == 404


def test_the_camera_of_a_phone_that_is_signed_out_comes_back_after_the_log_in(world: World) -> None:
    answer = Client().get(label("instrument", "gauge-1"))
    assert answer.status_code == 302
    assert answer.url == f"{reverse('login')}?next={label('instrument', 'gauge-1')}"


# --- one tap into the check at hand -------------------------------------------------------------------------


def test_one_tap_chooses_it_wherever_it_may_serve(world: World, client: Client) -> None:
    draft = started(world, world.forward)
    page = client.get(label("instrument", "gauge-1")).content.decode()
    assert page.count("Use in this check") == 1 and "Pressure and flow check, Q-0000" in page
    tap = re.search(r'href="([^"]+)">Use in this check', page)[1]
    assert tap == reverse("checks:check", args=[draft.pk]) + "?instrument=gauge-1"
    step = series_step(draft)
    opened = client.get(tap).content.decode()
    assert chosen(opened, step) == instrument_key("gauge-1")
    assert f'data-scanned="{instrument_key("gauge-1")}"' in opened
    said = re.sub(r"<[^>]+>", "", opened)
    assert f"gauge-1 (pressure gauge) is chosen at step {step.number}." in said
    assert chosen(client.get(reverse("checks:check", args=[draft.pk])).content.decode(), step) == ""


def test_it_is_kept_with_the_first_save(world: World, client: Client) -> None:
    draft = started(world, world.forward)
    step = series_step(draft)
    tap = reverse("checks:check", args=[draft.pk], query={"instrument": "gauge-1"})
    form = client.get(tap).context["form"]
    sent = {name: value for name, value in form.text.items() if value}
    client.post(tap, sent | {f"reading-{step.pk}-0-typed": "96", f"reading-{step.pk}-0-elapsed": "1:00"})
    assert draft.readings.get().instrument.code == "gauge-1"


def test_its_unit_comes_with_it(world: World, client: Client) -> None:
    gauge = world.instrument("gauge-1")
    gauge.unit, gauge.range_high = "bar", 10
    gauge.save()
    draft = started(world, world.forward)
    tap = reverse("checks:check", args=[draft.pk], query={"instrument": "gauge-1"})
    step = series_step(draft)
    assert client.get(tap).context["form"].text[f"series-{step.pk}-unit"] == "bar"


def test_a_gauge_of_short_range_goes_to_the_ports_and_leaves_the_system_pressure(
    world: World, client: Client
) -> None:
    """The demo's port gauge ends below the limits of the test port; the limits of the ports lie inside."""
    draft = started(world, world.underfloor)
    ports = draft.revision.steps.filter(kind="measure", point__kind="panel_port")
    tap = reverse("checks:check", args=[draft.pk], query={"instrument": "port-gauge-1"})
    page = client.get(tap).content.decode()
    assert {chosen(page, step) for step in ports} == {instrument_key("port-gauge-1")} and len(ports) == 8
    assert chosen(page, series_step(draft)) == ""


def test_what_is_read_already_keeps_its_instrument(world: World, client: Client) -> None:
    draft = started(world, world.underfloor)
    save_draft(event=draft, by=world.person("technician1"), given=typed(draft))
    tap = reverse("checks:check", args=[draft.pk], query={"instrument": "gauge-2"})
    page = client.get(tap).content.decode()
    assert "Every step that it could serve has its reading already." in page
    assert chosen(page, series_step(draft)) == instrument_key("gauge-1")
    assert client.post(tap, posted(draft, typed(draft))).status_code == 302


@pytest.mark.parametrize("spoilt", ["due", "failed", "out of use"])
def test_one_that_may_not_be_used_says_why_and_is_not_chosen(
    world: World, client: Client, spoilt: str
) -> None:
    draft, gauge = started(world, world.forward), world.instrument("gauge-1")
    calibrations = Calibration.objects.filter(instrument=gauge)
    if spoilt == "due":
        calibrations.filter(due_on__gte=world.today).delete()
        assert calibrations.exists()
    elif spoilt == "failed":
        calibrations.update(result=Calibration.Result.FAILED)
    else:
        gauge.in_use = False
        gauge.save()
    page = client.get(label("instrument", "gauge-1")).content.decode()
    words = {
        "due": "is out of calibration",
        "failed": "failed its calibration",
        "out of use": "is out of use",
    }
    assert words[spoilt] in page and "Use in this check" not in page
    tap = reverse("checks:check", args=[draft.pk], query={"instrument": "gauge-1"})
    opened = client.get(tap).content.decode()
    assert words[spoilt] in opened and chosen(opened, series_step(draft)) == ""


def test_a_check_that_asks_for_no_such_instrument_says_so(world: World, client: Client) -> None:
    draft = started(world, world.forward, "panel-purge")
    tap = reverse("checks:check", args=[draft.pk], query={"instrument": "gauge-1"})
    assert "This check asks for no pressure gauge." in client.get(tap).content.decode()
    nothing = reverse("checks:check", args=[draft.pk], query={"instrument": "no-such"})
    assert client.get(nothing).context["form"].scanned is None


# --- whose checks, and of which day -------------------------------------------------------------------------


def offered(client: Client) -> list[CheckEvent]:
    answer = client.get(label("instrument", "gauge-1"))
    return [one["use"].event for one in answer.context["uses"]] if answer.status_code == 200 else []


def test_only_open_checks_of_today(world: World, client: Client) -> None:
    draft = started(world, world.forward)
    started(world, world.forward, work_date=world.today - dt.timedelta(days=1))
    CheckEvent.objects.exclude(pk=draft.pk).update(started_at=dt.datetime(2025, 3, 11, 12, tzinfo=dt.UTC))
    assert offered(client) == [draft]
    filled(draft, world)
    sign_performed(event=draft, by=world.person("technician1"), password=PASSWORD)
    assert offered(client) == []


def test_a_night_shift_passes_midnight(world: World, client: Client) -> None:
    world.clock.move_to(dt.datetime(2025, 3, 12, 22, tzinfo=dt.UTC))
    draft = started(world, world.forward)
    world.clock.move_to(dt.datetime(2025, 3, 13, 3, tzinfo=dt.UTC))
    assert offered(logged_in(world, "technician1")) == [draft]
    world.clock.move_to(dt.datetime(2025, 3, 13, 13, tzinfo=dt.UTC))
    assert offered(logged_in(world, "technician1")) == []


def test_a_check_is_offered_to_who_holds_it(world: World, client: Client) -> None:
    draft, other = started(world, world.forward), world.person("technician2")
    passed = Handover.objects.create(
        event=draft, way="taken over", giver=draft.started_by, receiver=other, at=dt.datetime.now(dt.UTC)
    )
    theirs = logged_in(world, "technician2")
    assert (offered(client), offered(theirs)) == ([draft], [])
    passed.accepted_at = dt.datetime.now(dt.UTC)
    passed.save()
    assert (offered(client), offered(theirs)) == ([], [draft])


def test_a_reader_without_checks_of_their_own_sees_the_instrument(world: World) -> None:
    started(world, world.forward)
    assert logged_in(world, "auditor1").get(label("instrument", "gauge-1")).status_code == 302


def test_two_drafts_ask_as_much_as_twenty_two(world: World, client: Client) -> None:
    counts = []
    for more in (2, 20):
        for _ in range(more):
            started(world, world.forward)
        with CaptureQueriesContext(connection) as asked:
            page = client.get(label("instrument", "gauge-1"))
        counts.append(len(asked))
    assert page.content.decode().count("Use in this check") == 22
    assert counts[0] == counts[1]


# --- its code, typed ----------------------------------------------------------------------------------------


def with_code(world: World, client: Client, code: str, typed: str = "96") -> tuple[Step, str]:
    """Post a draft of which only a code and one value were typed: the step, and the page that answers."""
    draft = started(world, world.forward)
    step = series_step(draft)
    form = {f"series-{step.pk}-code": code, f"series-{step.pk}-unit": "kPa"}
    form |= {f"reading-{step.pk}-1-typed": typed, f"reading-{step.pk}-1-elapsed": "1:00"}
    answer = client.post(reverse("checks:check", args=[draft.pk]), form, follow=True)
    return step, answer.content.decode()


@pytest.mark.parametrize("code", ["gauge-2", " GAUGE-2 "])
def test_a_typed_code_chooses_the_instrument(world: World, client: Client, code: str) -> None:
    step, page = with_code(world, client, code)
    assert chosen(page, step) == instrument_key("gauge-2")
    assert CheckEvent.objects.get().readings.get().instrument.code == "gauge-2"
    assert f'name="series-{step.pk}-code" value=""' in page


def test_its_unit_comes_with_a_typed_code(world: World, client: Client) -> None:
    with_code(world, client, "gauge-3", typed="14")
    assert CheckEvent.objects.get().readings.get().unit == "[psi]"


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("gauge-77", "no instrument has the code “gauge-77”"),
        ("thermo-1", "thermo-1 is a thermometer; this step asks for: pressure gauge."),
        ("gauge-6", "gauge-6 is out of use; take another one."),
    ],
)
def test_a_code_that_may_not_serve_is_refused_and_stays_typed(
    world: World, client: Client, code: str, words: str
) -> None:
    step, page = with_code(world, client, code)
    assert f"Step {step.number}: {words}" in page
    assert f'name="series-{step.pk}-code" value="{code}"' in page
    assert f'name="reading-{step.pk}-1-typed" value="96"' in page and chosen(page, step) == ""
    assert not CheckEvent.objects.get().readings.exists()


def test_a_code_without_a_value_yet_chooses_too(world: World, client: Client) -> None:
    step, page = with_code(world, client, "gauge-2", typed="")
    assert chosen(page, step) == instrument_key("gauge-2")
