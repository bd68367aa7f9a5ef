"""Seeded random cases for the rules that also run in the browser, crowded round the edges."""

from collections.abc import Callable
from decimal import Decimal
from random import Random
from typing import Any

from checks.engine.units import UNITS

Case = dict[str, Any]
OFF_CADENCE = ("0", "0", "0", "1", "-4", "9.9", "10", "-10", "10.1", "-10.1", "31", "49.9", "50", "65", "128")
STEPS = ("0", "0", "0", "0.5", "-0.5", "0.25", "0.51", "1", "-1", "2")
CHARACTERS = "0123456789" * 3 + ".,.,+-−  e'_\u00a0\u202f\u0660"


def draw(seed: int, count: int) -> list[Case]:
    """So many cases, the rules in turn; the same seed draws the same cases."""
    rng = Random(seed)
    rules = list(DRAWN)
    return [
        {"rule": rule, "args": DRAWN[rule](rng)} for rule in (rules[i % len(rules)] for i in range(count))
    ]


def _number(rng: Random, low: int = 0, high: int = 400, places: int = 3) -> str:
    p = rng.randint(0, places)
    value = Decimal(rng.randint(low * 10**p, high * 10**p)).scaleb(-p)
    return format(value, "f")


def _parse(rng: Random) -> Case:
    if rng.random() < 0.5:
        typed = _number(rng, -2000, 20000, 4).replace(".", rng.choice(".,"))
    else:
        typed = "".join(rng.choices(CHARACTERS, k=rng.randint(0, 8)))
    return {"typed": typed, "decimal_mark": rng.choice((None, None, ".", ","))}


def _convert(rng: Random) -> Case:
    way = rng.choice(("to", "from", "difference to", "difference from"))
    return {"way": way, "value": _number(rng, -99999, 99999, 12), "unit": rng.choice(sorted(UNITS))}


def _flow(rng: Random) -> Case:
    return {"volume_ml": _number(rng, -5, 900, 6), "seconds": _number(rng, -2, 130, 4)}


def _samples(rng: Random) -> list[list[str]]:
    at, value = Decimal(0), Decimal(rng.randint(15, 30))
    samples = [["0", str(value)]] if rng.random() < 0.4 else []
    for _ in range(rng.randint(0, 8)):
        at += 60 + Decimal(rng.choice(OFF_CADENCE))
        value += Decimal(rng.choice(STEPS))
        samples.append([str(at), str(value)])
    if len(samples) > 1 and rng.random() < 0.05:
        samples[0], samples[1] = samples[1], samples[0]
    return samples


def _settle(rng: Random) -> Case:
    return {
        "samples": _samples(rng),
        "resolution": rng.choice(("1", "1", "1", "0.5", "2", "0")),
        "needed": rng.choice((3, 3, 3, 2, 4)),
        "tolerance_s": rng.choice(("10", "10", "0", "15.5")),
    }


def _ceiling(rng: Random) -> Case:
    samples = _samples(rng)
    after, limit = rng.choice(("120", "60", "119.9", "185")), rng.choice(("20", "22.5", "25"))
    return {
        "samples": samples,
        "after_s": after,
        "limit": limit,
        "unit": rng.choice((None, "kPa", "[psi]", "bar")),
    }


def _course(rng: Random) -> Case:
    samples = _samples(rng)
    last = Decimal(samples[-1][0]) if samples else Decimal(0)
    ahead = 60 * rng.randint(0, 3) + Decimal(rng.choice(OFF_CADENCE))
    return {
        "samples": samples,
        "now_s": str(max(last + ahead, last)),
        "tolerance_s": rng.choice(("10", "5.5")),
    }


def _table(rng: Random) -> Case:
    kind = rng.choice(("upper", "upper", "lower", "both"))
    temperatures = rng.sample(range(-30, 41), rng.randint(1, 5))
    rows = []
    for temperature in temperatures:
        lower = _number(rng, 0, 60) if kind != "upper" else None
        upper = _number(rng, 70, 300) if kind != "lower" else None
        rows.append([str(temperature), lower, upper])
    if rng.random() < 0.08:
        rows.append(rows[0])
    return {"kind": kind, "rule": rng.choice(("stricter_row", "linear", "linear", "rows_only")), "rows": rows}


def _temperature(rng: Random, table: Case) -> str:
    on_row = rng.random() < 0.3
    return rng.choice(table["rows"])[0] if on_row else _number(rng, -30, 40, 2)


def _limit(rng: Random) -> Case:
    table = _table(rng)
    return {"table": table, "temperature": _temperature(rng, table)}


