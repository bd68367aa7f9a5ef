"""What could not be read of a draft, kept with the person's session: leaving the page loses nothing."""

from collections.abc import Iterable, Mapping

from django.http import HttpRequest

from checks.models import CheckEvent
from checks.services.errors import Problem

_MOST_TEXT = 200  # characters of one field; what is longer is no reading


def remember(
    request: HttpRequest, event: CheckEvent, problems: Iterable[Problem], text: Mapping[str, str]
) -> None:
    """Keep the rows with a problem as typed, or forget the earlier ones where there is none."""
    problems = tuple(problems)
    if not problems:
        forget(request, event)
        return
    places = {_place(problem.field) for problem in problems}
    typed = {name: value[:_MOST_TEXT] for name, value in text.items() if _place(name) in places}
    told = [[problem.field, problem.message] for problem in problems]
    request.session[_key(event)] = {"typed": typed, "told": told}


def recall(request: HttpRequest, event: CheckEvent) -> tuple[dict[str, str], tuple[Problem, ...]]:
    """The text by field name and what was wrong with it; both empty where nothing is kept."""
    kept = request.session.get(_key(event), {"typed": {}, "told": []})
    return kept["typed"], tuple(Problem(message, name) for name, message in kept["told"])


def forget(request: HttpRequest, event: CheckEvent) -> None:
    request.session.pop(_key(event), None)


def _key(event: CheckEvent) -> str:
    return f"unread {event.pk}"


def _place(name: str) -> str:
    """The row that a field belongs to; a field of the event is a row by itself."""
    row, dash, _ = name.rpartition("-")
    return row if dash else name
