"""The demo's procedures cover the fluid system on both variants, each caution before what it guards.

Which tasks and cautions there are to be: common practice, no source.
"""

import datetime as dt
import re

import pytest

from checks.models import LimitTable, Revision, Step
from checks.services.drift_records import followed
from checks.services.procedures import faults
from fleet.models import Operator
from tests.world import TODAY, World, build_world

pytestmark = pytest.mark.django_db

TASKS = {
    "pressure-flow",
    "pump-output",
    "pressure-warnings",
    "quantity-indication",
    "windshield",
    "strainer-filter",
    "fluid-concentration",
    "wet-out",
    "panel-skin",
    "slinger",
    "deactivation",
    "reactivation",
    "panel-purge",
    "panel-replacement",
    "pump-replacement",
}
# What a step does -> what a warning or caution before it says. Each pair is met by some procedure, or fails.
GUARDS = (
    (r"new seal", r"a seal that was loosened is not used again"),
    (r"disconnected|removed, gauge|bowl", r"pressure can remain in a line"),
    (r"power on|run the (system|pump)|feed and pump", r"propeller area clear, nobody at the wing or tail"),
    (r"pump to the mode|normal mode|spray (switch|with)", r"never run a pump dry: .*duty cycle .*battery"),
    (r"\bpanel(s|'s)?\b.*\b(wet|dry|skin)\b|along the whole panel", r"work at height"),
    (r"feed clean fluid", r"no air and no flow backwards.*maximum pressure|never run a pump dry"),
    (r"collect|drained|bowl|container with clean|weep", r"collect (all fluid|what runs out)"),
    (r"fluid", r"safety data sheet rules"),
    (r"fluid|collect", r"off brakes, inlets, probes and contacts"),
    (r"wash each panel", r"no solvent"),
)


@pytest.fixture
def world() -> World:
    return build_world()


def in_force() -> list[Revision]:
    return list(Revision.objects.in_force(TODAY).select_related("procedure__variant"))


def test_both_variants_have_every_task(world: World):
    for variant in world.master.variants.values():
        codes = set(variant.procedures.values_list("code", flat=True))
        assert codes == TASKS, variant


def test_every_approved_revision_can_be_followed(world: World):
    approved = Revision.objects.filter(approved_at__isnull=False).select_related("procedure__variant")
    assert approved.count() > 20
    assert {str(revision): found for revision in approved if (found := faults(revision))} == {}


def test_every_procedure_says_first_that_it_is_an_example(world: World):
    for revision in Revision.objects.all():
        first = revision.steps.order_by("number").first()
        assert first.kind == Step.Kind.NOTE and first.text.startswith("Invented example, no approved data")
        assert "Invented example, no approved data" in revision.source_reference


@pytest.mark.parametrize(("does", "says"), GUARDS)
def test_a_caution_stands_before_each_step_that_it_guards(world: World, does: str, says: str):
    met = 0
    for revision in in_force():
        heard = ""
        for step in revision.steps.order_by("number"):
            text = f"{step.text} {step.restore_text}".lower()
            if step.kind in (Step.Kind.WARNING, Step.Kind.CAUTION):
                heard += text
            elif step.kind != Step.Kind.NOTE and re.search(does, text):
                met += 1
                assert re.search(says, heard), f"{revision}, step {step.number}: {text}"
    assert met, "no step does this: the pair guards nothing"


def test_power_comes_on_after_everything_is_connected_and_goes_off_before_it_is_parted(world: World):
    """Isolate, connect, power on; off, relieve, verify, then disconnect (putting back is asked for last)."""
    for revision in in_force():
        steps = list(revision.steps.order_by("number"))
        on = [s.number for s in steps if s.text.lower().startswith("area and propeller clear")]
        disturbing = [s.number for s in steps if s.restore_text]
        off = [
            s.number
            for s in steps
            if re.search(r"power off|pump off", s.text.lower()) and s.kind == "instruction"
        ]
        if on and disturbing:
            assert max(disturbing) < min(on) < max(off), revision


