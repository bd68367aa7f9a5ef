"""The audit pack: what is in it, and that its verifier finds every change."""

import ast
import datetime as dt
import hashlib
import json
import random
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from django.urls import reverse

from checks.engine.canonical import GENESIS
from checks.models import ChainHead, Record
from checks.services.errors import RecordError
from checks.services.packs import ACT
from checks.services.verify import verify_all
from reports import pack_verifier
from reports.audit_pack import audit_pack
from reports.pack_making import VERIFIER, Made, make_pack, write_pack
from reports.pack_tables import Span
from reports.pack_verifier import Folder, NoPack, Zip, verify
from tests.reports import pack_cases as cases
from tests.world import World

FLIPS = 1200


@pytest.fixture
def pack(world: World, tmp_path: Path) -> Made:
    cases.history(world)
    return cases.made(world, tmp_path / "pack.zip")


@pytest.fixture
def folder(pack: Made, tmp_path: Path) -> Path:
    return cases.unpacked(pack.path, tmp_path / "unpacked")


def faults(folder: Path, *given: str) -> list[str]:
    return verify(Folder(str(folder)), given)[0]


def test_each_link_is_there_word_for_word(pack: Made, folder: Path, world: World):
    """Hashed here by the rule alone: SHA-256 of the hash before, a line feed, the text."""
    records = list(Record.objects.filter(chain__aircraft=world.forward).order_by("number"))
    before = GENESIS
    for record in records:
        text = (folder / f"records/{record.number:05d}.json").read_bytes()
        assert text == record.canonical.encode()
        before = hashlib.sha256(before.encode() + b"\n" + text).hexdigest()
        assert before == record.hash
    assert pack.head == (len(records), before)
    assert len(records) >= 5


def test_each_signed_check_is_a_sheet_and_the_rest_stands_beside(pack: Made, folder: Path, world: World):
    checks = cases.read(folder, "data/checks.json")
    assert len(checks) == 3
    assert all((folder / one["sheet"]).read_bytes().startswith(b"%PDF-") for one in checks)
    (defect,) = cases.read(folder, "data/defects.json")
    assert defect["state"] == "deferred"
    assert [one["mel_item"] for one in defect["deferrals"]] == [world.item().number]
    instruments = cases.read(folder, "data/instruments.json")
    assert all(one["calibrations"] for one in instruments if one["needs_calibration"])
    assert cases.read(folder, "data/recurring_checks.json")
    (photo,) = cases.read(folder, "data/files.json")
    assert hashlib.sha256((folder / photo["file"]).read_bytes()).hexdigest() == photo["recorded_sha256"]
    acts = {link["act"] for link in cases.read(folder, "chain.json")["operator"]["links"]}
    assert acts == {"approval", "MEL item"}


def test_an_untouched_pack_holds_as_folder_and_as_zip(pack: Made, folder: Path):
    for kept in (Folder(str(folder)), Zip(str(pack.path))):
        found, proven = verify(kept, [pack.seal, pack.head[1]])
        assert found == []
        assert any("manifest is the one" in words for words in proven)
        assert any(f"link {pack.head[0]}: the chain up to it is proven" in words for words in proven)


def test_every_flipped_byte_is_found_and_its_file_named(pack: Made, folder: Path):
    chance = random.Random(1200)
    every = cases.names(folder)
    for k in range(FLIPS):
        # Each file in turn, however small; then anywhere in it.
        name = every[k % len(every)]
        whole = (folder / name).read_bytes()
        at = chance.randrange(len(whole))
        changed = bytearray(whole)
        changed[at] ^= 1 << chance.randrange(8)
        (folder / name).write_bytes(changed)
        found = faults(folder, pack.seal)
        (folder / name).write_bytes(whole)
        assert found, f"bit of byte {at} of {name}"
        assert name == "manifest.json" or f"{name} was changed" in found
    assert faults(folder, pack.seal) == []


