"""Which measuring points start a new series with an event: what was purged or replaced names them."""

from checks.models import CheckEvent, Procedure, Reset, Step
from fleet.models import Fitment, Position

_WHY = {
    Procedure.Kind.PURGE: Reset.Why.PURGE,
    Procedure.Kind.CHANGE: Reset.Why.REPLACEMENT,
    Procedure.Kind.SERVICE: Reset.Why.REPLACEMENT,
}


def resets_of(event: CheckEvent) -> list[Reset]:
    """The resets of an event, unsaved; none for a check. Four queries at most.

    A purge: every position of the kinds that its steps look at, or every panel where they look at none.
    A change: the positions where a part was fitted on the day of work, or else those that were looked at.
    A service: where a part was fitted on that day; a panel that was only cleaned goes on as it was.
    """
    why = _WHY.get(event.revision.procedure.kind)
    if why is None:
        return []
    points = {
        point.pk: point
        for position in _positions(event, why).prefetch_related("resets")
        for point in position.resets.all()
    }
    return [Reset(event=event, point=point, why=why) for _, point in sorted(points.items())]


def _positions(event: CheckEvent, why: str):
    of_variant = Position.objects.filter(variant_id=event.aircraft.variant_id)
    if why == Reset.Why.PURGE:
        looks = event.revision.steps.filter(kind=Step.Kind.OBSERVE).exclude(position_kind="")
        kinds = set(looks.values_list("position_kind", flat=True))
        return of_variant.filter(kind__in=kinds or {Position.Kind.PANEL})
    fitted = Fitment.objects.filter(aircraft=event.aircraft_id, fitted_on=event.work_date)
    at = set(fitted.values_list("position", flat=True))
    if event.revision.procedure.kind == Procedure.Kind.SERVICE:
        return of_variant.filter(pk__in=at)
    looked_at = event.observations.exclude(position=None).values_list("position", flat=True)
    return of_variant.filter(pk__in=at or set(looked_at))
