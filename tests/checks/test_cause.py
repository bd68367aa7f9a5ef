"""Likely cause of a check, from the aircraft's own accepted checks; the confirmed cause beside it."""

import datetime as dt
from dataclasses import replace

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from checks.engine.diagnosis_causes import CAUSES
from checks.engine.diagnosis_data import RANKED, WITHIN_SCATTER, YES
from checks.models import CauseFound, CheckEvent, Result
from checks.models.cause import OTHER, cause_choices
from checks.selectors.cause import accepted_before, confirmed_before, layout_of, report_card
from checks.services.cause import NO_BASELINE, NO_READING, likely_cause
from checks.services.cause_found import record_cause
from checks.services.errors import RecordError
from checks.services.evaluate import evaluate
from checks.services.record import save_draft
from checks.services.sign import sign_inspected, sign_performed
from fleet.models import Aircraft, MeasuringPoint, Position
from tests.checks.conftest import NOON
from tests.checks.work import filled, performed, started, typed
from tests.guards import guards_lifted
from tests.world import PASSWORD, World

USUAL = {"series": ("78", "84", "84", "84"), "volume": "150", "ports": "20"}
HOURS = {"hours": "2000"}
BLOCKED = "port-wing-lm"


def before(world: World, aircraft: Aircraft, *days_ago: int, **how: object) -> list[CheckEvent]:
    """Accepted checks so many days ago, all alike."""
    return [
        performed(
            world,
            aircraft,
            work_date=world.today - dt.timedelta(days=ago),
            **{**USUAL, "fields": HOURS, **how},
        )
        for ago in days_ago
    ]


def draft_with_port(world: World, aircraft: Aircraft, port: str, value: str, **how: object) -> CheckEvent:
    """A draft whose ports read as usual, but for one."""
    draft = started(world, aircraft)
    given = typed(draft, **{**USUAL, **how})
    step = draft.revision.steps.get(point__code=port)
    readings = tuple(replace(row, typed=value) if row.step == step.pk else row for row in given.readings)
    saved = save_draft(event=draft, by=world.person("technician1"), given=replace(given, readings=readings))
    assert saved.problems == ()
    return saved.event


def signed(world: World, draft: CheckEvent) -> CheckEvent:
    """Signed a minute after whatever was signed before it."""
    world.clock.shift(dt.timedelta(minutes=1))
    return sign_performed(event=draft, by=world.person("technician1"), password=PASSWORD)


@pytest.fixture(autouse=True)
def minutes(world: World, clock: time_machine.Traveller) -> None:
    world.clock = clock


@pytest.fixture
def blocked(world: World) -> CheckEvent:
    """A check with one panel port at its double, after three ordinary ones: over its limit."""
    before(world, world.underfloor, 90, 60, 30)
    return signed(world, draft_with_port(world, world.underfloor, BLOCKED, "40"))


def test_a_blocked_panel_is_named_by_its_port(blocked: CheckEvent) -> None:
    found = likely_cause(blocked)
    assert blocked.outcome == "over limit"
    assert found.diagnosis.verdict == RANKED
    assert (found.said.causes[0].cause, found.said.causes[0].panel) == ("panel_blocked", "left wing middle")
    assert (found.checks, found.since.isoformat()) == (3, "2024-12-12")
    assert found.diagnosis.ports_read == 8


def test_general_fouling_of_an_installation_without_ports_names_no_panel(world: World) -> None:
    usual = {"series": ("90", "96", "96", "96"), "volume": "142"}
    before(world, world.forward, 60, 30, **usual)
    high = performed(world, world.forward, series=("150", "160", "160", "160"), volume="225")
    found = likely_cause(high)
    assert found.said.causes[0].cause == "all_fouled"
    assert {line.panel for line in found.said.causes} == {""}
    assert found.said.unseen[0].startswith("This installation has no panel ports")
    assert found.diagnosis.pressure == found.diagnosis.flow == "high"