def test_a_removed_a_renamed_and_an_added_file_are_found(pack: Made, folder: Path):
    for name in cases.names(folder):
        whole = folder / name
        aside = whole.with_name("other.json")
        whole.rename(aside)
        other = aside.relative_to(folder).as_posix()
        if name == "manifest.json":
            with pytest.raises(NoPack):
                faults(folder)
        else:
            found = faults(folder)
            assert f"{name} is missing" in found
            assert f"'{other}' was added: the manifest does not know it" in found
        aside.rename(whole)
    assert faults(folder) == []


def test_a_swap_of_two_files_is_found(folder: Path):
    one, two = folder / "records/00001.json", folder / "records/00002.json"
    first, second = one.read_bytes(), two.read_bytes()
    one.write_bytes(second)
    two.write_bytes(first)
    cases.manifest_again(folder)
    assert any("link 1 of" in fault for fault in faults(folder))


def test_a_text_changed_together_with_the_manifest_breaks_the_chain(folder: Path):
    text = folder / "records/00002.json"
    text.write_bytes(text.read_bytes().replace(b"2025", b"2024", 1))
    cases.manifest_again(folder)
    assert any("link 2" in fault and "not the one that was hashed" in fault for fault in faults(folder))


def test_a_chain_forged_whole_is_found_against_a_head_that_was_kept(pack: Made, folder: Path):
    text = folder / "records/00002.json"
    text.write_bytes(text.read_bytes().replace(b"2025", b"2024", 1))
    cases.chain_again(folder)
    cases.manifest_again(folder)
    assert faults(folder) == []  # nothing in the pack alone can tell, which verify.py says
    assert "neither the manifest's nor" in faults(folder, pack.head[1])[0]
    assert faults(folder, pack.seal)


def test_a_removed_last_record_is_found_against_a_head_that_was_kept(pack: Made, folder: Path):
    chain = cases.read(folder, "chain.json")
    last = chain["aircraft"]["links"].pop()
    cases.write(folder, "chain.json", chain)
    (folder / last["file"]).unlink()
    cases.manifest_again(folder)
    assert faults(folder) == []
    assert "records were cut off or rewritten" in faults(folder, pack.head[1])[0]


def test_a_record_taken_out_of_the_middle_is_found_without_any_hash(folder: Path):
    chain = cases.read(folder, "chain.json")
    gone = chain["aircraft"]["links"].pop(2)
    cases.write(folder, "chain.json", chain)
    (folder / gone["file"]).unlink()
    cases.manifest_again(folder)
    assert "chain.json leaves out what follows link 2" in faults(folder)


def test_what_comes_after_a_head_that_was_kept_is_said_not_to_be_proven(pack: Made, folder: Path):
    earlier = cases.read(folder, "chain.json")["aircraft"]["links"][1]["hash"]
    found, proven = verify(Folder(str(folder)), [earlier])
    assert found == []
    assert "link 2: the chain up to it is proven. The links after it are not" in proven[0]


@pytest.mark.parametrize(
    "name",
    ["../outside.txt", "/etc/passwd", "..\\outside", "a/../../b", "C:\\x", "new\nline", "‮fdp.exe", "."],
)
def test_hostile_names_are_told_and_never_opened(pack: Made, folder: Path, tmp_path: Path, name: str):
    manifest = cases.read(folder, "manifest.json")
    manifest["files"].append({"name": name, "sha256": "0" * 64, "size": 1})
    cases.write(folder, "manifest.json", manifest)
    found = faults(folder)
    assert found == [f"the manifest names {name!a}, which is no name of a file in a pack"]
    with zipfile.ZipFile(pack.path, "a") as kept:
        kept.writestr(name, "hostile")
    before = sorted(tmp_path.rglob("*"))
    assert (
        f"{zipfile.ZipInfo(name).filename!a} was added: the manifest does not know it"
        in (verify(Zip(str(pack.path)), [pack.seal])[0])
    )
    assert sorted(tmp_path.rglob("*")) == before


