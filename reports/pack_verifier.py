"""Verifies an audit pack of Weepwatch. Needs Python 3.8 or later and nothing else: no network, no packages.

    python verify.py                     the folder in which this file lies, with what was unpacked there
    python verify.py HASH [HASH ...]     the same, held against hashes that you were given apart from the pack
    python verify.py --pack FILE.zip HASH     a pack that was not unpacked (or another folder)

A HASH is the manifest's hash, shown when the pack was made, or the hash of a link of the aircraft's chain (a
head that was kept). Without one, only accidents and clumsy changes are found: who changes a file can change
the manifest with it. Who fears that this file was changed takes it from another pack or from the maker.

Answers 0: everything holds; 1: something was changed, is missing or was added; 2: this is no pack.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import sys
import zipfile
import zlib
from collections import Counter
from pathlib import Path
from typing import IO, Any

MANIFEST, CHAIN = "manifest.json", "chain.json"
GENESIS = "0" * 64
HASH = re.compile(r"[0-9a-f]{64}\Z")
UNREADABLE = (OSError, zipfile.BadZipFile, zlib.error, RuntimeError, EOFError, ValueError)
USAGE = "Usage: python verify.py [--pack FOLDER_OR_ZIP] [HASH ...]   (a hash has 64 digits 0-9 a-f)"


class NoPack(Exception):
    """What was named is no pack that can be read."""


class Folder:
    """A pack as it was unpacked."""

    def __init__(self, path: str) -> None:
        self.path = Path(path).resolve()
        self.faults: list[str] = []

    def names(self) -> set[str]:
        """Every file below the folder, with forward slashes; a link is a fault, since it leads elsewhere."""
        found = set()
        for folder, inner, files in os.walk(self.path):
            for whole in [Path(folder, name) for name in [*inner, *files]]:
                told = whole.relative_to(self.path).as_posix()
                if whole.is_symlink():
                    self.faults.append(f"{told!a} is a link to another place, not a file")
                elif not whole.is_dir():
                    found.add(told)
        return found

    def open(self, name: str) -> IO[bytes]:
        return self.path.joinpath(*name.split("/")).open("rb")


class Zip:
    """A pack as it was handed over."""

    def __init__(self, path: str) -> None:
        self.faults: list[str] = []
        try:
            self.zip = zipfile.ZipFile(path)
        except UNREADABLE as error:
            raise NoPack(f"{path!a} can't be read as a ZIP: {error}") from error

    def names(self) -> set[str]:
        listed = [one.filename for one in self.zip.infolist() if not one.filename.endswith("/")]
        for name in sorted(one for one, times in Counter(listed).items() if times > 1):
            self.faults.append(f"{name!a} is in the ZIP more than once")
        return set(listed)

    def open(self, name: str) -> IO[bytes]:
        return self.zip.open(name)


def opened(path: str) -> Folder | Zip:
    """The folder or ZIP at the path."""
    return Folder(path) if Path(path).is_dir() else Zip(path)


def verify(pack: Folder | Zip, given: list[str] | tuple[str, ...] = ()) -> tuple[list[str], list[str]]:
    """(faults, what is proven), both lists of sentences. given: hashes known from elsewhere."""
    names = pack.names()
    faults, proven = list(pack.faults), []
    if MANIFEST not in names:
        raise NoPack("there is no manifest.json in it")
    try:
        raw = content(pack, MANIFEST)
    except UNREADABLE as error:
        return [*faults, f"manifest.json can't be read: {error}"], proven
    seal = hashlib.sha256(raw).hexdigest()
    manifest, files, found = read_manifest(raw)
    faults += found + compare(pack, names, files)
    links, found = read_chain(pack, names)
    faults += found
    if links and manifest:
        faults += against_manifest(links["aircraft"], manifest, set(names))
        faults += [f"when the pack was made: {one!a}" for one in told_list(manifest, "faults_when_made")]
    faults += against_given(links["aircraft"] if links else [], seal, given, proven)
    if not faults:
        proven += what_holds(files, links, given, seal)
    return faults, proven


def content(pack: Folder | Zip, name: str) -> bytes:
    with pack.open(name) as file:
        return file.read()


def told_list(told: dict[str, Any], name: str) -> list[Any]:
    found = told.get(name)
    return found if isinstance(found, list) else []


def read_manifest(raw: bytes) -> tuple[dict[str, Any], dict[str, tuple[Any, Any]], list[str]]:
    """(manifest, {name: (sha256, size)}, faults)."""
    try:
        manifest = json.loads(raw.decode("utf-8"))
        listed = [(one["name"], one["sha256"], one["size"]) for one in manifest["files"]]
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return {}, {}, ["manifest.json is not as it was written: it can't be understood"]
    faults, files = [], {}
    for name, sha256, size in listed:
        if not isinstance(name, str) or not is_plain(name):
            faults.append(f"the manifest names {name!a}, which is no name of a file in a pack")
        elif name in files:
            faults.append(f"the manifest names {name!a} twice")
        else:
            files[name] = (sha256, size)
    return manifest, files, faults


def is_plain(name: str) -> bool:
    """Whether a name stays within the pack on every system."""
    parts = name.split("/")
    return bool(re.match(r"[A-Za-z0-9._/-]+\Z", name)) and all(part.strip(".") for part in parts)


def compare(pack: Folder | Zip, names: set[str], files: dict[str, tuple[Any, Any]]) -> list[str]:
    """Files that are missing, were added, or are not those of the manifest."""
    faults = [f"{name} is missing" for name in sorted(set(files) - names)]
    added = sorted(names - set(files) - {MANIFEST})
    faults += [f"{name!a} was added: the manifest does not know it" for name in added]
    for name in sorted(set(files) & names):
        digest, size = hashlib.sha256(), 0
        try:
            with pack.open(name) as file:
                for block in iter(lambda: file.read(1 << 16), b""):
                    digest.update(block)
                    size += len(block)
        except UNREADABLE as error:
            faults.append(f"{name} can't be read: {error}")
            continue
        if (digest.hexdigest(), size) != files[name]:
            faults.append(f"{name} was changed")
    return faults


def read_chain(pack: Folder | Zip, names: set[str]) -> tuple[dict[str, list] | None, list[str]]:
    """({'aircraft': links, 'operator': links} or None, faults): each link rebuilt from its own text."""
    faults: list[str] = []
    try:
        told = json.loads(content(pack, CHAIN).decode("utf-8"))
        links = {owner: list(told[owner]["links"]) for owner in ("aircraft", "operator")}
        for owner in ("aircraft", "operator"):
            faults += chain_faults(pack, names, told[owner]["owner"], links[owner])
        chain = links["aircraft"]
        for before, link in zip(chain, chain[1:]):  # noqa: B905, RUF007 Python 3.8 knows neither
            if link["number"] != before["number"] + 1:
                faults.append(f"chain.json leaves out what follows link {before['number']}")
    except (KeyError, TypeError, AttributeError, RecursionError, *UNREADABLE) as error:
        return None, [f"chain.json can't be followed: {str(error)!a}"]
    return links, faults


def chain_faults(pack: Folder | Zip, names: set[str], owner: str, links: list[dict[str, Any]]) -> list[str]:
    """Faults of one chain: text, place and hash of each link, and that it follows the one before."""
    before, faults = None, []
    for link in links:
        number, name, previous = link["number"], link["file"], link["previous_hash"]
        where = f"link {number} of {owner!a} ({name!a})"
        if name not in names or not is_plain(name):
            faults.append(where + " has no text in the pack")
        elif not HASH.match(previous) or (number == 1 and previous != GENESIS):
            faults.append(where + " does not begin where a chain begins")
        else:
            text = content(pack, name)
            if hashlib.sha256(previous.encode() + b"\n" + text).hexdigest() != link["hash"]:
                faults.append(where + ": its text is not the one that was hashed")
            elif not is_at(text, owner, number):
                faults.append(where + ": its text belongs to another place")
        if before and number == before["number"] + 1 and previous != before["hash"]:
            faults.append(where + " does not follow the link before it")
        before = link
    return faults


def is_at(text: bytes, owner: str, number: int) -> bool:
    """Whether the text says itself that it is this link of this chain."""
    try:
        told = json.loads(text.decode("utf-8"))
        return told["number"] == number and told["chain"] == owner
    except (ValueError, KeyError, TypeError, RecursionError):
        return False


def against_manifest(links: list[dict[str, Any]], manifest: dict[str, Any], names: set[str]) -> list[str]:
    """The newest link is the head of the manifest, and every text in records/ is a link."""
    last = links[-1] if links else {"number": 0, "hash": GENESIS}
    head = manifest.get("head")
    faults = []
    if not isinstance(head, dict) or (head.get("number"), head.get("hash")) != (last["number"], last["hash"]):
        faults.append("the newest link in the pack is not the head that the manifest names")
    loose = {one for one in names if one.startswith("records/") and one.endswith(".json")}
    loose -= {link["file"] for link in links}
    return faults + [f"{one!a} is no link of the chain" for one in sorted(loose)]


def against_given(links: list[dict[str, Any]], seal: str, given: Any, proven: list[str]) -> list[str]:
    """Each hash given apart must be the manifest's or a link's."""
    faults = []
    for one in given:
        numbers = [link["number"] for link in links if link["hash"] == one]
        if one == seal:
            proven.append("The manifest is the one whose hash you gave, so every file is as it was made.")
        elif numbers:
            last = links[-1]["number"]
            later = "" if numbers[0] == last else " The links after it are not proven by that hash."
            proven.append(f"You gave the hash of link {numbers[0]}: the chain up to it is proven.{later}")
        else:
            faults.append(
                f"the hash {one[:12]}... that you gave is neither the manifest's nor that of any link in the "
                "pack: records were cut off or rewritten, or it belongs to another pack"
            )
    return faults


def what_holds(files: dict[str, Any], links: dict[str, list], given: Any, seal: str) -> list[str]:
    """Sentences for a pack without a fault."""
    chain = links["aircraft"]
    first = chain[0]["number"] if chain else 0
    words = [f"{len(files)} files are those of the manifest; none is missing, none was added."]
    if chain:
        words.append(f"Links {first} to {chain[-1]['number']} of the chain follow each other.")
    if first > 1:
        words.append(f"What came before link {first} is not in this pack; its hash stands for it.")
    if not given:
        words.append(
            "No hash was given: a change of files together with the manifest would not be found. "
            f"The manifest's hash is {seal}; compare it with the one told when the pack was made."
        )
    return words


def main(arguments: list[str]) -> int:
    """Runs the command; the answer is its exit status."""
    given, path = list(arguments), str(Path(__file__).resolve().parent)
    if given[:1] == ["--pack"] and len(given) > 1:
        path, given = given[1], given[2:]
    given = [one.strip().lower() for one in given]
    if not all(HASH.match(one) for one in given):
        print(USAGE)
        return 2
    try:
        faults, proven = verify(opened(path), given)
    except NoPack as error:
        print(f"This is no audit pack: {error}.")
        return 2
    for line in [f"FAULT: {one}" for one in faults] or proven:
        print(line)
    print(f"DOES NOT HOLD: {len(faults)} fault{'s' * (len(faults) > 1)}." if faults else "HOLDS.")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.stdout.reconfigure(errors="backslashreplace")
    sys.exit(main(sys.argv[1:]))