def test_a_draft_is_ranked_as_its_signed_check_will_be(world: World) -> None:
    before(world, world.underfloor, 60, 30)
    draft = draft_with_port(world, world.underfloor, BLOCKED, "40")
    at_once = likely_cause(draft, evaluation=evaluate(draft))
    after = likely_cause(signed(world, draft))
    assert at_once.diagnosis == after.diagnosis
    assert at_once.diagnosis.ratios.minutes == pytest.approx(1)


def test_an_ordinary_check_has_nothing_to_explain(world: World) -> None:
    *_, last = before(world, world.underfloor, 60, 30, 0)
    assert likely_cause(last) is None


def test_out_of_scatter_is_shown_though_within_limits(world: World) -> None:
    before(world, world.underfloor, 90, 60, 30)
    event = signed(world, draft_with_port(world, world.underfloor, BLOCKED, "28"))
    assert event.outcome in ("within limit", "borderline")
    assert likely_cause(event).said.causes[0].panel == "left wing middle"


def test_the_first_check_has_nothing_to_stand_beside(world: World) -> None:
    found = likely_cause(signed(world, draft_with_port(world, world.underfloor, BLOCKED, "40")))
    assert (found.diagnosis, found.why_not, found.checks) == (None, NO_BASELINE, 0)
    assert found.ranking == {}


def test_a_retest_after_a_purge_is_not_compared_with_what_was_before(
    world: World, blocked: CheckEvent
) -> None:
    world.clock.shift(dt.timedelta(minutes=1))
    performed(world, world.underfloor, "panel-purge", follows=blocked)
    again = signed(world, draft_with_port(world, world.underfloor, BLOCKED, "39"))
    assert likely_cause(again).why_not == NO_BASELINE
    assert likely_cause(blocked).diagnosis.verdict == RANKED  # what was said then is said now


def test_only_what_was_reset_is_left_out(world: World, blocked: CheckEvent) -> None:
    """A new panel resets its own port and the system's points; the other ports keep their baseline."""
    work = started(world, world.underfloor, "panel-replacement", follows=blocked)
    position = world.position(world.underfloor, "wing-lm")
    given = typed(work)
    looks = tuple(o for o in given.observations if o.position in (None, position.pk))
    by = world.person("technician1")
    assert save_draft(event=work, by=by, given=replace(given, observations=looks)).problems == ()
    signed(world, work)
    sign_inspected(event=work, by=world.person("inspector1"), password=PASSWORD)
    again = signed(world, draft_with_port(world, world.underfloor, BLOCKED, "39"))
    layout = layout_of(again.aircraft.variant)
    read = {point for _, one in accepted_before(again, layout) for point in one.values}
    kept = {point for point, panel in layout.ports.items() if layout.panels[panel] != position}
    assert read == kept
    told = likely_cause(again)
    assert told.diagnosis is None and "left wing middle port" in told.why_not


def test_over_limit_and_not_valid_checks_are_no_baseline(world: World, blocked: CheckEvent) -> None:
    before(world, world.underfloor, 0)
    again = signed(world, draft_with_port(world, world.underfloor, BLOCKED, "40"))
    assert blocked.pk not in {one.pk for one, _ in accepted_before(again, layout_of(again.aircraft.variant))}


def test_another_mode_of_the_pump_is_no_baseline(world: World) -> None:
    before(world, world.underfloor, 60, fields={**HOURS, "mode": "high"})
    before(world, world.underfloor, 30, fields={**HOURS, "mode": "normal"})
    fields = {"mode": "normal"}
    event = signed(world, draft_with_port(world, world.underfloor, BLOCKED, "40", fields=fields))
    assert likely_cause(event).checks == 1