def test_a_name_twice_in_the_zip_and_a_link_in_the_folder_are_found(pack: Made, folder: Path):
    (folder / "data/again.json").symlink_to("/etc/hostname")
    assert "'data/again.json' is a link to another place, not a file" in faults(folder)
    with pytest.warns(UserWarning), zipfile.ZipFile(pack.path, "a") as kept:
        kept.writestr("README.txt", "another one")
    assert "'README.txt' is in the ZIP more than once" in verify(Zip(str(pack.path)))[0]


@pytest.mark.parametrize(
    "content", [b"", b"[]", b"{}", b'{"files": 3}', b'{"files": [{"name": []}]}', b"\xff", b"[" * 100_000]
)
def test_a_broken_manifest_or_chain_is_a_fault_and_no_crash(folder: Path, content: bytes):
    for name in ("manifest.json", "chain.json"):
        whole = (folder / name).read_bytes()
        (folder / name).write_bytes(content)
        assert faults(folder)
        (folder / name).write_bytes(whole)


def test_stored_names_never_reach_out_of_the_media_folder(world: World, tmp_path: Path):
    event = cases.history(world)
    (tmp_path / "outside.pdf").write_bytes(b"%PDF-1.4 secret")
    calibration = cases.certificate(event, "../outside.pdf")
    made = cases.made(world, tmp_path / "pack.zip")
    folder = cases.unpacked(made.path, tmp_path / "unpacked")
    assert not list((folder / "files").glob("certificate*"))
    words = f"calibration certificate {calibration.certificate_number} of {calibration.instrument.code}"
    assert made.faults == (f"{words}: the file is missing",)
    assert faults(folder) == [f"when the pack was made: {made.faults[0]!a}"]


def test_a_changed_photo_is_told_when_the_pack_is_made(world: World, tmp_path: Path, settings):
    photo = cases.history(world).photos.get()
    (Path(settings.MEDIA_ROOT) / photo.stored).write_bytes(b"another")
    made = cases.made(world, tmp_path / "pack.zip")
    assert any("not the file that was kept" in fault for fault in made.faults)


def test_a_period_begins_with_its_first_link_and_says_what_it_proves(world: World, tmp_path: Path):
    world.signed(world.forward, dt.date(2024, 3, 1), released=True)
    cases.within(world)
    late = cases.made(world, tmp_path / "late.zip", Span(since=dt.date(2025, 1, 1)))
    folder = cases.unpacked(late.path, tmp_path / "late")
    chain = cases.read(folder, "chain.json")["aircraft"]["links"]
    first = chain[0]["number"]
    assert first > 1
    assert f"records/{first - 1:05d}.json" not in cases.names(folder)
    assert any(
        "represented by its hash alone" in words for words in cases.read(folder, "manifest.json")["proves"]
    )
    assert f"What came before link {first} is not in this pack" in verify(Folder(str(folder)))[1][2]
    assert faults(folder, late.head[1]) == []
    early = cases.made(world, tmp_path / "early.zip", Span(until=dt.date(2024, 12, 31)))
    folder = cases.unpacked(early.path, tmp_path / "early")
    links = cases.read(folder, "chain.json")["aircraft"]["links"]
    assert {link["in_period"] for link in links} == {True, False}
    assert len(cases.read(folder, "data/checks.json")) == 1
    assert faults(folder, late.head[1]) == []


def test_an_aircraft_without_records_has_a_pack_that_says_so(world: World, tmp_path: Path):
    made = cases.made(world, tmp_path / "pack.zip")
    folder = cases.unpacked(made.path, tmp_path / "unpacked")
    assert "proves nothing" in cases.read(folder, "manifest.json")["proves"][0]
    assert faults(folder, made.seal) == []


