"""The files of photos and paper originals: written once, read back and compared with their digest."""

import hashlib
import secrets
from collections.abc import Iterable

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction

from checks.models import CheckEvent, Photo

FOLDER = "evidence"
_ENDINGS = {"image/jpeg": "jpg", "application/pdf": "pdf"}


def digest(content: bytes) -> str:
    """SHA-256, hex."""
    return hashlib.sha256(content).hexdigest()


def store(content: bytes, media_type: str) -> str:
    """Keep a file under a name of our own, which it gives back."""
    name = f"{FOLDER}/{secrets.token_hex(16)}.{_ENDINGS[media_type]}"
    return default_storage.save(name, ContentFile(content))


def read(photo: Photo) -> bytes | None:
    """The file as stored; None where it is not there."""
    try:
        with default_storage.open(photo.stored, "rb") as file:
            return file.read()
    except FileNotFoundError:
        return None


def fault(photo: Photo, content: bytes | None) -> str:
    """Whether a file is not the one that was kept, in words; '' where it is."""
    if content is None:
        return "its file is missing"
    return "" if digest(content) == photo.sha256 else "its file is not the one that was kept"


def file_faults(event: CheckEvent) -> list[str]:
    """What is wrong with the files of a check. Reads every file; one query."""
    return [
        f"photo {number}: {words}"
        for number, photo in enumerate(event.photos.order_by("pk"), start=1)
        if (words := fault(photo, read(photo)))
    ]


def drop_afterwards(names: Iterable[str]) -> None:
    """Once the transaction has ended well: remove the files that no row names any more.

    A correction's draft names the files of the entry that it corrects.
    """
    wanted = sorted(set(names))
    if wanted:
        transaction.on_commit(lambda: _drop(wanted))


def _drop(names: list[str]) -> None:
    still = set(Photo.objects.filter(stored__in=names).values_list("stored", flat=True))
    for name in names:
        if name not in still:
            default_storage.delete(name)
