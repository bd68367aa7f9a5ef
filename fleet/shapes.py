"""The states that screens and paper show: a word, a shape and a tone, never colour alone.

Shapes are drawn in a box of 16 by 16, y downwards, from three kinds of mark, so that a page (SVG) and a
sheet of paper (PDF) show the same picture. Tones: 'act' (red, act now), 'heed' (amber, caution), 'plain'
(no colour: fine) and 'faint' (nothing is known, or no longer in force).
"""

from dataclasses import dataclass

Point = tuple[float, float]


@dataclass(frozen=True)
class Ring:
    """A circle; `solid` fills it."""

    x: float
    y: float
    r: float
    solid: bool = False


@dataclass(frozen=True)
class Path:
    """A line through points; `closed` joins the ends, `solid` fills it."""

    points: tuple[Point, ...]
    closed: bool = False
    solid: bool = False
    dashed: bool = False


Mark = Ring | Path


@dataclass(frozen=True)
class State:
    """What is shown of one state: its word, the name of its shape and its tone."""

    word: str
    shape: str
    tone: str = "plain"


def _line(*points: Point, dashed: bool = False) -> Path:
    return Path(points, dashed=dashed)


def _area(*points: Point, solid: bool = False) -> Path:
    return Path(points, closed=True, solid=solid)


def _disc(share: float) -> Path:
    """A pie of a circle filled clockwise from the top by `share` (0 to 1)."""
    from math import cos, pi, sin

    steps = 16
    rim = tuple(
        (8 + 5.5 * sin(2 * pi * share * k / steps), 8 - 5.5 * cos(2 * pi * share * k / steps))
        for k in range(steps + 1)
    )
    return Path(((8.0, 8.0), *rim), closed=True, solid=True)


_LEVEL = _line((1.5, 6), (14.5, 6))
_SHEET = _area((3, 1.5), (13, 1.5), (13, 14.5), (3, 14.5))
_WEDGE = ((8.0, 1.5), (15.0, 14.0), (1.0, 14.0))
_DROP = ((8.0, 1.0), (11.4, 6.2), (13.0, 9.6), (11.6, 13.2), (8.0, 14.8), (4.4, 13.2), (3.0, 9.6), (4.6, 6.2))
_CROSS = (_line((5, 5), (11, 11)), _line((11, 5), (5, 11)))
_PARCEL = ((1.5, 2.5), (14.5, 2.5), (14.5, 13.5), (1.5, 13.5))
_TAPE = (_line((1.5, 6), (14.5, 6)), _line((8, 6), (8, 13.5)))

