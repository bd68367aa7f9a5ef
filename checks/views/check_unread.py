"""What of a draft's form is not in the draft, kept with the person's session: leaving the page loses nothing.

That is text that could not be read, and text that belongs to no value yet, such as an instrument chosen
before the first reading.
"""

from collections.abc import Mapping
from dataclasses import replace

from django.http import HttpRequest

from checks.forms.check import CheckForm
from checks.forms.check_text import expected_text
from checks.models import CheckEvent
from checks.services.errors import Problem
from checks.services.inputs import EVENT_FIELDS

_PLACES = ("reading-", "series-", "observation-", "caution-")
_MOST_FIELDS, _MOST_TEXT = 400, 200  # far more than any form has; a session is no place for more


def remember(request: HttpRequest, form: CheckForm) -> None:
    """Keep what was typed and is not in the draft just saved, beside what is there in its place."""
    stored = form.stored
    known = expected_text(form.steps, form.text)
    rows = {_row(problem.field) for problem in form.problems}
    typed = {
        name: [text[:_MOST_TEXT], stored.get(name, "")]
        for name, text in list(form.text.items())[:_MOST_FIELDS]
        if (name.startswith(_PLACES) or name in EVENT_FIELDS)
        and text.strip()
        and text not in (stored.get(name, ""), known.get(name, ""))
        and (not stored.get(name) or _row(name) in rows)
    }
    told = [[problem.field, problem.message] for problem in form.problems]
    if typed or told:
        request.session[_key(form.event)] = {"typed": typed, "told": told}
    else:
        forget(request, form.event)


def recall(request: HttpRequest, form: CheckForm) -> CheckForm:
    """The form of a draft with what was kept beside it, unless another person filled that in meanwhile."""
    kept = request.session.get(_key(form.event), {"typed": {}, "told": []})
    typed = {
        name: text for name, (text, before) in kept["typed"].items() if form.stored.get(name, "") == before
    }
    told = tuple(Problem(message, name) for name, message in kept["told"] if _concerns(name, typed))
    return replace(form, text=form.stored | typed, problems=told) if typed or told else form


def forget(request: HttpRequest, event: CheckEvent) -> None:
    if _key(event) in request.session:
        del request.session[_key(event)]


def _concerns(name: str, typed: Mapping[str, str]) -> bool:
    return any(_row(one) == _row(name) for one in typed)


def _key(event: CheckEvent) -> str:
    return f"unread {event.pk}"


def _row(name: str) -> str:
    """The row that a field belongs to; a field of the event is a row by itself."""
    row, dash, _ = name.rpartition("-")
    return row if dash else name
