"""The list of the fleet and the page of one aircraft."""

import datetime as dt
import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from checks.models import ChainHead, DriftRun, SeriesState
from checks.selectors.aircraft import points_shown, positions_shown, stories
from checks.services.correct import correct
from checks.services.defects import raise_defect
from checks.services.due import refresh_due
from checks.services.record import save_draft
from checks.services.sign import sign_performed, sign_released
from fleet.models import Aircraft, Fitment, MeasuringPoint, Part
from fleet.services import fit_part
from tests.checks.check_pages import OVER, logged_in
from tests.checks.deferring import deferred
from tests.checks.due_history import done
from tests.checks.work import performed, started, typed
from tests.world import PASSWORD, World, build_world


@pytest.fixture
def browse(world: World) -> Client:
    return logged_in(world, "auditor1")


def url(aircraft: Aircraft) -> str:
    return f"/aircraft/{aircraft.registration}/"


def series(aircraft: Aircraft, point: MeasuringPoint, state: str = "closing", **more: object) -> SeriesState:
    """A stored drift result, as the trend service leaves it."""
    run = DriftRun.objects.first() or DriftRun.objects.create(
        model_version="t", parameters={}, inputs_hash="0", readings=9, run_at=timezone.now()
    )
    given = {"action": "purge before", "action_by": dt.date(2025, 5, 1), "margin": 0.12} | more
    return SeriesState.objects.create(
        aircraft=aircraft,
        point=point,
        run=run,
        state=state,
        urgency=SeriesState.URGENCY.index(state),
        readings_in_life=6,
        chart={},
        **given,
    )


def states(aircraft: Aircraft) -> dict[str, str]:
    """State of each position by code."""
    return {p.position.code: p.state for p in positions_shown(aircraft, points_shown(aircraft))}


# --- the system -----------------------------------------------------------------------------------


def test_without_panel_ports_no_panel_is_named(world: World, browse: Client) -> None:
    series(world.forward, world.point(world.forward, "nozzle"), "steady")
    told = states(world.forward)
    panels = {code: state for code, state in told.items() if code.startswith(("wing", "stab", "fin"))}
    assert len(panels) == 8 and set(panels.values()) == {"no port: cannot be named"}
    assert told["nozzle"] == "steady" and told["tank"] == "not measured"
    page = browse.get(url(world.forward)).content.decode()
    assert "so these records can name no panel" in page
    assert page.count("no port: cannot be named") >= 16, "on the plan and in the list of positions"


def test_with_panel_ports_each_position_leads_to_its_series(world: World, browse: Client) -> None:
    code = next(c for v, c in world.master.points if v == "underfloor" and c.startswith("port-"))
    drifting = series(world.underfloor, world.point(world.underfloor, code))
    position = drifting.point.position
    told = states(world.underfloor)
    assert told[position.code] == "closing"
    others = [c for c in told if c.startswith(("wing", "stab")) and c != position.code]
    assert {told[c] for c in others} == {"too few readings"}
    page = browse.get(url(world.underfloor)).content.decode()
    assert f'href="/drift/{drifting.pk}/"' in page and "can name no panel" not in page
    assert re.search(r"<title>\d+: " + re.escape(position.name) + ", closing</title>", page)
    assert "12 %" in page and "purge before 1 May 2025" in page


def test_the_newest_look_counts_and_a_dry_panel_outweighs_the_drift(world: World, clock) -> None:
    dry = "wing-lo"
    performed(world, world.forward, dry=[dry], work_date=world.today - dt.timedelta(days=3))
    assert states(world.forward)[dry] == "not satisfactory"
    clock.shift(60)
    performed(world, world.forward)
    assert states(world.forward)[dry] == "no port: cannot be named"


def test_a_corrected_look_no_longer_counts(world: World, clock) -> None:
    wrong = performed(world, world.forward, dry=["wing-lo"])
    clock.shift(60)
    draft = correct(event=wrong, by=world.person("technician1"), reason="Wrong panel ticked.")
    save_draft(event=draft, by=world.person("technician1"), given=typed(draft, dry=["wing-ro"]))
    sign_performed(event=draft, by=world.person("technician1"), password=PASSWORD)
    told = states(world.forward)
    assert told["wing-lo"] != "not satisfactory" and told["wing-ro"] == "not satisfactory"


def test_an_open_defect_of_a_position_is_the_gravest(world: World) -> None:
    position = world.position(world.forward, "wing-lo")
    raise_defect(
        aircraft=world.forward, by=world.person("technician1"), description="Dent.", position=position
    )
    assert states(world.forward)["wing-lo"] == "open"


