"""What a phone sends of a check, read: JSON, or the fields of a form. What is not so is named."""

import datetime as dt
import json
from collections.abc import Mapping
from dataclasses import dataclass

from django.http import HttpRequest

from checks.services.copies import Sent

_MOST_FIELDS, _MOST_TEXT, _MOST_REMARKS = 600, 500, 5000
_OWN = ("person", "device", "number", "base", "clock", "replaces")


class Unreadable(ValueError):
    """Words for the person at the phone."""


@dataclass(frozen=True)
class Sending:
    """What was sent, and the key of the person whose page it was."""

    person: int
    sent: Sent


def sending(request: HttpRequest) -> Sending:
    """The request's body. Unreadable where it is no sending of a check."""
    given = _json(request) if request.content_type == "application/json" else _form(request)
    text, clocks = _texts(given.get("text"), "text"), _texts(given.get("clocks", {}), "clocks")
    for moment in clocks.values():
        _moment(moment)
    device = str(given.get("device", ""))
    if not 8 <= len(device) <= 36:
        raise Unreadable("It does not say which phone it comes from. Load the page again and send once more.")
    if not text:
        raise Unreadable("It holds nothing of a check. Load the page again and send once more.")
    return Sending(
        _whole(given.get("person")),
        Sent(
            device=device,
            number=_whole(given.get("number")),
            base=str(given.get("base", ""))[:64],
            text=text,
            clocks=clocks,
            clock=_moment(given["clock"]) if given.get("clock") else None,
            replaces=given.get("replaces") in (True, "yes"),
        ),
    )


def _json(request: HttpRequest) -> dict:
    try:
        given = json.loads(request.body)
    except ValueError as error:
        raise Unreadable("It could not be read. Load the page again and send once more.") from error
    if not isinstance(given, dict):
        raise Unreadable("It could not be read. Load the page again and send once more.")
    return given


def _form(request: HttpRequest) -> dict:
    """A form's own fields, and everything else as the text of the check."""
    posted = request.POST.dict()
    own = {name: posted.pop(name) for name in _OWN if name in posted}
    posted.pop("csrfmiddlewaretoken", None)
    return own | {"text": posted}


def _texts(given: object, what: str) -> dict[str, str]:
    if not isinstance(given, Mapping) or len(given) > _MOST_FIELDS:
        raise Unreadable(f"Its {what} could not be read. Load the page again and send once more.")
    if not all(isinstance(value, str) and len(name) <= 100 for name, value in given.items()):
        raise Unreadable(f"Its {what} could not be read. Load the page again and send once more.")
    return {n: v[: _MOST_REMARKS if n == "remarks" else _MOST_TEXT] for n, v in given.items()}


def _whole(given: object) -> int:
    text = str(given if given is not None else 0)
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 10 else 0


def _moment(given: object) -> dt.datetime:
    try:
        moment = dt.datetime.fromisoformat(str(given))
    except ValueError as error:
        raise Unreadable("Its time could not be read. Load the page again and send once more.") from error
    return moment if moment.tzinfo else moment.replace(tzinfo=dt.UTC)
