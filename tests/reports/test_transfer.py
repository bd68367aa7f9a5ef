"""The whole database out and back in: the same bytes, the same chains, nobody's secrets, all or nothing."""

import hashlib
import io
import json
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from django.apps import apps
from django.contrib.admin.models import ADDITION, LogEntry
from django.contrib.contenttypes.models import ContentType
from django.core.management import CommandError, call_command
from django.db import IntegrityError, connection, transaction

from checks.models import CalendarFeed, CheckEvent, Record
from checks.services.notices import make_feed
from checks.services.verify import Head, faults_against, heads, verify_all
from fleet.guards import missing_guards
from fleet.models import Aircraft, User
from reports.demo.history import generate
from reports.transfer.export import export
from reports.transfer.load import LoadError, load_export
from reports.transfer.tables import APPS, LEFT_OUT, SECRET, tables
from tests.checks.work import performed
from tests.reports import pack_cases, record_cases
from tests.world import PASSWORD, TODAY, World, build_world

pytestmark = pytest.mark.django_db


class _Undone(Exception):
    """Takes a history back, so that the installation is empty again."""


def story(world: World, clock) -> None:
    """A history with nearly every kind of row: photo, deferral, correction, decision, import, log, feed."""
    pack_cases.history(world)
    record_cases.inspected(world)
    record_cases.decided(world, clock, accepted=True)
    record_cases.corrected(world, clock)
    record_cases.imported(world)
    make_feed(base=world.forward.base, owner=world.person("controller1"), name="Hangar")
    kind = ContentType.objects.get_for_model(Aircraft)
    LogEntry.objects.create(
        user=world.person("controller1"),
        content_type=kind,
        object_id="1",
        object_repr="“quoted”",
        action_flag=ADDITION,
    )


@dataclass
class Out:
    """An export, the world that it was made of, and the heads of its chains."""

    path: Path
    world: World
    heads: list[Head]


@pytest.fixture
def out(db, clock, tmp_path: Path, settings) -> Out:
    """An export of the story, which is taken back again: the installation and its media folder are empty."""
    path = tmp_path / "all.zip"
    try:
        with transaction.atomic():
            world = build_world()
            story(world, clock)
            export(path)
            kept = heads()
            raise _Undone
    except _Undone:
        pass
    settings.MEDIA_ROOT = tmp_path / "media of another"
    assert not User.objects.exists()
    return Out(path, world, kept)


@pytest.fixture
def exported(out: Out) -> Path:
    return out.path