SHAPES: dict[str, tuple[Mark, ...]] = {
    # due: a dial that fills as the date comes near, then breaks into a lozenge
    "dial-empty": (Ring(8, 8, 6),),
    "dial-part": (Ring(8, 8, 6), _disc(0.25)),
    "dial-most": (Ring(8, 8, 6), _disc(0.75)),
    "lozenge": (_area((8, 0.8), (15.2, 8), (8, 15.2), (0.8, 8), solid=True),),
    "dashes": (_line((2, 8), (14, 8), dashed=True),),
    # an aircraft out of service: under its roof
    "roof": (_line((2.5, 14), (2.5, 7.5), (8, 2.5), (13.5, 7.5), (13.5, 14)),),
    # outcome: where a drop stands against a level
    "under-level": (_LEVEL, Ring(8, 11.5, 2.5, True)),
    "at-level": (_LEVEL, Ring(8, 7.6, 2.5, True), _line((1.5, 9.4), (4, 9.4)), _line((12, 9.4), (14.5, 9.4))),
    "over-level": (_line((1.5, 10), (14.5, 10)), Ring(8, 4.6, 3.4, True), _line((8, 12.2), (8, 14.8))),
    "crossed-box": (_area((2, 2), (14, 2), (14, 14), (2, 14)), *_CROSS),
    # drift: how a line runs towards its limit
    "flat-run": (_line((1.5, 2.5), (14.5, 2.5), dashed=True), _line((1.5, 10.5), (14.5, 10.5))),
    "rising-run": (_line((1.5, 2.5), (14.5, 2.5), dashed=True), _line((1.5, 13), (7, 11), (14.5, 6.5))),
    "closing-run": (
        _line((1, 2.5), (15, 2.5)),
        _line((1.5, 14), (8, 11), (11.5, 4.5)),
        _area((12.6, 2.6), (13.4, 7.6), (8.6, 5.4), solid=True),
    ),
    "few-dots": (Ring(3, 11, 1.6, True), Ring(8, 8, 1.6, True), Ring(13, 9.5, 1.6)),
    # defects: a wedge, full while it is open
    "wedge-full": (_area(*_WEDGE, solid=True),),
    "wedge-half": (_area(*_WEDGE), _area((8, 1.5), (15, 14), (8, 14), solid=True)),
    "wedge-late": (_line((2, 1.5), (14, 1.5)), _area((8, 4.5), (14.5, 14.5), (1.5, 14.5), solid=True)),
    "wedge-asked": (
        _area(*_WEDGE),
        _line((6, 8.6), (8, 7.4), (9.6, 8.8), (8, 10.4)),
        Ring(8, 12.4, 0.6, True),
    ),
    "wedge-twice": (_area((6, 1.5), (11, 11), (1, 11)), _area((10, 5), (15, 14.5), (5, 14.5), solid=True)),
    "wedge-done": (_area(*_WEDGE), _line((5.2, 10.4), (7.3, 12.2), (10.8, 7.6))),
    # records: a sheet that gathers its strokes
    "sheet-draft": (Path(_SHEET.points, closed=True, dashed=True),),
    "sheet-one": (_SHEET, _line((5.5, 11.5), (10.5, 11.5))),
    "sheet-two": (_SHEET, _line((5.5, 8.5), (10.5, 8.5)), _line((5.5, 11.5), (10.5, 11.5))),
    "sheet-full": (_SHEET, _area((3, 7), (13, 7), (13, 14.5), (3, 14.5), solid=True)),
    "sheet-asked": (
        _SHEET,
        _line((5.6, 6.4), (6.2, 4.8), (8, 4), (9.8, 4.8), (10.2, 6.6), (8.2, 8.4), (8, 10)),
        Ring(8, 12.2, 0.7, True),
    ),
    "sheet-ticked": (_SHEET, _line((5.2, 8.4), (7.3, 10.6), (11, 5.4))),
    "sheet-crossed": (_SHEET, _line((5.5, 5.5), (10.5, 10.5)), _line((10.5, 5.5), (5.5, 10.5))),
    "sheet-struck": (_SHEET, _line((1, 12.5), (15, 3.5))),
    # work packages: a box with its lid, as yet open, then tied, then shut
    "parcel-open": (Path(_PARCEL, closed=True, dashed=True),),
    "parcel-pinned": (Path(_PARCEL, closed=True, dashed=True), Ring(8, 8, 2.2, True)),
    "parcel": (_area(*_PARCEL), *_TAPE),
    "parcel-locked": (_area(*_PARCEL, solid=True),),
    "parcel-done": (_area(*_PARCEL), _line((4.6, 8.6), (7, 11), (11.4, 5.6))),
    "parcel-asked": (_area(*_PARCEL), _line((8, 4.4), (8, 9)), Ring(8, 11.6, 0.7, True)),
    # icing status and wetness: a drop
    "drop-full": (_area(*_DROP, solid=True),),
    "drop-empty": (_area(*_DROP),),
    "drop-struck": (_area(*_DROP), _line((1.5, 14.5), (14.5, 1.5))),
    # yes and no about a thing or a person
    "tick": (_line((2, 8.5), (6.2, 12.8), (14, 3.2)),),
    "cross": (_line((3, 3), (13, 13)), _line((13, 3), (3, 13))),
    # cautions: a warning is for people, a caution for equipment, a note for neither
    "warning": (
        _area((5, 1), (11, 1), (15, 5), (15, 11), (11, 15), (5, 15), (1, 11), (1, 5)),
        _line((8, 4), (8, 9)),
        Ring(8, 11.8, 0.7, True),
    ),
    "caution": (_area(*_WEDGE), _line((8, 5.6), (8, 9.8)), Ring(8, 12, 0.6, True)),
    "note": (Ring(8, 8, 6.5), _line((8, 7.2), (8, 11.6)), Ring(8, 4.7, 0.7, True)),
    # something taken apart and not put together again
    "parted": (
        _line((0.5, 8), (5, 8)),
        _line((5, 4), (5, 12)),
        _line((11, 4), (11, 12)),
        _line((11, 8), (15.5, 8)),
    ),
    # a little furniture
    "menu": (_line((1.5, 4), (14.5, 4)), _line((1.5, 8), (14.5, 8)), _line((1.5, 12), (14.5, 12))),
    "person": (Ring(8, 5, 3), _line((2, 14.5), (3.6, 11), (8, 9.8), (12.4, 11), (14, 14.5))),
    "next": (_line((6, 2.5), (11.5, 8), (6, 13.5)),),
    "back": (_line((10, 2.5), (4.5, 8), (10, 13.5)),),
    "up": (_line((2.5, 10.5), (8, 5), (13.5, 10.5)),),
    "down": (_line((2.5, 5.5), (8, 11), (13.5, 5.5)),),
    "paper": (_SHEET, _line((5.5, 5), (10.5, 5)), _line((5.5, 8), (10.5, 8)), _line((5.5, 11), (9, 11))),
    "plus": (_line((8, 2), (8, 14)), _line((2, 8), (14, 8))),
    "search": (Ring(6.8, 6.8, 4.8), _line((10.4, 10.4), (14.5, 14.5))),
    "clock": (Ring(8, 8, 6.5), _line((8, 4), (8, 8.4), (11, 10))),
}

