"""A file as an answer: it is saved under its name, never shown in the page's own place."""

from django.http import HttpResponse


def attachment(content: str | bytes, kind: str, name: str) -> HttpResponse:
    """kind: the media type, with its character set for text; name: plain ASCII, it is put in as it stands."""
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return HttpResponse(content, content_type=kind, headers=headers)
