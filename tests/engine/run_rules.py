"""The rules that also run in the browser, asked by name: the engine's answers as plain JSON.

The vectors of tests/reference/vectors/run_rules.json, and fresh random cases, go through here and through
checks/static/checks/run/rules.js. `python -m tests.engine.run_rules` draws and freezes the generated part of
that file anew; the part by hand it leaves alone.
"""

import json
from collections.abc import Callable, Iterator
from dataclasses import asdict
from decimal import Decimal
from pathlib import Path
from typing import Any

from checks.engine.cadence import course
from checks.engine.conformity import judge
from checks.engine.entry import Expected, Taken, ask, expected_at, reading_words, temperature_words
from checks.engine.limits import Limit, LimitRow, LimitTable, NotServed, limit_at
from checks.engine.outcome import NOT_VALID, strictest
from checks.engine.point import Collection, PointInput, judge_point
from checks.engine.settle import Sample, Settled, ceiling, settle
from checks.engine.units import (
    collected_flow,
    difference_from_canonical,
    difference_to_canonical,
    from_canonical,
    parse_decimal,
    to_canonical,
)
from tests.engine.run_rules_random import draw

VECTORS = Path(__file__).parents[1] / "reference" / "vectors" / "run_rules.json"
WAYS = {
    "to": to_canonical,
    "from": from_canonical,
    "difference to": difference_to_canonical,
    "difference from": difference_from_canonical,
}
# Part of each refusal's sentence -> the key by which the browser knows it.
REFUSALS = {
    "nothing is typed": "empty",
    "is longer than": "too_long",
    "a point and a comma": "two_marks",
    "is not a plain number": "not_plain",
    "does not use the declared": "other_mark",
    "can be read as": "ambiguous",
}
NO_UPPER = Decimal(10) ** 9
Args = dict[str, Any]


def answer(rule: str, args: Args) -> Any:
    """The engine's answer to one case as JSON values; what it refuses is {'refused': its words}."""
    try:
        return as_json(RULES[rule](args))
    except ValueError as error:
        return {"refused": str(error)}


def as_json(value: Any) -> Any:
    """Decimals as text with their digits (nothing has no sign), tuples as lists."""
    if isinstance(value, Decimal):
        return format(value if value else value.copy_abs(), "f")
    if isinstance(value, dict):
        return {key: as_json(item) for key, item in value.items()}
    return [as_json(item) for item in value] if isinstance(value, list | tuple) else value


def load_vectors() -> dict[str, Any]:
    return json.loads(VECTORS.read_text(encoding="utf-8"))


def cases() -> Iterator[tuple[str, Args]]:
    """Every vector by a name that tells it apart."""
    vectors = load_vectors()
    for number, case in enumerate(vectors["by_hand"], 1):
        yield f"{case['rule']}: {case['says']} ({number})", case
    for number, case in enumerate(vectors["generated"], 1):
        yield f"{case['rule']}: generated {number}", case


def differences(expected: Any, given: Any) -> list[str]:
    """Where an answer differs from what a vector expects; a vector by hand may name only some of the keys."""
    if not isinstance(expected, dict) or not isinstance(given, dict):
        return [] if expected == given else [f"{given!r} is not {expected!r}"]
    return [
        f"{key}: {given.get(key, 'missing')!r} is not {value!r}"
        for key, value in expected.items()
        if key not in given or given[key] != value
    ]


def _d(value: Any) -> Decimal | None:
    return None if value is None else Decimal(value)


def _samples(args: Args) -> list[Sample]:
    return [Sample(Decimal(at), Decimal(value)) for at, value in args["samples"]]


def _numbers(args: Args, *names: str) -> dict[str, Decimal]:
    """Of the names given, those that the case states."""
    return {name: Decimal(args[name]) for name in names if name in args}


def _parse(args: Args) -> Args:
    typed = args["typed"]
    try:
        return {"value": parse_decimal(typed, decimal_mark=args.get("decimal_mark")), "key": None}
    except ValueError as error:
        key = next(key for part, key in REFUSALS.items() if part in str(error))
        refused = {"value": None, "key": key}
        # Outside plain texts Python's quotation marks and escapes are its own.
        plain = typed.strip().isprintable() and not set(typed) & set("'\\")
        return refused | ({"reason": str(error)} if plain else {})


def _convert(args: Args) -> Args:
    return {"value": WAYS[args["way"]](Decimal(args["value"]), args["unit"])}


def _flow(args: Args) -> Args:
    return {"value": collected_flow(Decimal(args["volume_ml"]), Decimal(args["seconds"]))}


def _settle(args: Args) -> Args:
    numbers = _numbers(args, "cadence_s", "resolution", "tolerance_s")
    return asdict(settle(_samples(args), needed=args.get("needed", 3), **numbers))


def _ceiling(args: Args) -> Args:
    return asdict(ceiling(_samples(args), **_numbers(args, "after_s", "limit"), unit=args.get("unit")))


def _course(args: Args) -> Args:
    return asdict(course(_samples(args), **_numbers(args, "now_s", "cadence_s", "tolerance_s")))