def test_the_verifier_in_the_pack_runs_with_python_alone(pack: Made, folder: Path):
    def run(*arguments: str) -> subprocess.CompletedProcess:
        command = [sys.executable, "-I", "-S", str(folder / "verify.py"), *arguments]
        return subprocess.run(command, capture_output=True, text=True, check=False)

    assert run(pack.seal).returncode == 0
    assert "No hash was given" in run().stdout
    assert run("not a hash").returncode == 2
    assert run("--pack", str(pack.path), pack.seal).returncode == 0
    assert run("--pack", str(folder / "README.txt")).returncode == 2
    (folder / "data/added.txt").write_text("x")
    answer = run(pack.seal)
    assert answer.returncode == 1
    assert answer.stdout.startswith("FAULT: 'data/added.txt' was added")


def test_the_verifier_imports_the_standard_library_alone():
    tree = ast.parse(VERIFIER.read_text(encoding="utf-8"))
    named = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    named |= {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert named <= sys.stdlib_module_names
    assert pack_verifier.GENESIS == GENESIS


def test_a_pack_is_a_link_of_the_operators_chain_which_still_verifies(pack: Made, world: World):
    link = Record.objects.get(act=ACT)
    told = json.loads(link.canonical)["pack"]
    assert told["manifest"] == pack.seal
    assert told["head"] == {"number": pack.head[0], "hash": pack.head[1]}
    assert told["registration"] == world.forward.registration
    assert verify_all() == []
    assert ChainHead.objects.get(owner="operator").number == link.number


def test_the_same_pack_at_the_same_moment_is_the_same_bytes(world: World, tmp_path: Path, clock):
    cases.history(world)
    seals = []
    for name in ("one.zip", "two.zip"):
        told = audit_pack(world.forward, Span(), made_by="Auditor 1")
        seals.append(write_pack(told, tmp_path / name))
    assert seals[0] == seals[1]
    assert (tmp_path / "one.zip").read_bytes() == (tmp_path / "two.zip").read_bytes()


def test_an_aircraft_that_left_under_another_registration_keeps_its_whole_history(
    pack: Made, world: World, tmp_path: Path
):
    craft = world.forward
    craft.registration, craft.state = "Q-NEW", craft.State.LEFT
    craft.save()
    sold = cases.made(world, tmp_path / "sold.zip")
    folder = cases.unpacked(sold.path, tmp_path / "sold")
    assert sold.faults == ()
    assert faults(folder, sold.seal, pack.head[1]) == []
    assert cases.read(folder, "manifest.json")["aircraft"]["registration"] == "Q-NEW"
    assert len(cases.read(folder, "data/checks.json")) == 3


def test_whoever_may_not_take_packs_gets_none(world: World, tmp_path: Path):
    with pytest.raises(RecordError, match="may not do this"):
        make_pack(
            aircraft=world.forward, span=Span(), by=world.person("technician1"), path=tmp_path / "pack.zip"
        )
    assert not (tmp_path / "pack.zip").exists()


def test_the_page_makes_a_pack_shows_its_hash_and_hands_it_out(world: World, client_of):
    cases.within(world)
    client, page = client_of(world.person("auditor1")), reverse("reports:audit_packs")
    answer = client.post(page, {"aircraft": world.forward.registration}, follow=True)
    told = json.loads(Record.objects.get(act=ACT).canonical)["pack"]
    assert told["manifest"] in answer.content.decode()
    number = ChainHead.objects.get(owner="operator").number
    kept = client.get(reverse("reports:audit_pack_file", args=[number]))
    content = b"".join(kept.streaming_content)
    assert len(content) == told["size"]
    assert kept["Content-Disposition"].startswith('attachment; filename="audit-pack-')


def test_a_period_that_ends_before_it_begins_is_explained(world: World, client_of):
    client = client_of(world.person("director1"))
    typed = {"aircraft": world.forward.registration, "since": "2025-02-01", "until": "2025-01-01"}
    answer = client.post(reverse("reports:audit_packs"), typed)
    assert answer.status_code == 422
    assert "ends before it begins" in answer.content.decode()
    assert not Record.objects.filter(act=ACT).exists()
