"""Certificate files: what may be stored, told by its content, and how it is handed out again."""

import re
import secrets
from typing import IO

from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile

MAX_BYTES = 5 * 1024 * 1024
# First bytes of a file -> (extension, media type). Values are those of the formats' own standards.
SIGNATURES = {
    b"%PDF-": ("pdf", "application/pdf"),
    b"\x89PNG\r\n\x1a\n": ("png", "image/png"),
    b"\xff\xd8\xff": ("jpg", "image/jpeg"),
}
MEDIA_TYPES = dict(SIGNATURES.values())


def sniff(file: IO[bytes]) -> str | None:
    """Extension by content (pdf, png or jpg), None for anything else. The name given is not believed."""
    file.seek(0)
    start = file.read(16)
    file.seek(0)
    return next((found[0] for mark, found in SIGNATURES.items() if start.startswith(mark)), None)


def checked(upload: UploadedFile) -> UploadedFile:
    """The upload under a name of our own; ValidationError if it is too large, empty or of another kind."""
    if upload.size > MAX_BYTES:
        most = MAX_BYTES // 1024 // 1024
        raise ValidationError(f"The file has {upload.size / 1024 / 1024:.1f} MB; at most {most} MB are kept.")
    extension = sniff(upload)
    if extension is None:
        raise ValidationError("Only PDF, PNG and JPEG files are kept, told by their content. Scan it as PDF.")
    upload.name = f"{secrets.token_hex(12)}.{extension}"
    return upload


def download_name(code: str, number: str, stored: str) -> str:
    """A plain file name for handing out: instrument code and certificate number, with the stored kind."""
    stem = re.sub(r"[^A-Za-z0-9._-]+", "-", f"{code}-{number}").strip("-.") or "certificate"
    return f"{stem}.{stored.rsplit('.', 1)[-1]}"


def media_type(stored: str) -> str:
    """Media type of a stored file by its extension, which `checked` gave it."""
    return MEDIA_TYPES.get(stored.rsplit(".", 1)[-1], "application/octet-stream")
