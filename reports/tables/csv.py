"""CSV out: RFC 4180, safe to open in a spreadsheet, numbers left as numbers."""

import csv
import datetime as dt
import io
from collections.abc import Iterable, Sequence
from decimal import Decimal

Cell = str | int | float | Decimal | dt.date | dt.datetime | None
#: A cell that starts so may run as a formula in a spreadsheet (OWASP, CSV injection); quoting stops nothing.
_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")
_GUARD = "'"
_MARK = "\ufeff"  # without it spreadsheets take UTF-8 for something else


def csv_text(head: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    """A whole CSV file: byte order mark, one line of column names, rows of as many cells, CRLF after each.

    Dates and moments as in ISO 8601, None as an empty cell. ValueError for a row of another length.
    """
    out = io.StringIO()
    out.write(_MARK)
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([_cell(name) for name in head])
    for number, row in enumerate(rows, start=1):
        if len(row) != len(head):
            raise ValueError(f"row {number} has {len(row)} cells for {len(head)} columns")
        writer.writerow([_cell(cell) for cell in row])
    return out.getvalue()


def guarded(text: str) -> str:
    """Text that no spreadsheet runs: with an apostrophe before a start that would make a formula of it."""
    return _GUARD + text if text.startswith(_STARTS) or text.lstrip().startswith(_STARTS) else text


def _cell(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, str):
        return guarded(cell)
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, dt.date):  # a moment is a date too
        return cell.isoformat()
    return f"{cell:f}" if isinstance(cell, Decimal) else str(cell)