def test_a_point_that_the_network_does_not_know_is_left_out(world: World) -> None:
    """A check that reads something else neither asks for a cause nor counts as a baseline."""
    usual = before(world, world.underfloor, 30)[0]
    layout = layout_of(usual.aircraft.variant)
    assert layout.points == {layout.test_port.pk, layout.nozzle.pk, *layout.ports}
    other = MeasuringPoint.objects.create(
        variant=world.underfloor.variant,
        code="else",
        name="something else",
        kind="other",
        quantity="pressure",
        nominal=10,
    )
    event = signed(world, draft_with_port(world, world.underfloor, BLOCKED, "40"))
    with guards_lifted(connection):
        Result.objects.filter(event=usual, point=layout.test_port).update(point=other)
    read = {point for _, one in accepted_before(event, layout) for point in one.values}
    assert read == layout.points - {layout.test_port.pk}


def test_a_reading_from_memory_ranks_nothing(world: World) -> None:
    before(world, world.underfloor, 30)
    draft = draft_with_port(world, world.underfloor, BLOCKED, "40", fields={"temperature_from_memory": "on"})
    event = signed(world, draft)
    assert event.outcome == "not valid"
    assert likely_cause(event) is None


def test_a_pump_that_hardly_runs_points_to_the_supply(world: World) -> None:
    """Far under the baseline: not valid until a person decides, and the more worth explaining."""
    before(world, world.forward, 60, 30, series=("90", "96", "96", "96"), volume="142")
    low = performed(world, world.forward, series=("35", "40", "40", "40"), volume="60")
    assert (low.outcome, low.too_low) == ("not valid", True)
    found = likely_cause(low)
    assert found.diagnosis.groups[0][0] == "supply"
    assert found.diagnosis.pressure == found.diagnosis.flow == "low"


def test_without_a_valid_value_it_says_so(world: World) -> None:
    before(world, world.forward, 30)
    dry = performed(world, world.forward, series=("300", "306"), volume="", dry=("wing-lo",))
    assert dry.outcome == "over limit"
    found = likely_cause(dry)
    assert found.why_not == NO_READING
    assert found.seen == ("left wing outboard: dry area",)


def test_work_that_is_no_check_has_no_likely_cause(world: World) -> None:
    assert likely_cause(performed(world, world.underfloor, "panel-purge")) is None
    assert likely_cause(performed(world, world.underfloor, "wet-out")) is None


def test_fluid_seen_where_it_should_not_be_is_asked_and_kept_nowhere(blocked: CheckEvent) -> None:
    plain, leak = likely_cause(blocked), likely_cause(blocked, wet=YES)
    shares = [{c.cause: c.share for c in one.diagnosis.causes} for one in (plain, leak)]
    assert shares[1]["coupling_leak"] > shares[0]["coupling_leak"]
    assert likely_cause(blocked, wet="perhaps").wet == "not looked"


def test_queries_do_not_grow_with_the_history(world: World) -> None:
    def cost(event: CheckEvent) -> int:
        event = CheckEvent.objects.select_related("aircraft__variant", "revision__procedure").get(pk=event.pk)
        with CaptureQueriesContext(connection) as queries:
            assert likely_cause(event) is not None
        return len(queries)

    before(world, world.underfloor, 60, 59)
    few = cost(signed(world, draft_with_port(world, world.underfloor, BLOCKED, "40")))
    before(world, world.underfloor, *range(30, 50))
    many = cost(signed(world, draft_with_port(world, world.underfloor, BLOCKED, "40")))
    assert few == many <= 12


def test_the_choices_are_the_causes_of_the_ranking() -> None:
    assert [code for code, _ in cause_choices()] == [*CAUSES, OTHER]


def keep(world: World, event: CheckEvent, cause: str, by: str = "technician1", **more: object) -> CauseFound:
    return record_cause(event=event, by=world.person(by), cause=cause, **more)


