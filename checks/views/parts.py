"""Pages that htmx asks for in part."""

from django.http import HttpRequest


def is_part(request: HttpRequest) -> bool:
    """Whether the list alone is wanted; the browser's own back button wants the whole page again."""
    return bool(request.htmx) and not request.htmx.history_restore_request
