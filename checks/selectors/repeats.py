"""Repeat defects of an aircraft: the same position or point within the operator's number of days."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from checks.engine.repeats import Found, repeats
from checks.models import CheckEvent, Defect, Observation, Result
from checks.selectors.release import base_zone
from fleet.models import MeasuringPoint, Operator, Position

Place = tuple[str, int]


@dataclass(frozen=True)
class RepeatShown:
    """Another defect at the same place; days: how long before this one it was recorded, negative: after."""

    other: Defect
    days: int
    places: tuple[str, ...]

    @property
    def when(self) -> str:
        """How far the other one lies away, in words."""
        if not self.days:
            return "the same day"
        days = abs(self.days)
        return f"{days} day{'s' if days > 1 else ''} {'before' if self.days > 0 else 'after'}"


def repeats_of(defects: Iterable[Defect]) -> dict[int, list[RepeatShown]]:
    """For each of the defects what it repeats and what repeats it, the nearest in time first.

    Six queries, however many defects: a defect is where it was raised, and where the check that found it
    read over limit or saw something not satisfactory.
    """
    asked = {one.pk for one in defects}
    if not asked:
        return {}
    operator = Operator.current()
    zone = base_zone(operator)
    aircraft = Defect.objects.filter(pk__in=asked).values("aircraft")
    known = {one.pk: one for one in Defect.objects.filter(aircraft__in=aircraft).select_related("aircraft")}
    places, names = _places(known.values())
    by_aircraft: dict[int, list[Found]] = defaultdict(list)
    for one in known.values():
        on = one.recorded_on or one.raised_at.astimezone(zone).date()
        by_aircraft[one.aircraft_id].append(Found(one.pk, on, frozenset(places[one.pk])))
    shown: dict[int, list[RepeatShown]] = defaultdict(list)
    for found in by_aircraft.values():
        for repeat in repeats(found, within_days=operator.repeat_defect_days):
            if repeat.of in asked:
                words = tuple(sorted(names[place] for place in repeat.places))
                shown[repeat.of].append(RepeatShown(known[repeat.other], repeat.days, words))
    return dict(shown)


def _places(defects: Iterable[Defect]) -> tuple[dict[int, set[Place]], dict[Place, str]]:
    """The places of each defect and their names. Three queries and one for the names of points."""
    places: dict[int, set[Place]] = defaultdict(set)
    by_event = {one.event_id: one.pk for one in defects if one.event_id}
    for one in defects:
        if one.position_id:
            places[one.pk].add(("position", one.position_id))
        if one.point_id:
            places[one.pk].add(("point", one.point_id))
    over = Result.objects.filter(event__in=by_event, outcome=CheckEvent.Outcome.OVER)
    for event, point in over.values_list("event", "point"):
        places[by_event[event]].add(("point", point))
    looks = Observation.objects.filter(event__in=by_event, satisfactory=False, position__isnull=False)
    for event, position in looks.values_list("event", "position"):
        places[by_event[event]].add(("position", position))
    names: dict[Place, str] = {}
    for point in MeasuringPoint.objects.select_related("position"):
        names["point", point.pk] = point.name
        if point.position:  # a point read at a position and the position itself are one place
            names["position", point.position_id] = point.position.name
            for found in places.values():
                if ("point", point.pk) in found:
                    found.add(("position", point.position_id))
    wanted = {place[1] for found in places.values() for place in found if place[0] == "position"}
    names |= {("position", one.pk): one.name for one in Position.objects.filter(pk__in=wanted)}
    return places, names
