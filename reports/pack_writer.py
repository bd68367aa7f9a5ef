"""A pack as a file: a ZIP written in one go, each file hashed as it goes in, the manifest last.

The same content gives the same bytes: names in the order given, one date for all, no field of the machine.
"""

import hashlib
import json
import os
import zipfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from types import TracebackType
from typing import Any

MANIFEST = "manifest.json"
DATE = (1980, 1, 1, 0, 0, 0)  # the first that a ZIP can tell
STORED = (".jpg", ".png", ".pdf")  # packed already


class PackWriter:
    """Writes a ZIP beside its place and moves it there when it is whole; memory does not grow with it."""

    def __init__(self, path: Path) -> None:
        self.path, self.unfinished = path, path.with_name(f"{path.name}.{os.getpid()}.part")
        self.files: list[dict[str, Any]] = []
        self._names: set[str] = set()
        # Closed to other users from the first byte on.
        handle = os.open(self.unfinished, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        self._file = os.fdopen(handle, "wb")
        self._zip = zipfile.ZipFile(self._file, "w", zipfile.ZIP_DEFLATED)

    def __enter__(self) -> "PackWriter":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, _error: BaseException | None, _trace: TracebackType | None
    ) -> None:
        self._zip.close()
        self._file.close()
        if kind is None:
            self.unfinished.replace(self.path)
        else:
            self.unfinished.unlink(missing_ok=True)

    def add(self, name: str, content: bytes | Iterable[bytes]) -> str:
        """Put a file in; its SHA-256. content: all of it, or piece by piece. ValueError for a name twice."""
        digest, size = self._write(name, content)
        self.files.append({"name": name, "sha256": digest, "size": size})
        return digest

    def close_with(self, manifest: dict[str, Any]) -> str:
        """Write the manifest, with the list of files added; its SHA-256 seals all of them."""
        files = sorted(self.files, key=lambda one: one["name"])
        return self._write(MANIFEST, pretty(manifest | {"files": files}))[0]

    def _write(self, name: str, content: bytes | Iterable[bytes]) -> tuple[str, int]:
        if name in self._names:
            raise ValueError(f"{name} is in the pack already")
        self._names.add(name)
        entry = zipfile.ZipInfo(name, DATE)
        entry.create_system, entry.external_attr = 3, 0o600 << 16
        entry.compress_type = zipfile.ZIP_STORED if name.endswith(STORED) else zipfile.ZIP_DEFLATED
        digest, size = hashlib.sha256(), 0
        with self._zip.open(entry, "w") as target:
            for piece in (content,) if isinstance(content, bytes) else content:
                target.write(piece)
                digest.update(piece)
                size += len(piece)
        return digest.hexdigest(), size


def pretty(value: Any) -> bytes:
    """JSON that people can read too, the same every time."""
    return (json.dumps(value, ensure_ascii=False, indent=1, sort_keys=True) + "\n").encode()


def pieces(file: Any, size: int = 1 << 16) -> Iterator[bytes]:
    """An open file, piece by piece."""
    return iter(lambda: file.read(size), b"")
