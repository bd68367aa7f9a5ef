"""The database itself refuses changes to signed history, whoever asks: statements past every service."""

import datetime as dt
import sys
from pathlib import Path

import pytest
import time_machine
from django.core.management import call_command
from django.db import DatabaseError, IntegrityError, connection, transaction
from django.db.migrations.recorder import MigrationRecorder

from checks import guard_rules
from checks.models import (
    CauseFound,
    ChainHead,
    CheckEvent,
    Defect,
    ExpectedValue,
    FirstReading,
    FluidMix,
    FluidTaken,
    IntervalRevision,
    LimitRow,
    LimitTable,
    MelItem,
    PackageChange,
    Procedure,
    Reading,
    Record,
    Revision,
    Signature,
    Step,
    StockMovement,
    WorkPackage,
)
from checks.services.decide import decide_too_low
from checks.services.defect_papers import order_part, record_ferry_permit
from checks.services.defect_release import release_rectification
from checks.services.defects import OutsideWork, rectify
from checks.services.doubt import report_out_of_calibration, review_doubt
from checks.services.evidence import add_photo
from checks.services.extension import answer_extension, ask_extension
from checks.services.handover import open_steps, seen_key, take_over
from checks.services.programme import TERMS, approve_interval, type_revision
from checks.services.record import discard_draft
from checks.services.sign import sign_performed
from fleet import guards, system_checks
from tests.checks.conftest import NOON
from tests.checks.deferring import deferred
from tests.checks.evidence_files import jpeg
from tests.checks.work import filled, performed, roles_again, started
from tests.guards import guards_lifted
from tests.snapshot import once
from tests.world import PASSWORD, World, build_world

PARTS = [(parent, *part) for parent in (CheckEvent, Revision) for part in guard_rules.owned(parent)]
FROZEN = [
    CheckEvent,
    Revision,
    MelItem,
    IntervalRevision,
    IntervalRevision.only_on.through,
    LimitRow,
    *(model for _, model, _ in PARTS),
    *guard_rules.WRITTEN_ONCE,
]


@pytest.fixture
def history(db: None, clock: time_machine.Traveller) -> World:
    """A row in every guarded table (of the photo's file only its name)."""
    return once(("a row in every guarded table",), _history)


def _history() -> World:
    world = build_world()
    releaser, controller = world.person("releaser1"), world.person("controller1")
    low = {"series": ("8", "8", "8", "8"), "volume": "2", "kept": "Seen twice."}
    draft = filled(started(world, world.forward), world, **low)
    first = draft.readings.first()
    read = {"role": first.role, "typed": "9", "unit": first.unit, "value": 9}
    FirstReading.objects.create(event=draft, step=first.step, **read)
    ExpectedValue.objects.create(event=draft, point=world.point(world.forward, "port"), low=80, high=110)
    mate = world.person("technician2")
    FluidTaken.objects.create(event=draft, batch=world.master.batches["fb-101"], litres=2)
    add_photo(event=draft, by=mate, content=jpeg())
    take_over(event=draft, by=mate, seen=seen_key(open_steps(draft)))
    low = sign_performed(event=draft, by=mate, password=PASSWORD)
    decide_too_low(event=low, by=releaser, password=PASSWORD, accepted=False, text="The pump stood still.")
    over = performed(world, world.underfloor, series=("300", "300", "300", "300"))
    performed(world, world.underfloor, "panel-purge", follows=over)
    papers(world, over.defect)
    rectify(
        defect=over.defect,
        by=releaser,
        password=PASSWORD,
        text="Panel changed.",
        without_retest="The gauge is away.",
        outside=OutsideWork("Test shop", "R-1", world.today),
    )
    release_rectification(defect=over.defect, by=releaser, password=PASSWORD)
    finding = report_out_of_calibration(
        instrument=world.instrument("gauge-1"),
        by=controller,
        password=PASSWORD,
        found_on=world.today,
        error=None,
        text="It fell.",
    )
    review_doubt(
        finding=finding, events=[low], by=releaser, password=PASSWORD, accepted=False, text="Test again."
    )
    CauseFound.objects.create(event=over, cause="all_fouled", found_by=releaser, found_at=NOON)
    batch, kept = world.master.batches["fb-101"], {"entered_by": controller, "entered_at": NOON}
    StockMovement.objects.create(
        kind="counted", on=world.today, base=batch.base, batch=batch, quantity=5, **kept
    )
    FluidMix.objects.create(kind_a="A", kind_b="B", allowed=False, source_reference="Invented.", **kept)
    package = WorkPackage.objects.create(
        aircraft=world.forward, base=batch.base, on=world.today, made_at=NOON
    )
    PackageChange.objects.create(package=package, what="accepted", by=controller, at=NOON)
    interval(world)
    return world


