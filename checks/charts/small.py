"""Small multiples: the series of one aircraft side by side, all on one scale of time and of the limit."""

from collections.abc import Sequence
from dataclasses import dataclass

from checks.charts.layout import Sheet
from checks.charts.scene import Axis, Band, Item, Level, Line, Mark, Pair, Points, Role, Scene, Shape
from checks.charts.wording import Day, day_number, day_words

SMALL = Sheet(240, 84)
#: room above the highest and below the lowest, shares of the limit
ROOM = 0.04


@dataclass(frozen=True)
class Small:
    """One series as shares of its limit at 20 °C: 1 is at the limit.

    days, levels: its readings; lives: the life of each; band: (day, low, high) as expected; resets: days.
    """

    days: tuple[Day, ...]
    levels: tuple[float, ...]
    lives: tuple[int, ...]
    band: tuple[tuple[Day, float, float], ...] = ()
    resets: tuple[Day, ...] = ()


def scale_of(many: Sequence[Small]) -> tuple[Pair, Pair]:
    """The range of days and of shares that holds all of them and the limit."""
    days = [day_number(day) for one in many for day in one.days]
    days += [day_number(day) for one in many for day, _, _ in one.band]
    levels = [level for one in many for level in one.levels] + [1.0]
    levels += [level for one in many for _, low, high in one.band for level in (low, high)]
    across = (min(days, default=0.0), max(days, default=1.0))
    return across, (min(levels) - ROOM, max(levels) + ROOM)


def small_scene(one: Small, scale: tuple[Pair, Pair], label: str) -> Scene:
    """A bare scene of one series on the common scale; its description says it in words."""
    (first, last), (low, high) = scale
    at = [(day_number(day), level) for day, level in zip(one.days, one.levels, strict=True)]
    items: list[Item] = [Level(1.0, "")]
    if one.band:
        items.append(Band(tuple((day_number(day), below, above) for day, below, above in one.band)))
    items += [Mark(day_number(day), "") for day in one.resets]
    for life in sorted(set(one.lives)):
        run = tuple(place for place, of in zip(at, one.lives, strict=True) if of == life)
        items.append(Line(run))
    for over, shape, role in ((False, "disc", "main"), (True, "diamond", "act")):
        some = tuple(place for place in at if (place[1] > 1) is over)
        items += _points(some, shape, role)
    return Scene(
        label,
        _said(one),
        Axis("", is_date=True, low=first, high=last),
        Axis("share of the limit", low=low, high=high),
        tuple(items),
        bare=True,
    )


def _points(some: tuple[Pair, ...], shape: Shape, role: Role) -> list[Points]:
    return [Points(some, ("",) * len(some), "", shape, role)] if some else []


def _said(one: Small) -> str:
    if not one.days:
        return "No readings."
    last = f"the last on {day_words(one.days[-1])} at {one.levels[-1]:.0%} of the limit"
    return f"{len(one.days)} readings, {last}; resets: {len(one.resets)}.".replace("%", " %")
