"""The terms of a task in words, and where each way of counting comes from."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from checks.engine.units import plain
from checks.models import Terms


@dataclass(frozen=True)
class CountingNote:
    """A way of counting: what it does, where it is published, and what to know before choosing it."""

    key: str
    label: str
    does: str
    source: str
    limits: str


COUNTING_NOTES = (
    CountingNote(
        Terms.Counting.FROM_DONE,
        "From done",
        "The next interval begins when the check was done, early or late.",
        "Common practice, no source. Calendar months to the end of the last month: 14 CFR 91.411 and 91.413, "
        "“within the preceding 24 calendar months”, as it is usually read.",
        "What was done late is due later ever after; what was done early loses the days given away.",
    ),
    CountingNote(
        Terms.Counting.EXCESS_COUNTS,
        "The excess counts",
        "What was overrun is taken off the next interval; done early, it begins when it was done.",
        "14 CFR 91.409(b), the 100-hour inspection, as quoted by others: due at 2800.0, done at 2806.0, next "
        "due at 2900.0.",
        "There the excess is at most 10 hours and only to reach the place of the inspection; turboprop twins "
        "follow other programmes (91.409(e), (f)). The approved programme says whether it may be used.",
    ),
    CountingNote(
        Terms.Counting.KEEP_GRID,
        "Keep the grid inside the window",
        "Done within the tolerance on either side of the due point, the next is one interval after that "
        "point; outside it, early too, one interval after it was done.",
        "US Army TM 1-1500-328-23 (public release), a window of a tenth of the interval, at most 5 hours or "
        "30 days; each limb is counted by itself.",
        "A military manual: not for phase or periodic inspections there. The window here is the tolerance of "
        "the task, as the operator’s programme has it.",
    ),
)


def counting_note(counting: str) -> CountingNote:
    """The note of a way of counting."""
    return next(note for note in COUNTING_NOTES if note.key == counting)


def interval_in_words(terms: Terms) -> str:
    """The interval, e.g. '6 months, 450 h or the season date, whichever first'."""
    limbs = [
        f"{plain(amount)} {unit if amount == 1 or unit == 'h' else unit + 's'}"
        for amount, unit in (
            (terms.interval_days, "day"),
            (terms.interval_months, "month"),
            (terms.interval_hours, "h"),
            (terms.interval_landings, "landing"),
        )
        if amount
    ]
    if terms.before_season:
        limbs.append("the season date")
    if not limbs:
        return "once"
    words = f"{', '.join(limbs[:-1])} or {limbs[-1]}, whichever first" if len(limbs) > 1 else limbs[0]
    return f"once, {words}" if terms.once else words


def tolerance_in_words(terms: Terms) -> str:
    """The tolerances that are not 0."""
    parts = [
        f"{plain(amount)} {unit}"
        for amount, unit in (
            (terms.tolerance_days, "days"),
            (terms.tolerance_hours, "h"),
            (terms.tolerance_landings, "landings"),
        )
        if amount
    ]
    return ", ".join(parts) or "none"


def first_in_words(terms: Terms) -> str:
    """How it is first due."""
    if terms.first_due != Terms.First.GIVEN:
        return str(terms.get_first_due_display())
    parts = [f"on {terms.first_on:%d %b %Y}"] if terms.first_on else []
    parts += [f"at {plain(terms.first_hours)} h"] if terms.first_hours is not None else []
    parts += [f"at {terms.first_landings} landings"] if terms.first_landings is not None else []
    return f"{' or '.join(parts)}{', whichever first' if len(parts) > 1 else ''}"


def aircraft_in_words(terms: Terms, named: Sequence[str]) -> str:
    """On which aircraft of the variant it is due."""
    words = ", ".join(named) or "every aircraft of the variant"
    if terms.modification_id:
        has = "has" if terms.fit == Terms.Fit.EMBODIED else "does not have"
        words += f", where it {has} modification {terms.modification}"
    return words


def terms_in_words(terms: Terms, named: Sequence[str]) -> list[list[str]]:
    """All terms, name and words, in the order of the page; lists, so that they can be kept as they are."""
    return [list(pair) for pair in _pairs(terms, named)]


def _pairs(terms: Terms, named: Sequence[str]) -> Iterator[tuple[str, str]]:
    yield "Title", terms.title or "as the procedure"
    yield "In the programme", "yes" if terms.active else "no"
    yield "Interval", interval_in_words(terms)
    yield "Valid to the end of the month", "yes" if terms.to_month_end else "no"
    if terms.before_season:
        yield "Counts for the season", f"when done {terms.season_window_days} days before its date, or fewer"
    yield "Tolerance", tolerance_in_words(terms)
    yield "Counting", str(terms.get_counting_display())
    yield "First due", first_in_words(terms)
    yield "Counts what was done from", f"{terms.counts_from:%d %b %Y}" if terms.counts_from else "ever"
    yield "Aircraft", aircraft_in_words(terms, named)
    yield "Reference", terms.reference or "none"
    yield "Hours of work", plain(terms.work_hours)


def changed(old: Sequence[Sequence[str]], new: Sequence[Sequence[str]]) -> list[tuple[str, str, str]]:
    """Name, old words and new words of each term that differs."""
    was, now = dict(old), dict(new)
    names = list(dict.fromkeys([*now, *was]))
    return [
        (name, was.get(name, "–"), now.get(name, "–")) for name in names if was.get(name) != now.get(name)
    ]