def interval(world: World) -> None:
    """An interval revised for one aircraft, and approved."""
    task, controller = world.recurring(world.forward), world.person("controller1")
    terms = {name: getattr(task, name) for name in TERMS} | {"interval_days": 41}
    waiting = type_revision(
        check=task, by=controller, terms=terms, only_on=[world.forward], reason="Invented: experience."
    )
    approve_interval(revision=waiting, by=world.person("director1"), password=PASSWORD)


def papers(world: World, defect: Defect) -> None:
    """A deferral with an extension that was approved, a part on order and a ferry permit."""
    controller, until = world.person("controller1"), world.today + dt.timedelta(days=12)
    signed = {"by": controller, "password": PASSWORD}
    asked = ask_extension(
        deferral=deferred(world, defect), expires_on=until, justification="The part is late.", **signed
    )
    director = world.person("director1")
    answer_extension(extension=asked, by=director, password=PASSWORD, approved=True, text="Agreed.")
    order_part(defect=defect, by=controller, what="Panel", reference="P-1", expected_on=until)
    record_ferry_permit(
        defect=defect,
        number="F-1",
        issuer="Invented authority",
        valid_from=world.today,
        valid_until=until,
        conditions="By day.",
        **signed,
    )


def refused(sql: str, params: list | None = None, *, words: str | None = None) -> None:
    """The statement fails as an integrity error and leaves the transaction usable."""
    with pytest.raises(IntegrityError, match=words), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql, params or [])


def test_every_row_kind_that_is_part_of_a_check_or_revision_is_guarded() -> None:
    """Read from the models, so that a new one can't be forgotten; the names here are the ones known today."""
    names = {model.__name__ for _, model, _ in PARTS}
    of_check = {"Reading", "Observation", "CautionFollowed", "Result", "Reset", "Photo", "Handover"}
    of_check |= {"EntryQuestion", "ExpectedValue", "FirstReading", "FluidTaken"}
    assert names == of_check | {"Step", "LimitTable"}
    guarded = {guard.table for guard in guard_rules.rules()}
    named = IntervalRevision.only_on.through
    assert {model._meta.db_table for model in [*FROZEN, ChainHead, WorkPackage, named]} == guarded


@pytest.mark.parametrize("model", FROZEN, ids=lambda model: model.__name__)
def test_a_row_of_signed_history_is_neither_changed_nor_deleted(history: World, model: type) -> None:
    rows = model.objects.all()
    if model is CheckEvent:
        rows = rows.signed()
    row = rows.first()
    assert row is not None, "the history has no such row, so nothing was tried"
    table, key = model._meta.db_table, model._meta.pk.column
    value = model._meta.pk.get_db_prep_value(row.pk, connection)
    for field in model._meta.concrete_fields:
        if not field.primary_key:
            refused(f'UPDATE "{table}" SET "{field.column}" = "{field.column}" WHERE "{key}" = %s', [value])
    refused(f'DELETE FROM "{table}" WHERE "{key}" = %s', [value])
    if connection.vendor == "sqlite":
        refused(f'INSERT OR REPLACE INTO "{table}" SELECT * FROM "{table}" WHERE "{key}" = %s', [value])
        refused(f'UPDATE OR IGNORE "{table}" SET "{key}" = "{key}" WHERE "{key}" = %s', [value])
    assert model.objects.filter(pk=row.pk).values().get() == rows.filter(pk=row.pk).values().get()


@pytest.mark.parametrize(
    ("parent", "model", "column"), PARTS, ids=lambda part: getattr(part, "__name__", part)
)
def test_nothing_is_added_to_a_signed_check_or_moved_into_it(
    history: World, parent: type, model: type, column: str
) -> None:
    row = model.objects.first()
    columns = [f.column for f in model._meta.concrete_fields if not f.primary_key]
    names = ", ".join(f'"{c}"' for c in columns)
    refused(
        f'INSERT INTO "{model._meta.db_table}" ({names}) SELECT {names} FROM "{model._meta.db_table}" '
        f"WHERE id = {row.pk}",
        words="final|never edited",
    )


