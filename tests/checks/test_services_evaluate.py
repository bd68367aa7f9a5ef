"""The outcome of a draft at once: limits, uncertainty, what is not valid and why, and the blind spots."""

import math
from dataclasses import replace
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from checks.models import CheckEvent, LimitRow
from checks.services.evaluate import NO_PANEL_PORTS, PANELS_HIDE, Evaluation, evaluate
from checks.services.inputs import DraftInput, ReadingInput
from checks.services.record import save_draft
from tests.checks.work import filled, instrument_key, started, typed
from tests.world import World


@pytest.fixture
def draft(world: World) -> CheckEvent:
    return started(world, world.forward)


def judged(world: World, event: CheckEvent, **how: object) -> Evaluation:
    return evaluate(filled(event, world, **how))


def limit(event: CheckEvent, code: str, temperature: int) -> Decimal:
    return LimitRow.objects.get(
        table__revision=event.revision, table__point__code=code, temperature=temperature
    ).upper


def test_the_limit_is_read_at_the_fluid_temperature_by_the_table_s_own_rule(
    world: World, draft: CheckEvent
) -> None:
    found = judged(world, draft, temperature="12")
    for line in found.points:
        low, high = limit(draft, line.point.code, 10), limit(draft, line.point.code, 15)
        rules = {"stricter_row": min(low, high), "linear": low + (high - low) * 2 / 5}
        rule = draft.revision.limit_tables.get(point=line.point).reading_rule
        assert low != high and abs(line.judged.limit.upper - rules[rule]) <= Decimal("0.000001")
        assert line.temperature == 12 and line.margin == line.judged.limit.upper - line.judged.value


def test_uncertainty_comes_from_gauge_and_thermometer(world: World, draft: CheckEvent) -> None:
    """By hand after GUM 4.3.7 and F.2.2.1: half-width a gives a/√3, resolution d gives d/√12, k = 2.

    gauge-1: 0.5 % of 600 kPa, resolution 1 kPa. thermo-1: ± 0.5 °C, resolution 0.1 °C. The limit changes
    by the steeper of the two segments that meet at 20 °C.
    """
    at = {t: float(limit(draft, "port", t)) for t in (15, 20, 25)}
    u_gauge = math.sqrt(3.0**2 / 3 + 1 / 12)
    u_thermometer = math.sqrt(0.5**2 / 3 + 0.1**2 / 12)
    slope = max(abs(at[15] - at[20]), abs(at[20] - at[25])) / 5
    expected = 2 * math.sqrt(u_gauge**2 + (slope * u_thermometer) ** 2)
    port = judged(world, draft).points[0]
    assert float(port.judged.uncertainty) == pytest.approx(expected, abs=1e-5)
    close = math.floor(at[20])
    assert at[20] - expected < close <= at[20]
    assert judged(world, draft, series=(str(close),) * 4).outcome == "borderline"
    apart = math.floor(at[20] - expected)
    assert judged(world, draft, series=(str(apart),) * 4).points[0].outcome == "within limit"
    assert judged(world, draft, series=(str(close + 1),) * 4).outcome == "over limit"


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"series": ("90", "96", "98", "101")}, "not settled"),
        ({"temperature": "-20"}, "no limit at -20 °C: the table serves fluid temperatures from -10 to 35 °C"),
        ({"fields": {"temperature_from_memory": "yes"}}, "the fluid temperature was not measured"),
        ({"volume": ""}, "propeller nozzle: no value"),
        ({"series": ("96", "96", "96")}, "collected from 190 s"),
    ],
)
def test_what_can_not_be_judged_is_not_valid_and_says_why(
    world: World, draft: CheckEvent, how: dict, words: str
) -> None:
    if how.get("series") == ("96", "96", "96"):
        how = {}
        whole = typed(draft)
        early = tuple(replace(r, started="1:30") if r.typed == "170" else r for r in whole.readings)
        save_draft(event=draft, by=world.person("technician1"), given=replace(whole, readings=early))
        words, found = "collected from 90 s, before the pressure settled", evaluate(draft)
    else:
        found = judged(world, draft, **how)
    assert found.outcome == "not valid" and found.next_action.startswith("not valid:")
    assert words in "\n".join(found.reasons)


def test_a_ceiling_passed_late_is_over_though_the_limit_is_far(world: World, draft: CheckEvent) -> None:
    """The limit at -10 °C lies far above the demo's ceiling."""
    step = draft.revision.steps.get(kind="timed_series")
    top = int(step.ceiling)
    assert limit(draft, "port", -10) > top + 20 and 120 < step.ceiling_after_seconds <= 180
    late = (str(top - 100), str(top - 10), str(top + 10), str(top + 11))
    found = judged(world, draft, temperature="-10", series=late)
    assert found.outcome == "over limit"
    assert f"{top + 10} kPa at 180 s is above {top} kPa" in "\n".join(found.reasons)
    early = (str(top + 10), str(top + 11), *[str(top - 20)] * 3)
    assert judged(world, draft, temperature="-10", series=early).outcome == "within limit"


