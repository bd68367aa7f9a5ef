"""Reliability on paper: rates by variant and position with alert levels, lives between purges."""

from checks.charts.wording import day_words
from checks.selectors.reliability import BASIS, Line, Report, figure, hours_words, lives_words
from reports.pdf.frame import Shown, list_document, table

# Column, width in points, whether digits stand to the right; the widths fill a landscape A4 sheet.
COLUMNS = (
    ("Place", 130, False),
    ("Counted", 126, False),
    ("Last 12 months", 74, True),
    ("Per 1,000 h", 64, True),
    ("9 of 10 lie in", 90, True),
    ("36 months before", 80, True),
    ("Per 1,000 h then", 78, True),
    ("Alert from", 54, True),
    ("Beside before", 62, False),
)
LIVES = (("Variant", 150), ("Aircraft", 54), ("Lives", 44), ("First", 60), ("Newest", 60), ("", 390))


def reliability_pdf(report: Report, operator: str, is_demo: bool) -> bytes:
    """The report as a PDF, landscape A4."""
    document = list_document(operator, f"Reliability as of {day_words(report.today)}", is_demo=is_demo)
    document.text(
        f"From {day_words(report.now.since)} to {day_words(report.now.until)}, beside the 36 months before. "
        f"{len(report.alerts) or 'No'} alert{'' if len(report.alerts) == 1 else 's'}."
    )
    names, widths, right = zip(*COLUMNS, strict=True)
    numeric = [place for place, digits in enumerate(right) if digits]
    for one in report.lives:
        document.heading(one.variant.capitalize())
        document.text(f"Per 1,000 flight hours: {hours_words(report, one.variant)}.", small=True)
        lines = [_line(line) for line in report.lines if line.variant == one.variant]
        document.add(table(names, lines, widths, numeric))
    document.heading("Time between purges")
    document.text(
        "Median days of the first and of the newest lives; the life that lasts is not counted.", small=True
    )
    rows = [
        (
            one.variant,
            str(one.aircraft),
            str(one.lives),
            figure(one.early, 0),
            figure(one.late, 0),
            lives_words(one),
        )
        for one in report.lives
    ]
    document.add(table([name for name, _ in LIVES], rows, [width for _, width in LIVES], range(1, 5)))
    if report.hours_unknown:
        document.text(f"Without flight hours in these years: {', '.join(report.hours_unknown)}.", small=True)
    document.text(BASIS, small=True)
    return document.render()


def _line(line: Line) -> tuple[str | Shown, ...]:
    low, high = line.range or (None, None)
    return (
        line.place,
        line.what,
        f"{line.now.events:g}",
        figure(line.now.rate),
        f"{figure(low)} to {figure(high)}" if line.range else "–",
        f"{line.before.events:g}",
        figure(line.before.rate),
        "–" if line.alert is None else str(line.alert),
        Shown(line.state) if line.counted else "no count",
    )
