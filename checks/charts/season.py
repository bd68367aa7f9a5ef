"""The course towards a season date: what was done, what would be needed, and where the present pace leads."""

from collections.abc import Sequence
from datetime import date, timedelta

from checks.charts.scene import Axis, Band, Item, Level, Line, Mark, Points, Scene
from checks.charts.wording import day_number, day_words
from checks.engine.season import HIGH, LOW, Forecast, further

STEPS = 24


def season_scene(
    done: Sequence[tuple[date, str]],
    total: int,
    *,
    opened: date,
    today: date,
    by: date,
    outlook: Forecast | None = None,
    unit: str = "aircraft",
) -> Scene:
    """done: (day, what) of each that is complete; total: how many are wanted by the day `by`.

    The needed line runs from none on the first day that counts to all on the season date. The projection
    begins at what is done today; its band holds 8 of 10.
    """
    shown = sorted(done)
    steps = [(day_number(day), float(n)) for n, (day, _) in enumerate(shown, start=1)]
    items: list[Item] = []
    leads = _projection(len(shown), total, today, by, outlook)
    items += leads
    items.append(Line(((day_number(opened), 0.0), (day_number(by), float(total))), "needed", role="mark"))
    items.append(Line(_stairs(opened, today if outlook else min(today, by), steps), "done"))
    if shown:
        words = tuple(f"{day_words(day)}: {n}, {what}" for n, (day, what) in enumerate(shown, start=1))
        items.append(Points(tuple(steps), words, "complete", "square", "on"))
    items += [Level(float(total), f"all {total}"), Mark(day_number(by), f"season date {day_words(by)}")]
    if opened < today < by:
        items.append(Mark(day_number(today), "today"))
    return Scene(
        f"{unit.capitalize()} complete before {day_words(by)}",
        _said(len(shown), total, by, outlook),
        Axis("", is_date=True),
        Axis(f"{unit} complete", low=0.0, high=float(max(total, 1)) * 1.12),
        tuple(items),
        ("Complete on", unit.capitalize(), "Number"),
        tuple((day_words(day), what, str(n)) for n, (day, what) in enumerate(shown, start=1)),
    )


def _stairs(
    opened: date, until: date, steps: Sequence[tuple[float, float]]
) -> tuple[tuple[float, float], ...]:
    """From none on the first day up by one at each completion, and level to the end."""
    at, height = [(day_number(opened), 0.0)], 0.0
    for x, y in steps:
        at += [(x, height), (x, y)]
        height = y
    end = max(day_number(until), at[-1][0])  # never before the last completion
    return (*at, (end, height))


def _projection(done: int, total: int, today: date, by: date, outlook: Forecast | None) -> list[Item]:
    """The band and the line of the present pace from today on, up to a little past the season date."""
    if outlook is None or outlook.a_week is None:
        return []
    ends = [day for day in (by, outlook.on, outlook.late) if day is not None]
    farthest = min(max(ends), by + timedelta(days=max((by - today).days, 60)))
    length = max((farthest - today).days, 1)
    days = sorted({round(length * k / STEPS) for k in range(STEPS + 1)})
    band, line = [], []
    for ahead in days:
        x = day_number(today + timedelta(days=ahead))
        low, high = (
            further(outlook.number, outlook.days, ahead, share) if ahead else 0 for share in (LOW, HIGH)
        )
        band.append((x, float(min(total, done + low)), float(min(total, done + high))))
        line.append((x, min(float(total), done + outlook.a_week / 7 * ahead)))
    return [
        Band(tuple(band), "8 of 10 at the present pace"),
        Line(tuple(line), "present pace", role="faint"),
    ]


def _said(done: int, total: int, by: date, outlook: Forecast | None) -> str:
    text = f"{done} of {total} complete; all are wanted by {day_words(by)}."
    if outlook is None or done == total:
        return text
    if outlook.on is None:
        return f"{text} {outlook.why_not.capitalize() or 'At the present pace not within two years'}."
    span = f"between {_day(outlook.early)} and {_day(outlook.late)} in 8 of 10 cases"
    return f"{text} At the present pace about {day_words(outlook.on)}, {span}."


def _day(day: date | None) -> str:
    return day_words(day) if day else "more than two years ahead"
