"""Verification finds any change of what was signed, wherever it was made past the guards."""

import datetime as dt
import io
import random
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import IntegrityError, connection, models, transaction
from django.test.utils import CaptureQueriesContext

from checks.models import ChainHead, CheckEvent, LimitRow, Record
from checks.services.verify import LINKED, Head, faults_against, heads, verify_all, verify_records
from tests.checks.test_guards import FROZEN, history
from tests.guards import guards_lifted
from tests.world import World

__all__ = ["history"]

FLIPS = 150  # in every run; the long one tries more
# Guarded rows that are appended without a signature: no record carries them.
UNSIGNED = {"CauseFound", "PartOrder", "OutsideRelease", "StockMovement", "FluidMix"}
# Which row of its kind it is, and what no record can know of the row that it is linked from.
KEYS = {"id"}


def covered(world: World) -> list[tuple[type[models.Model], Any, models.Field]]:
    """Every column of every row that a record must tell of."""
    found = []
    for model in (*FROZEN, LimitRow, ChainHead):
        if model.__name__ in UNSIGNED:
            continue
        rows = model.objects.all()
        if model is CheckEvent:
            rows = rows.signed()
        elif any(field.name == "event" for field in model._meta.concrete_fields):
            rows = rows.filter(event__state="signed")
        elif any(field.name == "approved_at" for field in model._meta.concrete_fields):
            rows = rows.exclude(approved_at=None)
        elif any(field.name == "revision" for field in model._meta.concrete_fields):
            rows = rows.exclude(revision__approved_at=None)
        columns = [f for f in model._meta.concrete_fields if f.column not in KEYS]
        found += [(model, pk, field) for pk in rows.values_list("pk", flat=True) for field in columns]
    return found


def flipped(value: Any) -> Any:
    """Another value of the same kind, as the column stores it."""
    if isinstance(value, bool) or value in (0, 1):
        return 1 - value if connection.vendor == "sqlite" else not value
    if value is None:
        return 1
    if isinstance(value, int):
        return value + 1
    text = str(value)
    if not text:
        return "9"
    place = len(text) // 2
    other = "8" if text[place] == "9" else "9" if text[place].isdigit() else chr(ord(text[place]) ^ 1)
    return text[:place] + other + text[place + 1 :]


def changed(model: type[models.Model], pk: Any, field: models.Field) -> bool:
    """Put another value in the place, past everything; whether a constraint let it."""
    table, column, key = model._meta.db_table, field.column, model._meta.pk
    stored = key.get_db_prep_value(pk, connection)
    where = f'WHERE "{key.column}" = %s'
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(f'SELECT "{column}" FROM "{table}" {where}', [stored])
            (before,) = cursor.fetchone()
            cursor.execute(f'UPDATE "{table}" SET "{column}" = %s {where}', [flipped(before), stored])
    except IntegrityError:
        return False
    return True


@pytest.mark.only_sqlite  # takes values of any type, so a flip is one of any column
@pytest.mark.parametrize("flips", [FLIPS, pytest.param(1200, marks=pytest.mark.long)])
def test_flips_of_what_was_signed_are_all_found(history: World, flips: int) -> None:
    assert verify_all() == []
    places, missed, tried = covered(history), [], 0
    random.Random(20).shuffle(places)
    with guards_lifted(connection):
        for model, pk, field in places:
            with transaction.atomic():
                if changed(model, pk, field):
                    tried += 1
                    missed += [] if verify_all() else [(model.__name__, field.column, pk)]
                transaction.set_rollback(True)
            if tried == flips:
                break
    assert tried == flips and missed == []


def test_what_each_record_carries_is_known(db: None) -> None:
    """A new kind of row with a record of its own must be told of in LINKED."""
    linked = {relation.name for relation in Record._meta.related_objects if relation.one_to_one}
    assert linked == {name for name, _ in LINKED.values()} | {"signature", "decision"}


def test_a_row_that_is_gone_is_named(history: World) -> None:
    event = CheckEvent.objects.signed().exclude(readings=None).first()
    with guards_lifted(connection):
        event.readings.first().delete()
    assert [fault.text for fault in verify_all()] == ["readings differ from what was signed"]


def test_a_cut_tail_shows_against_the_heads_kept_elsewhere(history: World, tmp_path: Path) -> None:
    kept = tmp_path / "heads.csv"
    call_command("verify_records", heads=str(kept), stdout=io.StringIO())
    head = ChainHead.objects.exclude(aircraft=None).order_by("pk").first()
    last = head.records.get(number=head.number)
    before = head.records.get(number=head.number - 1)
    with guards_lifted(connection), connection.cursor() as cursor:
        for relation in Record._meta.related_objects:
            table, column = relation.related_model._meta.db_table, relation.field.column
            cursor.execute(f'DELETE FROM "{table}" WHERE "{column}" = %s', [last.pk])
        cursor.execute('DELETE FROM "checks_record" WHERE "id" = %s', [last.pk])
        cursor.execute(
            'UPDATE "checks_chainhead" SET "number" = %s, "hash" = %s WHERE "id" = %s',
            [before.number, before.hash, head.pk],
        )
    (fault,) = faults_against([Head(head.owner, head.number, head.hash)])
    assert (fault.number, "is missing" in fault.text) == (head.number, True)
    errors = io.StringIO()
    with pytest.raises(CommandError, match="heads kept elsewhere"):
        call_command("verify_records", against=str(kept), stdout=io.StringIO(), stderr=errors)
    assert f"{head.owner}, link {head.number}: is missing" in errors.getvalue()


def test_the_command_says_that_all_holds_and_writes_the_heads(history: World, tmp_path: Path) -> None:
    out, kept = io.StringIO(), tmp_path / "heads.csv"
    call_command("verify_records", heads=str(kept), verbosity=2, stdout=out)
    assert "Every chain holds" in out.getvalue() and "links, no faults" in out.getvalue()
    lines = kept.read_text().splitlines()
    assert lines == ["chain,number,hash", *(f"{h.owner},{h.number},{h.hash}" for h in heads())]
    call_command("verify_records", against=str(kept), stdout=io.StringIO())
    with pytest.raises(CommandError, match="Name a new file"):
        call_command("verify_records", heads=str(kept), stdout=io.StringIO())
    printed = io.StringIO()
    call_command("verify_records", heads="-", stdout=printed)
    assert lines[1] in printed.getvalue()


@pytest.mark.parametrize("text", ["", "a,b\n1,2\n", "chain,number,hash\nx,y,z\n"])
def test_a_file_that_holds_no_heads(db: None, tmp_path: Path, text: str) -> None:
    kept = tmp_path / "heads.csv"
    kept.write_text(text)
    if not text:
        kept.unlink()
    with pytest.raises(CommandError, match=r"can't be read|holds no heads"):
        call_command("verify_records", against=str(kept), stdout=io.StringIO())


def test_queries_do_not_grow_with_the_chain(world: World) -> None:
    cost = []
    for count in (2, 20):
        for n in range(count):
            world.signed(world.forward, world.today - dt.timedelta(days=400 - 10 * n - count))
        with CaptureQueriesContext(connection) as asked:
            assert list(verify_records(ChainHead.objects.get(aircraft=world.forward))) == []
        cost.append(len(asked))
    assert cost[0] == cost[1]
