"""A calendar as iCalendar text (RFC 5545): all-day entries, each with an identifier of its own for good."""

import datetime as dt

from django.utils.crypto import salted_hmac
from icalendar import Calendar as Text
from icalendar import Event

from reports.calendar import Calendar, Entry

PRODUCT = "-//Weepwatch//Ice protection calendar//EN"


def ical(calendar: Calendar, retry_hours: int) -> bytes:
    """The calendar, folded at 75 octets, lines ended by CR LF. A client is asked to come again only after
    so many hours (RFC 7986)."""
    text = Text()
    text.add("prodid", PRODUCT)
    text.add("version", "2.0")
    text.add("calscale", "GREGORIAN")
    text.add("name", calendar.name)
    text.add("x-wr-calname", calendar.name)
    text.add("refresh-interval", dt.timedelta(hours=retry_hours), parameters={"VALUE": "DURATION"})
    for entry in calendar.entries:
        text.add_component(_event(entry))
    return text.to_ical()


def _event(entry: Entry) -> Event:
    event = Event()
    event.add("uid", uid_of(entry.key))
    event.add("dtstamp", entry.changed_at)
    event.add("sequence", entry.sequence)
    event.add("dtstart", entry.on)  # a date: VALUE=DATE, a whole day in any zone
    event.add("summary", entry.title)
    event.add("description", entry.text)
    event.add("categories", [entry.category])
    event.add("transp", "TRANSPARENT")
    return event


def uid_of(key: str) -> str:
    """The same for the same key in this installation for ever, and another one in any other."""
    return f"{salted_hmac('weepwatch.calendar', key, algorithm='sha256').hexdigest()[:32]}@weepwatch"