def test_a_draft_may_change_but_its_rows_can_not_be_moved_into_a_signed_check(history: World) -> None:
    signed = CheckEvent.objects.signed().first()
    draft = filled(started(history, history.forward), history)
    reading = draft.readings.first()
    reading.mark = "a draft may change"
    reading.save()
    with pytest.raises(IntegrityError, match="final"), transaction.atomic():
        Reading.objects.filter(pk=reading.pk).update(event=signed)
    discard_draft(event=draft, by=history.person("technician1"))
    assert not CheckEvent.objects.filter(pk=draft.pk).exists()


def test_a_limit_row_can_not_be_added_to_an_approved_table(history: World) -> None:
    table = LimitTable.objects.first()
    with pytest.raises(IntegrityError, match="never edited"), transaction.atomic():
        LimitRow.objects.create(table=table, temperature="19.5", upper="9999")


def test_a_draft_revision_stays_open(world: World) -> None:
    procedure = Procedure.objects.first()
    revision = Revision.objects.create(
        procedure=procedure,
        number="draft",
        typed_by=world.person("controller1"),
        effective_on=world.today,
        source_reference="x",
    )
    step = Step.objects.create(revision=revision, number=1, kind="note", text="one")
    step.text = "another"
    step.save()
    revision.delete()
    assert not Step.objects.filter(pk=step.pk).exists()


def test_the_chain_moves_on_by_one_link_only(history: World) -> None:
    head = ChainHead.objects.exclude(number=0).first()
    for change in ("number = number + 1", "number = number - 1", "hash = 'x'", "owner = 'other'"):
        refused(f"UPDATE checks_chainhead SET {change} WHERE id = {head.pk}", words="one link")
    refused(f"DELETE FROM checks_chainhead WHERE id = {head.pk}", words="never deleted")
    with pytest.raises(IntegrityError, match="without links"), transaction.atomic():
        ChainHead.objects.create(owner="made up", number=5, hash="0" * 64)
    gap = Record(
        chain=head,
        number=head.number + 2,
        act="x",
        canonical="{}",
        previous_hash=head.hash,
        hash="1" * 64,
        written_at=NOON,
    )
    with pytest.raises(IntegrityError, match="follows"), transaction.atomic():
        gap.save()


@pytest.mark.only_postgresql
def test_no_guarded_table_is_truncated(history: World) -> None:
    connection.check_constraints()  # the keys of rows just added are checked first
    for guard in guard_rules.rules():
        refused(f'TRUNCATE "{guard.table}" CASCADE', words="never emptied")


@pytest.mark.only_postgresql
def test_a_temporary_table_does_not_stand_in_for_the_real_one(history: World) -> None:
    reading = Reading.objects.filter(event__state="signed").first()
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(
            "CREATE TEMPORARY TABLE checks_checkevent (LIKE public.checks_checkevent) ON COMMIT DROP"
        )
        with pytest.raises(IntegrityError, match="final"), transaction.atomic():
            cursor.execute("UPDATE checks_reading SET typed = '1' WHERE id = %s", [reading.pk])


def test_every_guard_stands_and_the_system_check_names_one_that_does_not(world: World) -> None:
    assert guards.missing_guards(connection) == []
    assert system_checks.guards_in_place(databases=["default"]) == []
    lost = next(g for g in guard_rules.rules() if g.table == "checks_reading" and g.verb == "delete")
    guards.remove(connection, [lost])
    assert lost.trigger in guards.missing_guards(connection)
    (error,) = system_checks.guards_in_place(databases=["default"])
    assert error.id == "fleet.E004" and lost.trigger in error.msg and "migrate" in error.hint
    guards.install(connection, [lost])
    assert guards.missing_guards(connection) == []


def test_a_guard_that_was_weakened_is_as_good_as_missing(world: World) -> None:
    real = next(g for g in guard_rules.rules() if g.table == "checks_record" and g.verb == "delete")
    guards.install(connection, [guards.Guard(real.table, real.verb, real.message, when="1 = 0")])
    assert guards.missing_guards(connection) == [real.trigger]
    guards.install(connection, [real])
    assert guards.missing_guards(connection) == []


