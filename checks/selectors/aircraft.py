"""One aircraft on one page: what is fitted, what was last seen of each position, what happened lately."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from django.db.models import Exists, OuterRef, Subquery

from checks.models import CautionFollowed, CheckEvent, Defect, Observation, SeriesState, Signature
from checks.selectors.drift import series_states
from fleet.models import Aircraft, Fitment, MeasuringPoint, Position, ReferenceRow

# What is said of a position, the gravest first; between the last two a measured one has its drift state.
DEFECT, NOT_SATISFACTORY = "open", "not satisfactory"
NO_PORT, NOT_MEASURED = "no port: cannot be named", "not measured"


@dataclass(frozen=True)
class PositionShown:
    """A position with the part in it, the newest look at it, its measuring point and what the trend says."""

    position: Position
    fitment: Fitment | None
    look: Observation | None
    point: MeasuringPoint | None
    series: SeriesState | None
    has_open_defect: bool

    @property
    def drift(self) -> str:
        """The state of its series, or why there is none."""
        if self.series:
            return self.series.state
        if self.point:
            return SeriesState.State.TOO_FEW
        return NO_PORT if self.position.kind == Position.Kind.PANEL else NOT_MEASURED

    @property
    def state(self) -> str:
        """The gravest of what is known: an open defect, a look that was not satisfactory, the drift."""
        if self.has_open_defect:
            return DEFECT
        if self.look and not self.look.satisfactory:
            return NOT_SATISFACTORY
        return self.drift


@dataclass(frozen=True)
class PointShown:
    """A measuring point with what the trend says of it; `series` None: nothing was scored yet."""

    point: MeasuringPoint
    series: SeriesState | None

    @property
    def state(self) -> str:
        return self.series.state if self.series else SeriesState.State.TOO_FEW


@dataclass(frozen=True)
class Story:
    """The attempts of one occasion, oldest first: test, purge, test again, release.

    Each attempt has `released`, `inspected` and `corrected` (bool).
    """

    attempts: tuple[CheckEvent, ...]

    @property
    def last(self) -> CheckEvent:
        return self.attempts[-1]


def points_shown(aircraft: Aircraft) -> list[PointShown]:
    """Every measuring point whose drift is followed, with its series: one with a frozen reference table.

    Two queries.
    """
    series = {one.point_id: one for one in series_states().filter(aircraft=aircraft)}
    followed = Exists(ReferenceRow.objects.filter(point=OuterRef("pk")))
    points = MeasuringPoint.objects.filter(followed, variant=aircraft.variant_id).select_related("position")
    return [PointShown(point, series.get(point.pk)) for point in points.order_by("order", "code")]


def positions_shown(aircraft: Aircraft, points: Iterable[PointShown]) -> list[PositionShown]:
    """Every position of the aircraft's variant in order, given points_shown. Four queries."""
    positions = list(_with_newest_look(aircraft))
    looks = Observation.objects.select_related("event", "step").in_bulk(
        [one.newest_look for one in positions if one.newest_look]
    )
    fitted = Fitment.objects.current().filter(aircraft=aircraft).select_related("part")
    fitments = {fitment.position_id: fitment for fitment in fitted}
    open_defects = Defect.objects.open().filter(aircraft=aircraft, position__isnull=False)
    defects = set(open_defects.values_list("position", flat=True))
    read = _by_position(positions, points)
    return [
        PositionShown(
            position=one,
            fitment=fitments.get(one.pk),
            look=looks.get(one.newest_look),
            point=read[one.pk].point if one.pk in read else None,
            series=read[one.pk].series if one.pk in read else None,
            has_open_defect=one.pk in defects,
        )
        for one in positions
    ]


def _with_newest_look(aircraft: Aircraft) -> Iterable[Position]:
    looks = Observation.objects.filter(
        position=OuterRef("pk"), event__in=CheckEvent.objects.standing().filter(aircraft=aircraft)
    ).order_by("-event__work_date", "-event__signed_at", "-pk")
    positions = Position.objects.filter(variant=aircraft.variant_id).order_by("order", "code")
    return positions.annotate(newest_look=Subquery(looks.values("pk")[:1]))


def _by_position(positions: list[Position], points: Iterable[PointShown]) -> dict[int, PointShown]:
    """The point read at each position. A nozzle's point names no position: it is read at the one nozzle."""
    nozzles = [one.pk for one in positions if one.kind == Position.Kind.NOZZLE]
    found: dict[int, PointShown] = {}
    for shown in points:
        if shown.point.position_id:
            found[shown.point.position_id] = shown
        elif shown.point.kind == MeasuringPoint.Kind.NOZZLE and len(nozzles) == 1:
            found.setdefault(nozzles[0], shown)
    return found


def stories(aircraft: Aircraft, most: int) -> list[Story]:
    """The newest occasions with their signed attempts, newest first. Two queries."""
    links = CheckEvent.objects.signed().filter(aircraft=aircraft)
    known = list(links.order_by("work_date", "signed_at").values_list("uuid", "follows", "supersedes"))
    group = _grouped(known)
    newest_first = list(dict.fromkeys(group[uuid] for uuid, *_ in reversed(known)))[:most]
    wanted = [uuid for uuid, *_ in known if group[uuid] in newest_first]
    given = Signature.objects.filter(event=OuterRef("pk"))
    later = CheckEvent.objects.signed().filter(supersedes=OuterRef("pk"))
    events = (
        CheckEvent.objects.filter(pk__in=wanted)
        .select_related("revision__procedure")
        .annotate(
            inspected=Exists(given.filter(act=Signature.Act.INSPECTED)),
            released=Exists(given.filter(act=Signature.Act.RELEASED)),
            corrected=Exists(later),
        )
    )
    attempts: dict[UUID, list[CheckEvent]] = defaultdict(list)
    for event in events.order_by("signed_at"):
        attempts[group[event.pk]].append(event)
    return [Story(tuple(attempts[key])) for key in newest_first]


def _grouped(links: Iterable[tuple[UUID, UUID | None, UUID | None]]) -> dict[UUID, UUID]:
    """For each event the one that stands for its occasion: the earliest that it leads back to."""
    before: dict[UUID, UUID] = {}
    for uuid, follows, supersedes in links:
        before[uuid] = follows or supersedes or uuid
    found: dict[UUID, UUID] = {}
    for uuid in before:
        path, seen = uuid, {uuid}
        while before.get(path, path) not in seen:
            path = before[path]
            seen.add(path)
        found[uuid] = path
    return found


def still_disturbed(drafts: Iterable[CheckEvent]) -> dict[UUID, list[str]]:
    """For each draft what was disturbed and is not recorded as put back: the words of how. One query."""
    left = CautionFollowed.objects.filter(event__in=list(drafts), restored=False)
    found: dict[UUID, list[str]] = defaultdict(list)
    for event, words in (
        left.exclude(step__restore_text="")
        .order_by("step__number")
        .values_list("event", "step__restore_text")
    ):
        found[event].append(words)
    return found
