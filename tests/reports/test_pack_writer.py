"""The file of a pack: the same bytes for the same content, little memory, nothing half done."""

import hashlib
import json
import tracemalloc
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from reports.pack_writer import MANIFEST, PackWriter

PIECE = bytes(range(256)) * 256  # 64 KiB


def stream(megabytes: int) -> Iterator[bytes]:
    return (PIECE for _ in range(megabytes * 16))


def written(path: Path) -> str:
    with PackWriter(path) as pack:
        pack.add("b.txt", b"second")
        pack.add("a.json", [b"fir", b"st"])
        return pack.close_with({"form": 1})


def test_the_same_content_is_the_same_bytes(tmp_path: Path):
    assert written(tmp_path / "one.zip") == written(tmp_path / "two.zip")
    assert (tmp_path / "one.zip").read_bytes() == (tmp_path / "two.zip").read_bytes()


def test_the_manifest_tells_hash_and_size_in_order_of_names(tmp_path: Path):
    seal = written(tmp_path / "one.zip")
    with zipfile.ZipFile(tmp_path / "one.zip") as pack:
        raw = pack.read(MANIFEST)
        assert {one.date_time for one in pack.infolist()} == {(1980, 1, 1, 0, 0, 0)}
    assert hashlib.sha256(raw).hexdigest() == seal
    assert json.loads(raw)["files"] == [
        {"name": "a.json", "sha256": hashlib.sha256(b"first").hexdigest(), "size": 5},
        {"name": "b.txt", "sha256": hashlib.sha256(b"second").hexdigest(), "size": 6},
    ]


@pytest.mark.parametrize("name", ["large.json", "large.pdf"])
def test_memory_does_not_grow_with_the_file(tmp_path: Path, name: str):
    tracemalloc.start()
    with PackWriter(tmp_path / "one.zip") as pack:
        pack.add(name, stream(64))
        _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 4 * 2**20


def test_what_fails_leaves_nothing_and_an_old_file_as_it_was(tmp_path: Path):
    (tmp_path / "one.zip").write_bytes(b"old")
    with pytest.raises(RuntimeError), PackWriter(tmp_path / "one.zip") as pack:
        pack.add("a.txt", b"x")
        raise RuntimeError
    assert [one.name for one in tmp_path.iterdir()] == ["one.zip"]
    assert (tmp_path / "one.zip").read_bytes() == b"old"


def test_a_name_stands_once_and_the_file_is_closed_to_others(tmp_path: Path):
    with PackWriter(tmp_path / "one.zip") as pack:
        pack.add("a.txt", b"x")
        with pytest.raises(ValueError, match=r"a\.txt is in the pack already"):
            pack.add("a.txt", b"y")
    assert (tmp_path / "one.zip").stat().st_mode & 0o077 == 0