def test_what_is_fitted_now_and_nothing_that_was_removed(world: World, browse: Client) -> None:
    position = world.position(world.forward, "wing-lo")
    Fitment.objects.filter(aircraft=world.forward, position=position).delete()
    for serial, fitted, removed in (("OLD-1", "2020-01-05", "2024-02-06"), ("NEW-2", "2024-02-06", None)):
        part = Part.objects.create(part_number="PN-7", serial_number=serial, kind="panel")
        fit_part(
            part=part, aircraft=world.forward, position=position, on=dt.date.fromisoformat(fitted)
        ) if removed is None else Fitment.objects.create(
            part=part, aircraft=world.forward, position=position, fitted_on=fitted, removed_on=removed
        )
    page = browse.get(url(world.forward)).content.decode()
    assert "PN-7 s/n NEW-2" in page and "6 Feb 2024" in page and "OLD-1" not in page


# --- what was done --------------------------------------------------------------------------------


def test_test_purge_retest_and_release_are_one_story(world: World, clock, browse: Client) -> None:
    revision = world.revision(world.forward, "fluid-concentration")
    other = done(world, world.forward, world.today - dt.timedelta(days=2), revision=revision)
    first = performed(world, world.forward, series=OVER)
    clock.shift(60)
    purge = performed(world, world.forward, "panel-purge", follows=first)
    clock.shift(60)
    retest = performed(world, world.forward, follows=purge)
    told = stories(world.forward, 8)
    assert [[e.pk for e in story.attempts] for story in told] == [
        [first.pk, purge.pk, retest.pk],
        [other.pk],
    ]
    assert told[0].last.outcome == "within limit" and not told[0].last.released
    shown = browse.get(url(world.forward)).context["stories"]
    assert [[one["word"] for one in story] for story in shown] == [["signed"] * 3, ["signed"]]


def test_a_correction_stays_in_its_story(world: World, clock) -> None:
    wrong = performed(world, world.forward)
    clock.shift(60)
    draft = correct(event=wrong, by=world.person("technician1"), reason="Wrong gauge.")
    right = sign_performed(event=draft, by=world.person("technician1"), password=PASSWORD)
    (story,) = stories(world.forward, 8)
    assert [(e.pk, e.corrected) for e in story.attempts] == [(wrong.pk, True), (right.pk, False)]


def test_only_the_newest_stories_are_told_the_newest_first(world: World) -> None:
    days = [world.today - dt.timedelta(days=10 * k) for k in range(5)]
    events = [done(world, world.forward, day) for day in days]
    assert [story.last.pk for story in stories(world.forward, 3)] == [e.pk for e in events[:3]]


def test_a_draft_says_what_is_still_disturbed(world: World, browse: Client) -> None:
    draft = started(world, world.forward)
    technician = world.person("technician1")
    page = browse.get(url(world.forward)).content.decode()
    assert "Nothing that was acknowledged is left disturbed." in page
    given = typed(draft)
    half = [type(c)(c.step, acknowledged=True, restored=False) if c.restored else c for c in given.cautions]
    save_draft(event=draft, by=technician, given=type(given)({}, (), (), tuple(half)))
    page = browse.get(url(world.forward)).content.decode()
    steps = draft.revision.steps.exclude(restore_text="")
    assert steps.exists() and "not recorded as put back" in page
    for step in steps:
        assert step.restore_text in page
    save_draft(event=draft, by=technician, given=given)
    assert "not recorded as put back" not in browse.get(url(world.forward)).content.decode()


def test_defects_deferrals_due_points_and_chain(world: World, browse: Client) -> None:
    event = performed(world, world.forward)
    sign_released(event=event, by=world.person("releaser1"), password=PASSWORD)
    by = world.person("controller1")
    defect = raise_defect(aircraft=world.forward, by=by, description="Placard worn.")
    deferred(world, defect)
    response = browse.get(url(world.forward))
    (shown,) = response.context["defects"]
    assert (shown.defect, shown.state) == (defect, "deferred")
    assert "category C, last day" in response.content.decode()
    assert {row.aircraft_id for row in response.context["due"]} == {world.forward.pk}
    head = ChainHead.objects.get(aircraft=world.forward)
    page = response.content.decode()
    assert f"{head.number} records" in page and head.hash[:16] in page
    (story,) = response.context["stories"]
    assert story[0]["word"] == "released"


# --- who and what ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("who", "offered"),
    [
        ("technician1", {"New check", "Raise a defect"}),
        ("controller1", {"Raise a defect", "Enter utilisation", "Change master data"}),
        ("auditor1", set()),
    ],
)
def test_buttons_are_those_of_the_role(world: World, who: str, offered: set[str]) -> None:
    page = logged_in(world, who).get(url(world.forward)).content.decode()
    actions = page[page.index('<div class="actions">') : page.index("Icing status</h2>")]
    labels = ("New check", "Raise a defect", "Enter utilisation", "Change master data")
    assert {label for label in labels if label in actions} == offered


def test_hours_and_landings_with_their_date(world: World, browse: Client) -> None:
    facts = {f["name"]: (f["value"], f["note"]) for f in browse.get(url(world.forward)).context["facts"]}
    assert facts["Flight hours"] == ("2\u202f000.00 h", "on 10 Feb 2025")
    assert facts["Landings"] == ("1\u202f500", "on 10 Feb 2025")


