"""The likely cause behind a check, as the record tells it: worked out anew from what was signed before it."""

import datetime as dt
from dataclasses import dataclass

from checks.engine.diagnosis_words import Said
from checks.models import CheckEvent
from checks.services.cause import LikelyCause, likely_cause


@dataclass(frozen=True)
class Confirmed:
    """What it turned out to be, as a person recorded it."""

    text: str
    by: str
    at: dt.datetime


@dataclass(frozen=True)
class CauseTold:
    """said: None where nothing can be, why_not says why; baseline: what the readings stood beside.

    beside: (what, ratio to the baseline) of each reading; confirmed: newest first.
    """

    said: Said | None
    why_not: str
    baseline: str
    beside: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    caveats: tuple[str, ...]
    confirmed: tuple[Confirmed, ...]


def cause_told(event: CheckEvent) -> CauseTold | None:
    """None where nothing is ranked and nothing was confirmed: paper keeps what was found, the page says why
    nothing was. Twelve queries at most."""
    cause = likely_cause(event)
    if cause is None:
        return None
    found = list(event.causes_found.select_related("position", "found_by"))
    if cause.said is None and not found:
        return None
    return CauseTold(
        said=cause.said,
        why_not=cause.why_not,
        baseline=_baseline(cause),
        beside=tuple((name, f"× {ratio:.2f}") for name, ratio in cause.beside),
        notes=tuple(_notes(cause)),
        caveats=cause.caveats,
        confirmed=tuple(
            Confirmed(f"{one}{f' – {one.remark}' if one.remark else ''}", str(one.found_by), one.found_at)
            for one in found
        ),
    )


def _baseline(cause: LikelyCause) -> str:
    if not cause.checks:
        return ""
    checks = "one accepted check" if cause.checks == 1 else f"{cause.checks} accepted checks"
    days = f"{cause.since:%d %b %Y}"
    if cause.until != cause.since:
        days += f" to {cause.until:%d %b %Y}"
    return f"Beside {checks} of this aircraft since the last reset, {days}, temperature taken out"


def _notes(cause: LikelyCause) -> list[str]:
    notes = []
    if cause.seen:
        notes.append(
            f"Looked at in this check and not satisfactory: {'; '.join(cause.seen)}. A look counts more than "
            "this ranking, which does not know of it."
        )
    if cause.said and cause.alone:
        notes.append(
            "Not compared, because no accepted check has read it since its last reset: "
            f"{', '.join(cause.alone)}."
        )
    return notes + list(cause.said.unseen if cause.said else ())
