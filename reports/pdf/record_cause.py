"""The likely cause on paper: group first, at most three causes, what tells them apart, what stays unseen."""

import datetime as dt
from collections.abc import Callable

from reportlab.platypus import Flowable

from reports.pdf.frame import paragraph, table
from reports.pdf.text import SMALL
from reports.record_cause import CauseTold

NOT_SIGNED = (
    "Worked out anew while this sheet was made, from this check and what was signed before it. It is no part "
    "of what was signed."
)


def likely_cause(told: CauseTold, when: Callable[[dt.datetime], str]) -> list[Flowable]:
    """The section's parts."""
    made: list[Flowable] = []
    for one in told.confirmed:
        made.append(paragraph(f"Confirmed: {one.text.rstrip('.')}. Recorded by {one.by}, {when(one.at)}."))
    if told.said is None:
        made.append(paragraph(told.why_not))
    else:
        share = f" ({told.said.group_share})" if told.said.group_share else ""
        made.append(paragraph(f"{told.said.headline}{share}"))
        made += [paragraph(words) for words in (told.said.doubt, told.said.cell) if words]
        if told.said.causes:
            rows = [
                (
                    one.label + (f": {one.panel}" if one.panel else ""),
                    f"{one.share}, {one.word}",
                    one.further_check,
                )
                for one in told.said.causes
            ]
            made.append(table(("Cause", "How likely", "To tell it apart"), rows, (150, 120, 241)))
    if told.beside:
        read = "; ".join(f"{name} {ratio}" for name, ratio in told.beside)
        made.append(paragraph(f"{told.baseline}: {read}.", SMALL))
    made += [paragraph(words, SMALL) for words in told.notes]
    caveats = told.caveats if told.said else ()
    return [*made, paragraph(" ".join((*caveats, NOT_SIGNED)), SMALL)]