def _judge(rng: Random) -> Case:
    upper = _number(rng, 70, 300) if rng.random() < 0.8 else None
    lower = _number(rng, 0, 60) if upper is None or rng.random() < 0.5 else None
    edge = upper if upper is not None and rng.random() < 0.7 else lower or upper
    near = Decimal(edge) + Decimal(rng.choice(("0", "0.000001", "-0.000001", "3", "-3", "40")))
    return {
        "value": str(near),
        "limit": [lower, upper, _number(rng, -30, 40, 1)],
        "U": rng.choice(("0", "2.5", "3", "3.000001")),
        "unit": rng.choice((None, "[psi]", "kPa", "[gal_us]/h")),
    }


def _reading(rng: Random) -> Case:
    table = {**_table(rng), "unit": rng.choice(("[psi]", "bar", "kPa"))}
    limits = [value for row in table["rows"] for value in row[1:] if value is not None]
    typed = rng.choice(limits) if rng.random() < 0.5 else _number(rng, 0, 320, 2)
    return {
        "typed": typed.replace(".", rng.choice(".,")),
        "unit": table["unit"],
        "temperature": _temperature(rng, table),
        "table": table,
    }


def _strictest(rng: Random) -> Case:
    """One or two limits, at times of equal margin or not served, and a value near one of them."""
    upper = rng.random() < 0.8
    edges = [_number(rng, 70, 110, 1) for _ in range(rng.choice((1, 2, 2, 2)))]
    limits = [[None, e, "10"] if upper or rng.random() < 0.3 else [e, None, "20"] for e in edges]
    value = str(Decimal(rng.choice(edges)) + Decimal(rng.choice(("0", "0.000001", "-0.000001", "7", "-7"))))
    return {"value": value, "limits": [None if rng.random() < 0.1 else limit for limit in limits]}


def _too_low(rng: Random) -> Case:
    value = _number(rng, -2, 200, 2)
    sure = {"value": value, "share": rng.choice(("0.5", "0.55")), "compensation": rng.choice(("1", "0.83"))}
    return sure | {name: _number(rng, 50, 300, 1) for name in ("baseline", "nominal") if rng.random() < 0.6}


def _collection(rng: Random) -> Case:
    settled = {"settled": rng.random() < 0.8, "elapsed_s": rng.choice(("180", "240.5"))}
    return {
        "required_s": "60",
        "taken_s": rng.choice(("60", "62", "58", "62.1", "57.9", "61")),
        "tolerance_s": "2",
        "started_s": rng.choice((None, "179.9", "180", "240.5", "300")),
        "pressure": rng.choice((settled, settled, settled, None)),
    }


def _rows(rng: Random) -> list[list[str]]:
    """Two to five rows of what is expected, colder ones higher, in canonical units."""
    size = rng.choice((1, 1, 10, 100))
    temperatures = sorted(rng.sample(range(-10, 36), rng.randint(2, 5)))
    rows = []
    for t in temperatures:
        middle = Decimal(rng.randint(400_000, 4_000_000)).scaleb(-6) * size + (35 - t)
        wide = middle * rng.randint(5, 40) / 100
        numbers = (middle - wide, middle, middle + wide * 2)
        rows.append([str(t), *(format(n.quantize(Decimal("0.000001")), "f") for n in numbers)])
    rng.shuffle(rows)
    return rows


def _degrees(rng: Random, rows: list[list[str]]) -> str:
    return rng.choice(rows)[0] if rng.random() < 0.2 else _number(rng, -12, 37, 2)


def _expected(rng: Random) -> Case:
    rows = _rows(rng)
    return {"rows": rows, "temperature": _degrees(rng, rows)}


def _ask(rng: Random) -> Case:
    """A check of some readings, all near the same rows: often all high or all low, often on an edge."""
    rows = _rows(rng)
    t = rng.choice(rows)[0]
    low, middle, high = (Decimal(side) for side in next(row for row in rows if row[0] == t)[1:])
    way = rng.choice((-1, 1, 0))
    edges = {
        1: (high, high + 1, high * 2, (middle + high) / 2, high + Decimal("0.000001")),
        -1: (low, low / 2, (low + middle) / 2, low - Decimal("0.000001")),
        0: (low, middle, high, middle, high * 2, low / 2),
    }
    grid = Decimal("0.000001")
    read = [
        [format(rng.choice(edges[way]).quantize(grid), "f"), rng.random() < 0.8]
        for _ in range(rng.randint(0, 5))
    ]
    unit = rng.choice(("kPa", "[psi]", "bar"))
    return {"rows": rows, "temperature": t, "read": read, "unit": unit}


DRAWN: dict[str, Callable[[Random], Case]] = {
    "parse": _parse,
    "convert": _convert,
    "collected flow": _flow,
    "settle": _settle,
    "ceiling": _ceiling,
    "course": _course,
    "limit": _limit,
    "judge": _judge,
    "reading": _reading,
    "too low": _too_low,
    "collection": _collection,
    "expected": _expected,
    "ask": _ask,
    "strictest": _strictest,
}
