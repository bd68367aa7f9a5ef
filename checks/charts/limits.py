"""A measured value against a limit table."""

from collections.abc import Callable, Sequence
from itertools import pairwise

from checks.charts.scene import Axis, Item, Line, Number, Pair, Points, Scene
from checks.charts.wording import value_words

Row = tuple[Number, Number | None, Number | None]


def limit_scene(
    rows: Sequence[Row],
    kind: str,
    measured: tuple[Number, Number] | None,
    uncertainty: Number = 0,
    label: str = "Pressure",
    unit: str = "kPa",
    rule: str = "stricter_row",
) -> Scene:
    """A measured value (fluid temperature, value) against limits by fluid temperature.

    rows are (temperature, lower, upper) as in checks.engine.limits.LimitRow, kind ('upper', 'lower', 'both')
    and rule ('stricter_row', 'linear', 'rows_only') as in its LimitTable. The bar at the value is its
    expanded uncertainty, k = 2. Nothing is drawn outside the table: there is no limit there.
    """
    if kind not in ("upper", "lower", "both"):
        raise ValueError(f"kind is 'upper', 'lower' or 'both', not {kind!r}")
    items: list[Item] = []
    for place, side in ((1, "lower"), (2, "upper")):
        if kind in (side, "both"):
            items += _side(sorted((float(row[0]), float(row[place])) for row in rows), side, rule, unit)
    said = ""
    if measured is not None:
        t, value, room = float(measured[0]), float(measured[1]), float(uncertainty)
        said = f"Measured {value_words(value, unit)} at {value_words(t, '°C')}."
        if room:
            items.append(Line(((t, value - room), (t, value + room)), "uncertainty, k = 2"))
        items.append(Points(((t, value),), (said,), "measured", "square", "on"))
    return Scene(
        f"{label} against its limit",
        f"Limits by fluid temperature in {len(rows)} rows. {said}".strip(),
        Axis("fluid temperature", "°C"),
        Axis(label, unit),
        tuple(items),
        ("Fluid temperature", "Lower limit", "Upper limit"),
        tuple(
            (value_words(t, "°C"), value_words(low, unit), value_words(high, unit)) for t, low, high in rows
        ),
    )


def _side(table: list[Pair], side: str, rule: str, unit: str) -> list[Item]:
    """The course of one limit and its rows."""
    words = tuple(f"{side} limit at {value_words(t, '°C')}: {value_words(v, unit)}" for t, v in table)
    points = Points(tuple(table), words, f"{side} limit, row of the table", "ring", "faint")
    if rule == "rows_only":
        return [points]
    course = table if rule == "linear" else _stricter(table, min if side == "upper" else max)
    return [Line(tuple(course), f"{side} limit", "limit"), points]


def _stricter(table: list[Pair], pick: Callable[..., float]) -> list[Pair]:
    """The course of a limit that between two rows is that of the stricter row, and at a row its own."""
    course = table[:1]
    for (t1, v1), (t2, v2) in pairwise(table):
        course += [(t1, pick(v1, v2)), (t2, pick(v1, v2)), (t2, v2)]
    return course