def test_an_empty_aircraft_has_words_for_everything(world: World, browse: Client) -> None:
    craft = Aircraft.objects.create(
        registration="Q-NEW",
        serial_number="DT-NEW",
        type_name="Demo Single",
        variant=world.forward.variant,
        base=world.forward.base,
        entered_service_on=world.today,
    )
    page = browse.get(url(craft)).content.decode()
    for words in (
        "nothing entered",
        "No check is on record yet.",
        "No signed record yet.",
        "None on record.",
        "nothing scored yet",
    ):
        assert words in page


def test_one_that_left_keeps_its_page_but_starts_nothing(world: World) -> None:
    Aircraft.objects.filter(pk=world.forward.pk).update(state="left")
    page = logged_in(world, "technician1").get(url(world.forward)).content.decode()
    assert "This aircraft has left the fleet. Its records stay." in page
    main = page[page.index("<main") :]
    assert "New check" not in main and "nothing recorded against" not in main


def test_unknown_aircraft_and_strangers(world: World, browse: Client, outsider, client_of) -> None:
    assert browse.get("/aircraft/Q-NONE/").status_code == 404
    for path in ("/aircraft/", url(world.forward)):
        assert Client().get(path).status_code == 302
        assert client_of(outsider).get(path).status_code == 403


# --- the list -------------------------------------------------------------------------------------


def listed(client: Client, **query: object) -> list[str]:
    return [str(line["aircraft"]) for line in client.get("/aircraft/", query).context["lines"]]


def test_the_list_filters_by_registration_base_variant_and_icing(world: World, browse: Client) -> None:
    raise_defect(aircraft=world.forward, by=world.person("technician1"), description="Drip.")
    world.underfloor.base = world.master.bases["farcape"]
    world.underfloor.save()
    first, second = world.forward.registration, world.underfloor.registration
    assert listed(browse) == [first, second]
    assert listed(browse, registration=first[2:]) == [first]
    assert listed(browse, base=world.underfloor.base_id) == [second]
    assert listed(browse, variant=world.forward.variant_id) == [first]
    assert listed(browse, icing="recorded against") == [first]
    assert listed(browse, icing="nothing recorded against", variant=world.forward.variant_id) == []
    assert "lines" not in browse.get("/aircraft/", {"base": "x"}).context


def test_the_list_says_what_is_most_pressing(world: World, browse: Client) -> None:
    done(world, world.forward, world.today - dt.timedelta(days=400), hours=1990)
    refresh_due()
    series(world.forward, world.point(world.forward, "port"), "steady", action="nothing")
    series(world.forward, world.point(world.forward, "nozzle"), "drifting", action="nothing")
    line = browse.get("/aircraft/").context["lines"][0]
    assert (line["due"], line["drift"], line["words"]) == ("overdue", "drifting", "recorded against")
    assert line["latest"].latest_landings == 1500


def test_an_empty_fleet_says_so(world: World, browse: Client) -> None:
    Aircraft.objects.update(state="left")
    assert b"No aircraft is entered yet." in browse.get("/aircraft/").content


# --- what it costs --------------------------------------------------------------------------------


def count(client: Client, path: str) -> int:
    client.get(path)
    with CaptureQueriesContext(connection) as queries:
        assert client.get(path).status_code == 200
    return len(queries)


def history(world: World, clock, craft: Aircraft, number: int) -> None:
    """So many checks, defects, drafts and points scored more."""
    by = world.person("technician1")
    for k in range(number):
        clock.shift(60)
        performed(world, craft, work_date=world.today - dt.timedelta(days=k))
        raise_defect(aircraft=craft, by=by, description=f"Drip {k}.")
        started(world, craft)
    scored = SeriesState.objects.filter(aircraft=craft).values("point")
    for point in craft.variant.points.exclude(pk__in=scored)[:number]:
        series(craft, point)


def test_the_page_costs_the_same_after_2_checks_and_after_22(world: World, clock, browse: Client) -> None:
    SeriesState.objects.all().delete()
    history(world, clock, world.underfloor, 2)
    before = count(browse, url(world.underfloor))
    history(world, clock, world.underfloor, 20)
    assert count(browse, url(world.underfloor)) == before <= 38


def test_the_list_costs_the_same_for_2_aircraft_and_for_22(db: None, clock) -> None:
    world = build_world(aircraft=22)
    for craft in world.fleet:
        raise_defect(aircraft=craft, by=world.person("technician1"), description="Drip.")
        series(craft, craft.variant.points.first())
    refresh_due()
    client = logged_in(world, "auditor1")
    everything = count(client, "/aircraft/")
    Aircraft.objects.exclude(pk__in=[one.pk for one in world.fleet[:2]]).update(state="left")
    assert len(listed(client)) == 2
    assert count(client, "/aircraft/") == everything <= 22