def members(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as pack:
        return {name: pack.read(name) for name in pack.namelist()}


def forged(path: Path, change: Callable[[dict[str, bytes]], None]) -> Path:
    """The export with other content, and a manifest that fits it."""
    files = members(path)
    manifest = json.loads(files.pop("manifest.json"))
    change(files)
    manifest["files"] = [
        {"name": name, "sha256": hashlib.sha256(content).hexdigest(), "size": len(content)}
        for name, content in files.items()
    ]
    other = path.with_name("forged.zip")
    with zipfile.ZipFile(other, "w") as pack:
        for name, content in {**files, "manifest.json": json.dumps(manifest).encode()}.items():
            pack.writestr(name, content)
    return other


def of(files: dict[str, bytes], table: str) -> str:
    return next(name for name in files if name.endswith(f"-{table}.jsonl"))


def nothing_is_kept(settings) -> bool:
    return not User.objects.exists() and not list(Path(settings.MEDIA_ROOT).glob("**/*.*"))


def test_out_and_in_and_out_again_are_the_same_bytes(exported: Path, tmp_path: Path):
    loaded = load_export(exported)
    again = tmp_path / "again.zip"
    export(again)
    before, after = members(exported), members(again)
    assert list(before) == list(after)
    assert [name for name in before if before[name] != after[name]] in ([], ["manifest.json"])
    told, told_again = json.loads(before["manifest.json"]), json.loads(after["manifest.json"])
    assert {key for key in told if told[key] != told_again[key]} <= {"made_at"}
    assert loaded.files == 1
    filled = [name for name, number in loaded.rows.items() if number]
    assert len(filled) > 40


def test_the_chains_hold_and_the_guards_stand(out: Out):
    load_export(out.path)
    assert verify_all() == []
    assert heads() == out.heads
    assert list(faults_against(out.heads)) == []
    assert missing_guards(connection) == []
    with pytest.raises(IntegrityError), transaction.atomic():
        CheckEvent.objects.signed().update(remarks="changed")
    with pytest.raises(IntegrityError), transaction.atomic():
        Record.objects.order_by("pk").first().delete()


def test_people_come_back_without_secrets_and_with_their_roles(exported: Path):
    load_export(exported)
    assert User.objects.count() > 5
    assert not any(person.has_usable_password() for person in User.objects.all())
    controller = User.objects.get(username="controller1")
    assert not controller.check_password(PASSWORD)
    assert controller.has_perm("checks.defer_defect")
    assert not CalendarFeed.objects.exists()
    controller.set_password("another phrase for tests")
    controller.save()
    assert controller.check_password("another phrase for tests")


def test_no_secret_is_in_the_file(db, tmp_path: Path):
    world = build_world()
    feed, secret = make_feed(base=world.forward.base, owner=world.person("controller1"), name="Hangar")
    person = world.person("technician1")
    person.refresh_from_db()
    export(tmp_path / "all.zip")
    whole = b"".join(members(tmp_path / "all.zip").values())
    assert not [one for one in (person.password, feed.digest, secret) if one.encode() in whole]
    assert b'"password"' not in whole
    assert b"session" not in b"".join(name.encode() for name in members(tmp_path / "all.zip"))


def test_work_goes_on_after_it(out: Out):
    """The counters have moved on: new rows get keys of their own, and the chain goes on from its head."""
    load_export(out.path)
    person = User.objects.get(username="technician1")
    person.set_password(PASSWORD)
    person.save()
    before = Record.objects.count()
    performed(out.world, out.world.underfloor)
    assert Record.objects.count() > before
    assert verify_all() == []


def test_an_installation_that_is_not_empty_is_left_alone(exported: Path):
    load_export(exported)
    people = User.objects.count()
    with pytest.raises(LoadError, match="not empty"):
        load_export(exported)
    assert User.objects.count() == people


def test_a_changed_file_is_refused_before_anything_is_read(exported: Path, settings):
    files = members(exported)
    for name in files:
        if name == "manifest.json" or not files[name]:
            continue
        other = exported.with_name("damaged.zip")
        with zipfile.ZipFile(other, "w") as pack:
            for one, content in files.items():
                pack.writestr(one, content[:-1] + bytes([content[-1] ^ 1]) if one == name else content)
        with pytest.raises(LoadError, match="damaged"):
            load_export(other)
    assert nothing_is_kept(settings)


@pytest.mark.parametrize("content", [b"", b"no zip", b"PK\x05\x06" + bytes(18)])
def test_what_is_no_export_is_said_to_be_none(db, tmp_path: Path, content: bytes):
    path = tmp_path / "x.zip"
    path.write_bytes(content)
    with pytest.raises(LoadError, match="no export"):
        load_export(path)
    with pytest.raises(CommandError, match="Nothing was changed"):
        call_command("load_export", str(path))


def test_a_forged_record_a_forged_row_and_a_cut_chain_are_not_kept(exported: Path, settings):
    def record(files: dict[str, bytes]) -> None:
        name = of(files, "checks.record")
        files[name] = files[name].replace(b"technician1", b"technician2").replace(b"2025-03", b"2025-02", 1)

    def row(files: dict[str, bytes]) -> None:
        name = of(files, "checks.reading")
        lines = [json.loads(line) for line in files[name].splitlines()]
        lines[0]["typed"] = "1.0"
        files[name] = b"".join(json.dumps(line).encode() + b"\n" for line in lines)

    def cut(files: dict[str, bytes]) -> None:
        name = of(files, "checks.record")
        files[name] = b"".join(files[name].splitlines(keepends=True)[:-1])

    for change in (record, row, cut):
        with pytest.raises(LoadError):
            load_export(forged(exported, change))
        assert nothing_is_kept(settings), change.__name__


@pytest.mark.parametrize("line", [b"{", b"[]", b"{}", b'{"id": 1}', b"null", b"\xff"])
def test_a_line_that_is_no_row_is_named(exported: Path, line: bytes, settings):
    def change(files: dict[str, bytes]) -> None:
        files[of(files, "fleet.base")] += line + b"\n"

    with pytest.raises(LoadError, match=r"fleet\.base\.jsonl, line 5"):
        load_export(forged(exported, change))
    assert nothing_is_kept(settings)


@pytest.mark.parametrize("name", ["../outside.jpg", "/tmp/outside.jpg", "a/../../outside.jpg", ""])
def test_a_file_never_lands_outside_the_media_folder(exported: Path, name: str, settings, tmp_path: Path):
    def change(files: dict[str, bytes]) -> None:
        told = json.loads(files["media.jsonl"])
        files["media.jsonl"] = json.dumps(told | {"name": name}).encode() + b"\n"

    with pytest.raises(LoadError, match=r"media\.jsonl, line 1"):
        load_export(forged(exported, change))
    assert nothing_is_kept(settings)
    assert not list(tmp_path.rglob("outside*"))


def test_an_export_of_other_tables_is_refused(exported: Path, monkeypatch):
    monkeypatch.setattr("reports.transfer.load.tool_version", lambda: "Weepwatch, tables checks 9999_later")
    with pytest.raises(LoadError, match="same state of the tables"):
        load_export(exported)


def test_a_missing_kept_file_stays_missing(db, clock, tmp_path: Path, settings):
    try:
        with transaction.atomic():
            photo = pack_cases.history(build_world()).photos.get()
            (Path(settings.MEDIA_ROOT) / photo.stored).unlink()
            export(tmp_path / "all.zip")
            raise _Undone
    except _Undone:
        pass
    assert load_export(tmp_path / "all.zip").files == 0


def test_every_table_and_column_is_written_or_said_to_be_left_out():
    written = {table.model: {column.field.column for column in table.columns} for table in tables()}
    for app in APPS:
        for model in apps.get_app_config(app).get_models(include_auto_created=True):
            every = {field.column for field in model._meta.local_concrete_fields}
            assert model in LEFT_OUT or every - set(SECRET.get(model, ())) == written[model], model
    assert set(LEFT_OUT) == {CalendarFeed}
    assert {User: ("password", "last_login")} == SECRET


def test_the_commands_say_what_they_did(exported: Path, tmp_path: Path):
    said = io.StringIO()
    call_command("load_export", str(exported), stdout=said)
    assert "Every record verifies" in said.getvalue()
    call_command("export", str(tmp_path / "again.zip"), stdout=said)
    assert "Left out: passwords" in said.getvalue()
    with pytest.raises(CommandError, match="exists"):
        call_command("export", str(tmp_path / "again.zip"))


@pytest.mark.long
def test_the_whole_demo_out_and_in_and_out_again(db, tmp_path: Path):
    first, second = tmp_path / "first.zip", tmp_path / "second.zip"
    try:
        with transaction.atomic():
            generate(today=TODAY)
            export(first)
            raise _Undone
    except _Undone:
        pass
    load_export(first)
    export(second)
    before, after = members(first), members(second)
    assert {name for name in before if before[name] != after.get(name)} <= {"manifest.json"}
    assert list(before) == list(after)