def test_a_confirmed_cause_is_kept_beside_the_ranking(world: World, blocked: CheckEvent) -> None:
    found = keep(
        world,
        blocked,
        "panel_blocked",
        position=world.position(world.underfloor, "wing-lm"),
        remark=" Dirt. ",
    )
    assert (found.remark, found.found_at - NOON, str(found)) == (
        "Dirt.",
        dt.timedelta(minutes=1),
        "one panel blocked, left wing middle",
    )
    assert found.ranking["verdict"] == RANKED
    assert found.ranking["causes"][0][0] == "panel_blocked"
    assert sum(share for _, share, _ in found.ranking["causes"]) == pytest.approx(1, abs=0.01)
    assert (
        keep(world, blocked, "panel_line", by="releaser1").pk != found.pk
    )  # a later one is a row of its own


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"by": "auditor1"}, "the role lacks it"),
        ({"cause": "rust"}, "rust"),
        ({"cause": OTHER}, "Say in the remark"),
    ],
)
def test_what_is_not_kept(world: World, blocked: CheckEvent, how: dict, words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        keep(world, blocked, **{"cause": "panel_blocked", **how})
    assert not CauseFound.objects.exists()


def test_a_place_on_another_variant_is_refused(world: World, blocked: CheckEvent) -> None:
    other = Position.objects.filter(variant=world.forward.variant).first()
    with pytest.raises(RecordError, match="not a position of"):
        keep(world, blocked, "panel_blocked", position=other)


def test_a_draft_and_an_ordinary_check_have_no_confirmed_cause(world: World) -> None:
    first, *_ = before(world, world.underfloor, 60, 30)
    with pytest.raises(RecordError, match="nothing to explain"):
        keep(world, first, "air")
    with pytest.raises(RecordError, match="not signed as performed"):
        keep(world, filled(started(world, world.underfloor), world), "air")


def test_what_was_confirmed_weighs_in_later_rankings_only(
    world: World, blocked: CheckEvent, clock: time_machine.Traveller
) -> None:
    share = dict.fromkeys(("before", "same", "later"), 0.0)

    def line_share(event: CheckEvent) -> float:
        return next(c.share for c in likely_cause(event).diagnosis.causes if c.cause == "panel_line")

    share["before"] = line_share(blocked)
    clock.shift(dt.timedelta(hours=1))
    keep(world, blocked, "panel_blocked")
    keep(world, blocked, "panel_line")  # the newest counts, once
    share["same"] = line_share(blocked)
    clock.shift(dt.timedelta(hours=1))
    again = signed(world, draft_with_port(world, world.underfloor, BLOCKED, "40"))
    assert confirmed_before(again) == {"panel_line": 1}
    assert confirmed_before(blocked) == {}
    share["later"] = line_share(again)
    assert share["same"] == share["before"]
    assert share["later"] == pytest.approx(
        2 * share["before"], rel=0.01
    )  # ln(1 + 1) in ln, nearly nothing else


def test_report_card_counts_the_newest_of_each_check(
    world: World, blocked: CheckEvent, clock: time_machine.Traveller
) -> None:
    first = signed(world, draft_with_port(world, world.underfloor, BLOCKED, "40"))
    alone = performed(world, world.forward, series=("300", "310", "310", "310"))
    keep(world, alone, "all_fouled")  # nothing stood beside it
    keep(world, first, "panel_blocked")
    keep(world, blocked, "air")
    clock.shift(dt.timedelta(minutes=5))
    keep(world, blocked, "all_fouled", remark="Looked again.")
    card = report_card()
    assert (card.ranked, card.first, card.group, card.unranked) == (2, 1, 2, 1)
    assert [row.found.cause for row in card.rows] == ["all_fouled", "panel_blocked", "all_fouled"]
    assert [row.ranked_first for row in card.rows] == ["panel_blocked", "panel_blocked", ""]
    assert card.rows[1].place == 1 and card.rows[2].place is None


def test_within_scatter_but_over_limit_is_said_so(world: World) -> None:
    """A baseline close under the limit: one step more is over, and nothing out of the ordinary."""
    before(world, world.underfloor, 60, 30, ports="29")
    event = performed(world, world.underfloor, **{**USUAL, "ports": "30"})
    assert event.outcome == "over limit"
    assert likely_cause(event).diagnosis.verdict == WITHIN_SCATTER
