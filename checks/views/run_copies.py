"""Copies of a draft in words: what of a form differs, field by field with the words of the page."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from checks.engine.units import UNITS
from checks.forms.check import CheckForm
from checks.forms.check_text import BOXES, expected_text
from checks.models import CheckEvent, DraftCopy
from checks.services.inputs import EVENT_FIELDS
from fleet.models import Base, Instrument

NOTHING = "nothing"
_PARTS = {
    "typed": "value",
    "elapsed": "time",
    "started": "start of the collection",
    "unit": "unit",
    "instrument": "instrument",
    "satisfactory": "satisfactory",
    "remark": "remark",
    "acknowledged": "confirmed",
    "restored": "put back",
    "read": "read first",
    "reason": "why it stands",
}


@dataclass(frozen=True)
class CopyShown:
    """A copy with what it holds otherwise than the check; all of it where there is no check any more."""

    copy: DraftCopy
    lines: list[dict[str, str]]


def shown(event: CheckEvent | None, copies: Iterable[DraftCopy]) -> list[CopyShown]:
    """The copies with their lines. A fixed number of queries, however many copies."""
    form = CheckForm(event) if event else None
    stored, words = form.stored if form else {}, _Words(form)
    return [CopyShown(c, differences(form, stored, c.content.get("text", {}), words)) for c in copies]


def differences(
    form: CheckForm | None,
    stands: Mapping[str, str],
    sent: Mapping[str, str],
    words: "_Words | None" = None,
) -> list[dict[str, str]]:
    """Each field in which two forms differ: name, label, what stands in the draft, what the phone holds."""
    expected = expected_text(form.steps, sent) if form else {}
    words = words or _Words(form)
    lines = []
    for name in sorted(set(stands) | set(sent), key=lambda one: (one.count("-"), one)):
        untouched = name in EVENT_FIELDS and name not in sent and name not in BOXES
        if untouched or name.endswith("-rows"):
            continue
        one, other = stands.get(name, ""), sent.get(name, "")
        if one == other or (not one and other == expected.get(name)):
            continue
        if not other and one == expected.get(name):
            continue
        lines.append(
            {
                "name": name,
                "label": words.label(name),
                "stands": words.value(name, one),
                "sent": words.value(name, other),
            }
        )
    return lines


class _Words:
    """Field names and values as a person reads them."""

    def __init__(self, form: CheckForm | None) -> None:
        self.steps = {str(step.pk): step.number for step in form.steps} if form else {}
        self.positions = {str(p.pk): str(p) for p in form.positions} if form else {}

    @cached_property
    def bases(self) -> dict[str, str]:
        return {str(key): name for key, name in Base.objects.values_list("pk", "name")}

    @cached_property
    def codes(self) -> dict[str, str]:
        return {str(key): code for key, code in Instrument.objects.values_list("pk", "code")}

    def label(self, name: str) -> str:
        kind, *rest = name.split("-")
        if not rest:
            return str(CheckEvent._meta.get_field(name).verbose_name).capitalize() if _own(name) else name
        words = [f"Step {self.steps.get(rest[0], '?')}"]
        if kind == "reading" and len(rest) > 2 and rest[1] != "0":
            words.append(f"reading {int(rest[1]) + 1}" if rest[1].isdecimal() else rest[1])
        if kind == "observation" and len(rest) > 2 and rest[1] != "0":
            words.append(self.positions.get(rest[1], ""))
        words.append(_PARTS.get(rest[-1], rest[-1].replace(".", " ")))
        return ", ".join(words)

    def value(self, name: str, text: str) -> str:
        if not text:
            return NOTHING
        if name.endswith("-unit") and text in UNITS:
            return UNITS[text].label
        if name.endswith("-instrument"):
            return self.codes.get(text, text)
        if name == "base":
            return self.bases.get(text, text)
        return text


def _own(name: str) -> bool:
    return name in {field.name for field in CheckEvent._meta.fields}
