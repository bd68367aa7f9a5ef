"""Where on a panel a look was not satisfactory, a dry area say: marks on a simple outline, and their words.

The outline is the panel unrolled: three sides, each in five parts from root to tip. Marks are kept as the
first words of a remark, such as 'at upper outer, tip; edge all. Comes slowly', so that they are signed and
read like any other remark, and the drawing can be made from every remark that begins so.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass

PARTS = ("root", "inner", "middle", "outer", "tip")
FLAT = ("upper", "edge", "lower")
UPRIGHT = ("left", "edge", "right")
_ALL = "all"
_ONE_SIDE = rf"(?:upper|lower|left|right|edge) (?:{_ALL}|(?:{'|'.join(PARTS)})(?:, (?:{'|'.join(PARTS)}))*)"
_AREAS = re.compile(rf"at ({_ONE_SIDE}(?:; {_ONE_SIDE})*)(?:$|\.(?:\s+|$))", re.IGNORECASE)

#: side and part, as ('upper', 'tip')
Area = tuple[str, str]


@dataclass(frozen=True)
class Areas:
    """The outline of one panel with what is marked on it. sides: FLAT, or UPRIGHT for a panel of a fin."""

    marked: frozenset[Area] = frozenset()
    sides: tuple[str, ...] = FLAT

    def __bool__(self) -> bool:
        return bool(self.marked)

    @property
    def words(self) -> str:
        """'upper outer, tip; edge all'; empty where nothing is marked."""
        return "; ".join(words for side in self.sides if (words := self._side(side)))

    def _side(self, side: str) -> str:
        parts = [part for part in PARTS if (side, part) in self.marked]
        if not parts:
            return ""
        return f"{side} {_ALL if len(parts) == len(PARTS) else ', '.join(parts)}"


def areas_of(sides: tuple[str, ...]) -> list[Area]:
    """Every area of an outline, side by side from root to tip."""
    return [(side, part) for side in sides for part in PARTS]


def split(remark: str) -> tuple[Areas, str]:
    """The areas that a remark begins with, and the rest of it. No areas: the whole remark is the rest."""
    found = _AREAS.match(remark.strip())
    if not found:
        return Areas(), remark
    marked: set[Area] = set()
    for one in found[1].lower().split("; "):
        side, _, parts = one.partition(" ")
        marked |= {(side, part) for part in (PARTS if parts == _ALL else parts.split(", "))}
    named = {side for side, _ in marked} - {"edge"}
    if named <= set(FLAT) or named <= set(UPRIGHT):
        sides = FLAT if named <= set(FLAT) else UPRIGHT
        return Areas(frozenset(marked), sides), remark.strip()[found.end() :].strip()
    return Areas(), remark  # sides of both kinds: the words of a person, not of an outline


def joined(marked: Iterable[Area], sides: tuple[str, ...], remark: str) -> str:
    """The remark with the marked areas before it; areas that it begins with already are marked too.

    joined(marked, sides, split(remark)[1]) gives the same remark again, however often.
    """
    typed, rest = split(remark.strip())
    if not typed.marked <= set(areas_of(sides)):  # of another kind of panel: words like any other
        typed, rest = Areas(), remark.strip()
    areas = Areas(frozenset(marked) | typed.marked, sides)
    if not areas:
        return rest
    return f"at {areas.words}. {rest}" if rest else f"at {areas.words}"