def _table(args: Args) -> LimitTable:
    """A table as typed in its unit (canonical where none is named), in canonical units."""
    unit = args.get("unit")

    def side(value: str | None) -> Decimal | None:
        return to_canonical(Decimal(value), unit) if value is not None and unit else _d(value)

    rows = tuple(LimitRow(Decimal(t), side(lower), side(upper)) for t, lower, upper in args["rows"])
    return LimitTable(rows, args.get("kind", "upper"), args.get("rule", "stricter_row"))


def _limit(args: Args) -> Args:
    found = limit_at(_table(args["table"]), Decimal(args["temperature"]))
    return {"served": not isinstance(found, NotServed), **asdict(found)}


def _judge(args: Args) -> Args:
    lower, upper, temperature = (_d(value) for value in args["limit"])
    limit = Limit(lower, upper, temperature or Decimal(0), "")
    return asdict(judge(Decimal(args["value"]), limit, Decimal(args.get("U", 0)), unit=args.get("unit")))


def _reading(args: Args) -> Args:
    """From what was typed to the comparison, as the runner goes through it."""
    value = to_canonical(parse_decimal(args["typed"]), args["unit"])
    temperature = to_canonical(parse_decimal(args["temperature"]), args.get("temperature_unit", "Cel"))
    limit = limit_at(_table(args["table"]), temperature)
    if isinstance(limit, NotServed):
        return {"outcome": NOT_VALID, "reason": limit.reason}
    return asdict(judge(value, limit, Decimal(0), unit=args["unit"]))


def _strictest(args: Args) -> Args:
    """One value held to the limits of several fluid temperatures; null: no row serves that temperature."""
    value, tables = Decimal(args["value"]), []
    for limit in args["limits"]:
        lower, upper, temperature = (_d(one) for one in limit or (None, "1", "0"))
        kind = "both" if lower is not None and upper is not None else "upper" if lower is None else "lower"
        table = LimitTable((LimitRow(temperature, lower, upper),), kind)
        tables.append((table, temperature if limit else temperature + 1))
    points = (PointInput("point", value, table, t, standard_u=Decimal(0)) for table, t in tables)
    found = judge_point(strictest(points))
    return {"outcome": found.outcome, "margin": found.judgement.margin if found.judgement else None}


def _point(value: Decimal, **more: Any) -> PointInput:
    """A point that fails for nothing but what is asked about."""
    table = LimitTable((LimitRow(Decimal(0), upper=NO_UPPER),))
    return PointInput("point", value, table, Decimal(0), standard_u=Decimal(0), **more)


def _too_low(args: Args) -> Args:
    more = _numbers(args, "baseline", "nominal", "compensation")
    more |= {"low_share": Decimal(args["share"])} if "share" in args else {}
    found = judge_point(_point(Decimal(args["value"]), **more))
    return {"low": found.too_low, "reason": found.reasons[1] if len(found.reasons) > 1 else ""}


def _collection(args: Args) -> list[str]:
    pressure = args["pressure"]
    settled = pressure and Settled(pressure["settled"], None, None, _d(pressure["elapsed_s"]), (), "")
    times = _numbers(args, "required_s", "taken_s", "tolerance_s")
    taken = Collection(**times, started_s=_d(args["started_s"]), pressure=settled)
    found = judge_point(_point(Decimal(1), collection=taken))
    return list(found.reasons) if found.outcome == NOT_VALID else []


def _rows(args: Args) -> list[Expected]:
    return [Expected(*map(Decimal, row)) for row in args["rows"]]


def _expected(args: Args) -> Args | None:
    found = expected_at(_rows(args), Decimal(args["temperature"]))
    return found and asdict(found)


def _ask(args: Args) -> Args:
    """What is asked about a whole check, in words: each reading with the place of its rows."""
    t = Decimal(args["temperature"])
    taken = [Taken(Decimal(v), expected_at(_rows(args), t), follows) for v, follows in args["read"]]
    asked = ask(taken)
    words = [reading_words(taken[n], args["unit"]) for n in asked.readings]
    if asked.together:
        words.append(temperature_words(len(asked.together), asked.direction, t))
    return asdict(asked) | {"words": words}


RULES: dict[str, Callable[[Args], Any]] = {
    "parse": _parse,
    "convert": _convert,
    "collected flow": _flow,
    "settle": _settle,
    "ceiling": _ceiling,
    "course": _course,
    "limit": _limit,
    "judge": _judge,
    "reading": _reading,
    "strictest": _strictest,
    "too low": _too_low,
    "collection": _collection,
    "expected": _expected,
    "ask": _ask,
}


def freeze() -> None:
    """Draw the generated part of the vectors anew from the seed that the file names."""
    vectors = load_vectors()
    drawn = draw(vectors["seed"], vectors["drawn"])
    vectors["generated"] = [{**case, "expect": answer(case["rule"], case["args"])} for case in drawn]
    VECTORS.write_text(_one_case_a_line(vectors), encoding="utf-8")


def _one_case_a_line(vectors: dict[str, Any]) -> str:
    def line(value: Any) -> str:
        return json.dumps(value, ensure_ascii=False)

    def block(key: str, value: Any) -> str:
        cases = ",\n".join(map(line, value)) if isinstance(value, list) else ""
        return f"{line(key)}: [\n{cases}\n]" if cases else f"{line(key)}: {line(value)}"

    parts = [block(key, value) for key, value in vectors.items()]
    return "{\n" + ",\n".join(parts) + "\n}\n"


if __name__ == "__main__":
    freeze()