def test_each_variant_tells_its_own_blind_spots(world: World, draft: CheckEvent) -> None:
    assert judged(world, draft).blind_spots == (PANELS_HIDE, NO_PANEL_PORTS)
    ports = judged(world, started(world, world.underfloor))
    assert ports.blind_spots == (PANELS_HIDE,)
    assert sum(line.point.kind == "panel_port" for line in ports.points) == 8
    assert evaluate(started(world, world.forward, "panel-purge")).blind_spots == ()


def test_an_empty_draft_is_not_valid_and_not_complete(draft: CheckEvent) -> None:
    found = evaluate(draft)
    assert found.outcome == "not valid" and not found.complete
    assert "observation missing: left wing inboard" in found.next_action


def test_a_complete_one_says_what_comes_next_and_marks_its_series(world: World, draft: CheckEvent) -> None:
    found = judged(world, draft)
    assert (found.outcome, found.next_action) == ("within limit", "release may be asked for")
    assert found.complete and not found.too_low and found.purges == 0
    marks = [found.marks[r.pk] for r in draft.readings.filter(role="series").order_by("sequence")]
    assert marks == ["counted", "counted", "counted", "settled here"]


def test_a_reading_without_its_instrument_is_not_valid_and_bars_signing(
    world: World, draft: CheckEvent
) -> None:
    whole = typed(draft)
    bare = tuple(replace(r, instrument="") if r.elapsed else r for r in whole.readings)
    save_draft(event=draft, by=world.person("technician1"), given=replace(whole, readings=bare))
    found = evaluate(draft)
    assert found.outcome == "not valid" and "none is named" in "\n".join(found.reasons)
    assert sum("name the gauge" in p.message for p in found.missing) == 4


def test_judging_takes_a_fixed_number_of_queries(world: World, draft: CheckEvent) -> None:
    series = draft.revision.steps.get(kind="timed_series")

    def cost(rows: int) -> int:
        given = DraftInput(
            readings=tuple(
                ReadingInput(series.pk, "96", "kPa", instrument_key("gauge-1"), n, str(60 * n))
                for n in range(rows)
            )
        )
        save_draft(event=draft, by=world.person("technician1"), given=given)
        event = CheckEvent.objects.select_related("revision__procedure", "aircraft__variant").get(pk=draft.pk)
        with CaptureQueriesContext(connection) as queries:
            evaluate(event)
        return len(queries)

    assert cost(2) == cost(22)


def at_two(world: World, event: CheckEvent, before: str, after: str) -> Evaluation:
    """The event judged with the fluid's temperature before and after the collection; '' is not read."""
    again = event.revision.steps.filter(quantity="temperature").order_by("number").last()
    whole = typed(event, temperature=before)
    rows = [replace(one, typed=after) if one.step == again.pk else one for one in whole.readings]
    given = replace(whole, readings=tuple(one for one in rows if one.typed))
    saved = save_draft(event=event, by=world.person("technician1"), given=given)
    assert saved.problems == ()
    return evaluate(saved.event)


@pytest.mark.parametrize(("before", "after"), [("20", "12"), ("12", "20"), ("20", "20")])
def test_each_value_is_judged_by_the_temperature_before_it_a_collection_by_both(
    world: World, before: str, after: str
) -> None:
    """Cold fluid flows slower: the demo's limit of the flow is lower there, so the colder one is stricter."""
    event = started(world, world.underfloor)
    found = {line.point.kind: line for line in at_two(world, event, before, after).points}
    at = {kind: line.temperature for kind, line in found.items()}
    assert at == {
        "test_port": Decimal(before),
        "nozzle": min(Decimal(before), Decimal(after)),
        "panel_port": Decimal(after),
    }
    assert limit(event, "nozzle", 10) < limit(event, "nozzle", 20)


def test_a_flow_between_the_limits_of_its_two_temperatures_is_over(world: World, draft: CheckEvent) -> None:
    warm, cold = limit(draft, "nozzle", 20), limit(draft, "nozzle", 10)
    step = draft.revision.steps.get(kind="timed_collection")
    again = draft.revision.steps.filter(quantity="temperature").last()
    outcomes = []
    for temperatures in (("20", "20"), ("10", "20"), ("20", "10"), ("20", "60")):
        whole = typed(draft, temperature=temperatures[0], volume=str(int((warm + cold) / 2)))
        rows = [replace(r, typed=temperatures[1]) if r.step == again.pk else r for r in whole.readings]
        saved = save_draft(
            event=draft, by=world.person("technician1"), given=replace(whole, readings=tuple(rows))
        )
        (line,) = [line for line in evaluate(saved.event).points if line.step.pk == step.pk]
        outcomes.append(line.outcome)
    assert outcomes == ["borderline", "over limit", "over limit", "not valid"]


def test_one_temperature_alone_holds_for_all_and_the_other_is_asked_for(world: World) -> None:
    event = started(world, world.underfloor)
    first, again = event.revision.steps.filter(quantity="temperature").order_by("number")
    for before, after, missing in (("20", "", again), ("", "20", first)):
        found = at_two(world, event, before, after)
        assert {line.temperature for line in found.points} == {Decimal("20")}
        asked = [one.message for one in found.missing if "temperature" in one.message]
        assert asked == [f"Step {missing.number}: enter the fluid temperature first."]