STATES: dict[str, State] = {
    "overdue": State("overdue", "lozenge", "act"),
    "in tolerance": State("in tolerance", "dial-most", "heed"),
    "due soon": State("due soon", "dial-part", "heed"),
    "planned": State("planned", "dial-empty"),
    "no record": State("no record", "dashes", "faint"),
    "stored": State("stored", "roof", "faint"),
    "within limit": State("within limit", "under-level"),
    "borderline": State("borderline", "at-level", "heed"),
    "over limit": State("over limit", "over-level", "act"),
    "not valid": State("not valid", "crossed-box", "heed"),
    "done": State("done", "tick"),
    "steady": State("steady", "flat-run"),
    "drifting": State("drifting", "rising-run", "heed"),
    "closing": State("closing", "closing-run", "act"),
    "too few readings": State("too few readings", "few-dots", "faint"),
    # an instrument beside the others
    "reads high": State("reads high", "up", "heed"),
    "reads low": State("reads low", "down", "heed"),
    "no difference": State("no difference", "tick"),
    "no comparison": State("no comparison", "dashes", "faint"),
    # of a position of which nothing is read
    "alert": State("alert", "up", "heed"),
    "no alert": State("no alert", "tick"),
    "nothing to compare": State("nothing to compare", "dashes", "faint"),
    "no port: cannot be named": State("no port: cannot be named", "dashes", "faint"),
    "not measured": State("not measured", "dashes", "faint"),
    "open": State("open", "wedge-full", "act"),
    "deferred": State("deferred", "wedge-half", "heed"),
    "deferral expired": State("deferral expired", "wedge-late", "act"),
    "deferral limit not known": State("deferral limit not known", "wedge-asked", "heed"),
    "repeat": State("repeat", "wedge-twice", "heed"),
    "utilisation stale": State("utilisation stale", "clock", "heed"),
    "closed": State("closed", "wedge-done"),
    "draft": State("draft", "sheet-draft", "faint"),
    "awaiting second signature": State("awaiting second signature", "sheet-one", "heed"),
    "awaiting approval": State("awaiting approval", "sheet-one", "heed"),
    "signed": State("signed", "sheet-two"),
    "released": State("released", "sheet-full"),
    "effective": State("effective", "sheet-full"),
    "in the programme": State("in the programme", "sheet-full"),
    "not in the programme": State("not in the programme", "sheet-struck", "faint"),
    "superseded": State("superseded", "sheet-struck", "faint"),
    # a check that an instrument found out of calibration touches
    "in doubt": State("in doubt", "sheet-asked", "heed"),
    "reviewed: stands": State("reviewed: stands", "sheet-ticked"),
    "reviewed: to be repeated": State("reviewed: to be repeated", "sheet-crossed", "act"),
    "not known": State("not known", "dashes", "heed"),
    "not put back": State("not put back", "parted", "act"),
    "nothing recorded against": State("nothing recorded against", "drop-empty"),
    "recorded against": State("recorded against", "drop-full", "act"),
    # the season plan, dry panels, stock
    "to do": State("to do", "dial-empty"),
    "late": State("late", "lozenge", "act"),
    "deactivated": State("deactivated", "drop-struck", "heed"),
    "dry": State("dry", "drop-empty", "heed"),
    "wetted": State("wetted", "drop-full"),
    "enough": State("enough", "tick"),
    "short": State("short", "cross", "act"),
    "records disagree": State("records disagree", "sheet-asked", "heed"),
    "may be mixed": State("may be mixed", "tick"),
    "not to be mixed": State("not to be mixed", "cross", "act"),
    "proposed": State("proposed", "parcel-open", "faint"),
    "pinned": State("pinned", "parcel-pinned"),
    "accepted": State("accepted", "parcel"),
    "accepted, locked": State("accepted, locked", "parcel-locked"),
    "package done": State("package done", "parcel-done"),
    "withdrawn": State("withdrawn", "cross", "faint"),
    "due list differs": State("due list differs", "parcel-asked", "heed"),
    "over the hours": State("over the hours", "over-level", "heed"),
    "base closed": State("base closed", "dashes", "faint"),
    "satisfactory": State("satisfactory", "tick"),
    "not satisfactory": State("not satisfactory", "cross", "act"),
    "in calibration": State("in calibration", "tick"),
    "calibration due soon": State("calibration due soon", "dial-part", "heed"),
    "out of calibration": State("out of calibration", "cross", "act"),
    "no calibration needed": State("no calibration needed", "dashes", "faint"),
    "valid": State("valid", "tick"),
    "ends soon": State("ends soon", "dial-part", "heed"),
    "expired": State("expired", "cross", "act"),
    "settled": State("settled", "tick"),
    "not settled": State("not settled", "few-dots", "faint"),
    "warning": State("Warning", "warning", "act"),
    "caution": State("Caution", "caution", "heed"),
    "note": State("Note", "note"),
}


def state(key: str) -> State:
    """The state of a key such as 'over limit' or 'over_limit'; an unknown key raises KeyError."""
    return STATES[key.strip().lower().replace("_", " ").replace("-", " ")]