def test_what_disturbs_the_aircraft_has_a_step_that_puts_it_back(world: World):
    confirms = Step.objects.filter(kind=Step.Kind.CONFIRM)
    assert confirms.count() > 20 and not confirms.filter(restore_text="").exists()


def test_a_purge_asks_where_a_panel_is_dry(world: World):
    for variant in world.master.variants:
        steps = world.master.revision(variant, "panel-purge").steps
        look = steps.get(position_kind="panel")
        assert look.kind == Step.Kind.OBSERVE and "mark where it stays dry" in look.text


@pytest.mark.parametrize("code", ["panel-replacement", "pump-replacement"])
def test_what_was_replaced_is_primed_bled_and_checked_for_leaks_in_this_order(world: World, code: str):
    for variant in world.master.variants:
        revision = world.master.revision(variant, code)
        texts = list(revision.steps.order_by("number").values_list("text", flat=True))
        at = [
            next(n for n, t in enumerate(texts) if t.startswith(word))
            for word in ("Prime", "Bleed", "Leak check")
        ]
        assert at == sorted(at) and revision.procedure.needs_inspection


def test_points_added_for_these_tasks_are_judged_and_no_drift_of_them_is_followed(world: World):
    tables = LimitTable.objects.select_related("point")
    both = {table.point for table in tables if table.kind == "both"}
    assert {point.kind for point in both} == {"pump", "warning", "tank"}
    assert {point.pk for point in both}.isdisjoint(followed())
    assert len(followed()) == 2 + 10


def test_every_pump_has_an_output_in_each_mode(world: World):
    for variant, pumps in (("forward", 2), ("underfloor", 1)):
        steps = world.master.revision(variant, "pump-output").steps.filter(kind="timed_collection")
        assert steps.count() == 2 * pumps


@pytest.mark.parametrize(
    ("code", "point", "value", "outcome"),
    [
        ("fluid-concentration", "fluid", "85", "within limit"),
        ("fluid-concentration", "fluid", "74", "over limit"),
        ("fluid-concentration", "fluid", "94.5", "over limit"),
        ("pump-output", "pump-1-high", "290", "over limit"),
        ("pressure-warnings", "low-warning", "44", "over limit"),
        ("pressure-warnings", "high-warning", "574", "over limit"),
        ("quantity-indication", "tank-lower", "5.9", "over limit"),
    ],
)
def test_limits_of_both_sides_decide(world: World, code: str, point: str, value: str, outcome: str):
    for aircraft in (world.forward, world.underfloor):
        event = world.signed(aircraft, TODAY, code=code, values={point: value})
        assert event.outcome == outcome
        judged = event.results.get(point__code=point)
        assert judged.lower is not None and judged.upper is not None


def test_cleaning_panels_resets_no_series_and_replacing_one_does(world: World):
    cleaned = world.signed(world.underfloor, TODAY - dt.timedelta(days=1), code="panel-skin")
    assert cleaned.outcome == "done" and not cleaned.resets.exists()
    changed = world.signed(world.underfloor, TODAY, code="panel-replacement")
    points = {reset.point.code for reset in changed.resets.filter(why="replacement").select_related("point")}
    assert {"port", "nozzle", "port-wing-lo"} <= points


def test_a_deactivation_leads_to_a_defect_that_stands_against_flight_in_icing(world: World):
    texts = " ".join(world.revision(world.forward, "deactivation").steps.values_list("text", flat=True))
    assert "Raise a defect" in texts and "stands against flight in icing" in texts
    assert Operator.current().is_demo


@pytest.mark.parametrize("variant", ["forward", "underfloor"])
def test_the_temperature_is_asked_again_after_the_collection(world: World, variant: str):
    revision = world.master.revision(variant, "pressure-flow")
    kinds = [
        step.kind if step.kind == Step.Kind.TIMED_COLLECTION else step.quantity
        for step in revision.steps.order_by("number")
    ]
    before, after = (
        kinds[: kinds.index("timed_collection")],
        kinds[kinds.index("timed_collection") + 1 :],
    )
    assert before.count("temperature") == after.count("temperature") == 1
