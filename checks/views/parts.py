"""What lists have in common: the part that htmx asks for, and the order asked for."""

from collections.abc import Mapping

from django.http import HttpRequest


def is_part(request: HttpRequest) -> bool:
    """Whether the list alone is wanted; the browser's own back button wants the whole page again."""
    return bool(request.htmx) and not request.htmx.history_restore_request


def in_order(asked: str, sorts: Mapping[str, str], *otherwise: str) -> list[str]:
    """The fields to order by: the asked-for one of `sorts` ('date', or '-date' downwards) before `otherwise`,
    which says the usual order and ends in something unique, so that pages never overlap."""
    field = sorts.get(asked.lstrip("-"))
    if field is None:
        return list(otherwise)
    return [f"-{field}" if asked.startswith("-") else field, *otherwise]
