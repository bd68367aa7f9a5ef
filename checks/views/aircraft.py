"""The aircraft: the list of the fleet, and everything recorded of one of them."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from checks.charts.plan import Spot, plan
from checks.forms.aircraft import AircraftFilter
from checks.models import ChainHead, Defect, SeriesState
from checks.selectors.aircraft import (
    PointShown,
    PositionShown,
    Story,
    points_shown,
    positions_shown,
    still_disturbed,
    stories,
)
from checks.selectors.check_start import most_pressing, open_drafts
from checks.selectors.check_story import state_word
from checks.selectors.defects import shown_of
from checks.selectors.drift_words import advice, crossing_words, share_words
from checks.selectors.due import due_points, due_rows
from checks.selectors.icing import icing_statuses
from checks.selectors.icing_board import statuses_of
from checks.selectors.release import WITHIN, deferral_day
from checks.selectors.story import Told
from checks.selectors.story import told as tell
from checks.views import addresses
from checks.views.access import needs
from checks.views.icing import key_of, line
from checks.views.paging import page_of_list
from checks.views.parts import is_part
from checks.views.utilisation import with_latest
from fleet.models import Aircraft, Operator
from fleet.templatetags.face import number

PER_PAGE = 50
STORIES = 8


@require_safe
@needs("checks.view_records")
def aircraft_list(request: HttpRequest) -> HttpResponse:
    """The fleet with what is most pressing of each aircraft; htmx gets the list alone."""
    found = AircraftFilter(request.GET, queryset=Aircraft.objects.exclude(state=Aircraft.State.LEFT))
    context = {"filter": found, "understood": found.is_valid()}
    if context["understood"]:
        standing = found.board_at(timezone.now())
        page = page_of_list(request, found.lines(standing), PER_PAGE, key=key_of)
        context |= {"page_obj": page, "lines": list_lines(statuses_of(standing, page))}
    template = "checks/aircraft_part.html" if is_part(request) else "checks/aircraft_list.html"
    return render(request, template, context)


def list_lines(page: Any) -> list[dict]:
    """The rows of one page of statuses. Five queries."""
    ids = [status.aircraft.pk for status in page]
    latest = with_latest(Aircraft.objects.filter(pk__in=ids)).in_bulk()
    due = most_pressing([status.aircraft for status in page], timezone.localdate())
    drift: dict[int, str] = {}
    ranked = SeriesState.objects.filter(aircraft__in=ids).order_by("urgency")
    for key, state in ranked.values_list("aircraft", "state"):
        drift.setdefault(key, state)
    return [
        line(status)
        | {
            "latest": latest[status.aircraft.pk],
            "due": due.get(status.aircraft.pk, ""),
            "drift": drift.get(status.aircraft.pk, ""),
        }
        for status in page
    ]


@require_safe
@needs("checks.view_records")
def aircraft(request: HttpRequest, registration: str) -> HttpResponse:
    """Everything recorded of one aircraft. A fixed number of queries, however long its history."""
    known = with_latest(Aircraft.objects.select_related("base", "variant"))
    craft = get_object_or_404(known, registration=registration)
    at = timezone.now()
    today = timezone.localdate()
    points = points_shown(craft)
    positions = positions_shown(craft, points)
    statuses = icing_statuses(at=at, aircraft_ids=[craft.pk])
    due = due_points(today=today, soon_days=Operator.current().due_soon_days).filter(aircraft=craft)
    drafts = list(open_drafts(craft))
    disturbed = still_disturbed(drafts)
    deferred_on = deferral_day(at)
    context = {
        "aircraft": craft,
        "facts": facts(craft),
        "left": craft.state == Aircraft.State.LEFT,
        "icing": line(statuses[0]) if statuses else None,
        "plan": plan([spot(one) for one in positions], f"Positions of {craft} with their states"),
        "points": [point_shown(one) for one in points],
        "positions": positions,
        "due": list(due_rows(due, today=today)),
        "defects": shown_of(Defect.objects.open().filter(aircraft=craft), deferred_on),
        "drafts": [{"event": one, "disturbed": disturbed.get(one.pk, [])} for one in drafts],
        "stories": told(stories(craft, STORIES)),
        "chain": ChainHead.objects.filter(aircraft=craft).first(),
    }
    return render(request, "checks/aircraft.html", context)


def facts(craft: Aircraft) -> list[dict]:
    """Names and values for partials/_facts.html, of an aircraft of with_latest. No query."""
    on = f"on {craft.latest_on:%d %b %Y}" if craft.latest_on else ""
    pairs = [
        ("Serial number", craft.serial_number, ""),
        ("Type", craft.type_name, ""),
        ("Variant", craft.variant, ""),
        ("Base", craft.base, ""),
        ("Flight hours", f"{number(craft.latest_hours, decimals=2)} h" if on else "nothing entered", on),
        ("Landings", number(craft.latest_landings) if on else "nothing entered", on),
        (
            "State",
            craft.get_state_display(),
            f"since {craft.state_since:%d %b %Y}" if craft.state_since else "",
        ),
        ("In service since", f"{craft.entered_service_on:%d %b %Y}", ""),
        ("Modifications", craft.modifications or "none filed", ""),
    ]
    return [{"name": name, "value": value, "note": note} for name, value, note in pairs]


def spot(shown: PositionShown) -> Spot:
    """A position for the plan; it leads to its series, or to its line below the plan."""
    place = shown.position
    return Spot(
        code=place.code,
        name=place.name,
        x=float(place.plan_x),
        y=float(place.plan_y),
        width=float(place.plan_width),
        height=float(place.plan_height),
        state=shown.state,
        href=addresses.of_series(shown.series) if shown.series else f"#position-{place.code}",
    )


def point_shown(shown: PointShown) -> dict:
    """A measuring point with what the trend says of its series, in words. No query."""
    series = shown.series
    about, interval = crossing_words(series) if series else ("", "")
    return {
        "point": shown.point,
        "state": shown.state,
        "href": addresses.of_series(series) if series else "",
        "margin": share_words(series.margin) if series else "",
        "about": about,
        "interval": interval,
        "advice": advice(series) if series else None,
    }


def told(found: Iterable[Story]) -> list[list[dict]]:
    """Stories for a page, each in order of time: of an attempt the event, how far its record has come and,
    where there is more than one or it is not in order, what it found; of what a person did the line alone.
    """
    found = list(found)
    lines: dict[UUID, list[Told]] = defaultdict(list)
    for one in tell(event for story in found for event in story.attempts):
        lines[one.of].append(one)
    return [
        [_shown(one, len(story.attempts) > 1) for one in _in_time(story, lines) if _is_told(one)]
        for story in found
    ]


def _in_time(story: Story, lines: Mapping[UUID, list[Told]]) -> list[Told]:
    return sorted((one for event in story.attempts for one in lines[event.pk]), key=lambda one: one.at)


def _is_told(one: Told) -> bool:
    """A release or second signature shows in the word of the attempt itself."""
    return one.event is not None or one.state not in ("signed", "released")


def _shown(one: Told, many: bool) -> dict:
    event = one.event
    if event is None:
        return {"line": one, "word": one.state, "words": one.words, "looks": ()}
    word = state_word(event, inspected=event.inspected, released=event.released, corrected=event.corrected)
    at_ease = not many and event.outcome in WITHIN
    return {
        "event": event,
        "word": word,
        "words": () if at_ease else one.words,
        "looks": () if at_ease else one.looks,
    }