@pytest.mark.only_postgresql
def test_a_disabled_guard_is_as_good_as_missing(db: None) -> None:
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE checks_record DISABLE TRIGGER guard_checks_record_delete")
    assert guards.missing_guards(connection) == ["guard_checks_record_delete"]


def test_migrate_is_warned_only_since_it_is_the_way_out(world: World, monkeypatch) -> None:
    monkeypatch.setattr(system_checks, "missing_guards", lambda _connection: ["guard_x"])
    monkeypatch.setattr(sys, "argv", ["manage.py", "migrate"])
    assert [m.id for m in system_checks.guards_in_place(databases=["default"])] == ["fleet.W004"]
    monkeypatch.setattr(sys, "argv", ["manage.py", "runserver"])
    assert [m.id for m in system_checks.guards_in_place(databases=["default"])] == ["fleet.E004"]


def test_lifting_is_undone_even_where_the_tear_down_fails(world: World) -> None:
    with pytest.raises(RuntimeError), guards_lifted(connection):
        assert guards.missing_guards(connection)
        raise RuntimeError
    assert guards.missing_guards(connection) == []


def test_a_guard_refuses_to_be_declared_wrongly() -> None:
    with pytest.raises(ValueError, match="stands before"):
        guards.Guard("t", "truncate", "no")
    with pytest.raises(ValueError, match="quote"):
        guards.Guard("t", "delete", "it's")
    with pytest.raises(ValueError, match="longer"):
        guards.Guard("t" * 60, "delete", "no")


REBUILD = """
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("checks", "{last}")]
    operations = [
        migrations.AlterField("checkevent", "remarks", models.TextField(blank=True, default="-")),
        migrations.AlterField("reading", "mark", models.CharField(max_length=61, blank=True)),
        migrations.AlterField("record", "act", models.CharField(max_length=25)),
    ]
"""


@pytest.fixture
def rebuilding_migration(tmp_path: Path, settings, monkeypatch) -> str:
    """One more migration of checks that makes SQLite rebuild three guarded tables."""
    from checks import migrations

    package = tmp_path / "more_migrations"
    package.mkdir()
    own = Path(migrations.__file__).parent
    last = max(path.stem for path in own.glob("[0-9]*.py"))
    (package / "__init__.py").write_text(f"__path__.append({str(own)!r})\n")
    (package / "9999_rebuild.py").write_text(REBUILD.format(last=last))
    monkeypatch.syspath_prepend(tmp_path)
    settings.MIGRATION_MODULES = {"checks": "more_migrations"}
    return last


@pytest.mark.django_db(transaction=True)
def test_guards_survive_a_migration_that_rebuilds_signed_tables(
    rebuilding_migration: str, monkeypatch
) -> None:
    """On SQLite a table is rebuilt to be altered, which drops its triggers; both engines end guarded."""
    roles_again()
    with time_machine.travel(NOON):
        world = build_world()
        event = performed(world, world.forward)
    lost: list[str] = []
    put_back = guards.install

    def watched(connection, declared) -> None:
        lost.extend(guards.missing_guards(connection))
        put_back(connection, declared)

    monkeypatch.setattr(guards, "install", watched)
    call_command("migrate", "checks", "9999_rebuild", verbosity=0)
    if connection.vendor == "sqlite":
        assert "guard_checks_checkevent_update" in lost
        with connection.cursor() as cursor:
            cursor.execute("SELECT sql FROM sqlite_master WHERE name = 'checks_reading'")
            assert "varchar(61)" in cursor.fetchone()[0], "nothing was rebuilt, so nothing was proved"
    assert "9999_rebuild" in {name for _, name in MigrationRecorder(connection).applied_migrations()}
    assert guards.missing_guards(connection) == []
    with pytest.raises(DatabaseError, match="final"):
        CheckEvent.objects.filter(pk=event.pk).update(remarks="other")
    with pytest.raises(DatabaseError, match="final"):
        event.readings.update(typed="1")
    assert Signature.objects.get().record.hash
    call_command("migrate", "checks", rebuilding_migration, verbosity=0)
    assert guards.missing_guards(connection) == []
