"""Approving a revision: by another person, whole, and for good."""

import json

import pytest

from checks.models import LimitRow, LimitTable, Record, Revision, Step
from checks.services.errors import RecordError
from checks.services.procedures import approve_revision
from checks.services.record import revision_in_force
from checks.services.verify import verify_chain
from tests.world import PASSWORD, World


@pytest.fixture
def revision(world: World) -> Revision:
    """A revision typed by the controller, with one step that measures the port."""
    revision = Revision.objects.create(
        procedure=world.revision(world.forward).procedure,
        number="77",
        typed_by=world.person("controller1"),
        effective_on=world.today,
        source_reference="Invented example, no approved data",
    )
    port = world.point(world.forward, "port")
    Step.objects.create(revision=revision, number=1, kind="note", text="Example.")
    Step.objects.create(
        revision=revision,
        number=2,
        kind="measure",
        text="Read the port.",
        quantity="pressure",
        unit="kPa",
        point=port,
    )
    table = LimitTable.objects.create(revision=revision, point=port, unit="kPa", source_reference="Invented")
    for temperature, upper in ((0, 300), (10, 200), (20, 150)):
        LimitRow.objects.create(table=table, temperature=temperature, upper=upper)
    return revision


def approved(world: World, revision: Revision, by: str = "director1") -> Revision:
    return approve_revision(revision=revision, by=world.person(by), password=PASSWORD)


def test_it_is_in_force_from_its_day_and_linked_in_the_operator_s_chain(
    world: World, revision: Revision
) -> None:
    done = approved(world, revision)
    assert revision_in_force(revision.procedure, world.today) == done
    record = Record.objects.filter(act="approval").latest("number")
    told = json.loads(record.canonical)
    assert told["revision"]["approved_by_id"] == world.person("director1").pk
    assert [s["number"] for s in told["steps"]] == [1, 2]
    assert [r["upper"] for r in told["limit_tables"][0]["rows"]] == ["300.000", "200.000", "150.000"]
    assert record.chain.aircraft is None and verify_chain(record.chain) == []
    with pytest.raises(RecordError, match="It was approved on 12 Mar 2025"):
        approved(world, revision)


def test_never_by_who_typed_it_nor_without_role_or_password(world: World, revision: Revision) -> None:
    director = world.person("director1")
    with pytest.raises(RecordError, match="role lacks it"):
        approved(world, revision, by="controller1")
    with pytest.raises(RecordError, match="password"):
        approve_revision(revision=revision, by=director, password="no")
    Revision.objects.filter(pk=revision.pk).update(typed_by=director)
    with pytest.raises(RecordError, match="typed a revision can't approve it"):
        approved(world, revision)


def test_two_revisions_never_begin_on_one_day(world: World, revision: Revision) -> None:
    approved(world, revision)
    revision.pk, revision.number = None, "78"
    revision.save()
    Step.objects.create(revision=revision, number=1, kind="note", text="Example.")
    with pytest.raises(RecordError, match="effective"):
        approved(world, revision)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"quantity": "luck"}, "Step 2: “luck” is no quantity"),
        ({"unit": "mL"}, "Step 2: “mL” is no unit of pressure"),
        ({"quantity": "temperature", "unit": "Cel"}, "Step 2: it measures temperature, but needs pressure"),
        ({"text": " "}, "Step 2: it has no text"),
    ],
)
def test_a_step_that_can_not_be_followed_is_named(
    world: World, revision: Revision, change: dict, words: str
) -> None:
    revision.steps.filter(number=2).update(**change)
    with pytest.raises(RecordError, match=words):
        approved(world, revision)
    revision.refresh_from_db()
    assert revision.approved_at is None


def test_points_without_limits_and_points_read_twice_are_named(world: World, revision: Revision) -> None:
    step = revision.steps.get(number=2)
    step.pk, step.number = None, 3
    step.save()
    revision.limit_tables.all().delete()
    with pytest.raises(RecordError) as caught:
        approved(world, revision)
    text = str(caught.value)
    assert "system test port is read in 2 steps" in text and "system test port has no limit table" in text


def test_a_limit_table_with_faults_is_named(world: World, revision: Revision) -> None:
    LimitRow.objects.filter(table__revision=revision, temperature=10).update(upper=None, lower=5)
    with pytest.raises(RecordError, match="row 10 °C has no upper limit"):
        approved(world, revision)


def test_a_revision_without_steps_is_none(world: World, revision: Revision) -> None:
    revision.steps.all().delete()
    with pytest.raises(RecordError, match="It has no steps"):
        approved(world, revision)
