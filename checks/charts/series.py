"""A timed series: readings of one measurement, minute by minute."""

from collections.abc import Sequence

from checks.charts.scene import Axis, Item, Level, Line, Number, Pair, Points, Role, Scene, Shape
from checks.charts.wording import minutes_words, value_words


def series_scene(
    samples: Sequence[tuple[Number, Number]],
    ceiling: tuple[Number, Number] | None = None,
    settled: int | None = None,
    label: str = "Pressure",
    unit: str = "kPa",
) -> Scene:
    """A timed series: (minutes since the pump started, value) in order of time.

    `ceiling` is (minutes, value): from that time on the value may not be exceeded. `settled` is the place in
    `samples` of the reading at which the series settled, the third of a run that agrees; the run stands out.
    """
    at = [(float(t), float(value)) for t, value in samples]
    top = None if ceiling is None else (float(ceiling[0]), float(ceiling[1]))
    run = set() if settled is None else {settled - 2, settled - 1, settled}
    over = {k for k, (t, value) in enumerate(at) if top and t >= top[0] and value > top[1]}
    said = "not settled" if settled is None else f"settled at {minutes_words(at[settled][0])}"
    items: list[Item] = [Line(tuple(at), role="faint")] if len(at) > 1 else []
    items += _points(at, run, over, unit)
    if top:
        items.append(Level(top[1], f"ceiling {value_words(top[1], unit)}", start=top[0]))
        said += f", {len(over)} over the ceiling of {value_words(top[1], unit)}"
    return Scene(
        f"{label} over time",
        f"{len(at)} readings, {said}.",
        Axis("since the pump started", "min", low=0.0),
        Axis(label, unit),
        tuple(items),
        ("Time", label, "Remark"),
        tuple(
            (minutes_words(t), value_words(v, unit), _remark(k in run, k in over))
            for k, (t, v) in enumerate(at)
        ),
    )


def _points(at: list[Pair], run: set[int], over: set[int], unit: str) -> list[Points]:
    """The readings in three groups, each by a shape of its own."""
    groups: tuple[tuple[list[int], str, Shape, Role], ...] = (
        ([k for k in range(len(at)) if k not in run | over], "reading", "disc", "main"),
        (sorted(run - over), "settled run", "square", "on"),
        (sorted(over), "over the ceiling", "diamond", "act"),
    )
    return [
        Points(
            tuple(at[k] for k in kept),
            tuple(f"{minutes_words(at[k][0])}: {value_words(at[k][1], unit)}" for k in kept),
            name,
            shape,
            role,
        )
        for kept, name, shape, role in groups
        if kept
    ]


def _remark(in_run: bool, is_over: bool) -> str:
    return ", ".join(word for word, on in (("settled run", in_run), ("over the ceiling", is_over)) if on)
