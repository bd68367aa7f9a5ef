"""The mail that tells a person what is new: a few lines a heading, most urgent first."""

from collections.abc import Sequence
from dataclasses import dataclass

from checks.selectors.notices import HEADINGS, Fact
from fleet.models import Operator, User

RULES = (
    "This mail tells what is recorded. The due list rules; the operator's programme, the approved manual and "
    "local regulations decide, and an authorised person signs. Each line is told once; what is open still "
    "stands on the pages."
)


@dataclass(frozen=True)
class Digest:
    subject: str
    text: str


def digest(person: User, facts: Sequence[Fact], operator: Operator, address: str = "") -> Digest:
    """The mail for a person. address: of the site, so that each line leads to its page; empty: no links."""
    counts = [(heading, [f for f in facts if f.kind == kind]) for kind, heading in HEADINGS.items()]
    there = [(heading, found) for heading, found in counts if found]
    lines = [f"For {person}, {operator.name}.", ""]
    if operator.is_demo:
        lines = ["DEMONSTRATION: everything is invented. Not for use on any aircraft.", "", *lines]
    for heading, found in there:
        lines += [f"{heading} ({len(found)})", *(_line(fact, address) for fact in found), ""]
    said = ", ".join(f"{heading.lower()} {len(found)}" for heading, found in there)
    more = f"\nChoose what you are told: {address}/notices/" if address else ""
    return Digest(f"Weepwatch: {said}", "\n".join([*lines, RULES]) + more + "\n")


def _line(fact: Fact, address: str) -> str:
    return f"- {fact.words}" + (f"\n  {address}{fact.path}" if address else "")
