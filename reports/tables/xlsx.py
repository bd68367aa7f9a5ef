"""A list as an Excel workbook: typed cells, a head that stays, filters; text never runs as a formula."""

import datetime as dt
from collections.abc import Iterable, Sequence
from decimal import Decimal
from io import BytesIO

from reports.tables.csv import Cell

WIDEST = 60  # characters
LONGEST = 32_767  # characters of a cell, as the format has it
_FORMATS = {"date": "yyyy-mm-dd", "moment": 'yyyy-mm-dd hh:mm:ss" UTC"'}


def xlsx_bytes(title: str, head: Sequence[str], rows: Iterable[Sequence[Cell]]) -> bytes:
    """A workbook of one sheet: names of the columns, then rows of as many cells, written as they come.

    Dates and moments are dates, numbers are numbers; a moment is in UTC, since a cell holds no zone. None is
    an empty cell. ValueError for a row of another length.
    """
    from xlsxwriter import Workbook  # slow to import

    target = BytesIO()
    options = {"constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    with Workbook(target, options) as book:
        book.set_properties({"title": title, "author": "Weepwatch"})
        sheet = book.add_worksheet("List")
        formats = {name: book.add_format({"num_format": code}) for name, code in _FORMATS.items()}
        bold = book.add_format({"bold": True})
        for column, name in enumerate(head):
            sheet.set_column(column, column, min(max(len(name) + 4, 12), WIDEST))
        sheet.freeze_panes(1, 1)
        for column, name in enumerate(head):
            sheet.write_string(0, column, name, bold)
        number = 0
        for number, row in enumerate(rows, start=1):
            if len(row) != len(head):
                raise ValueError(f"row {number} has {len(row)} cells for {len(head)} columns")
            for column, cell in enumerate(row):
                _write(sheet, number, column, cell, formats)
        sheet.autofilter(0, 0, number, len(head) - 1)
    return target.getvalue()


def _write(sheet, number: int, column: int, cell: Cell, formats: dict) -> None:
    if cell is None or cell == "":
        return
    if isinstance(cell, bool):
        sheet.write_boolean(number, column, cell)
    elif isinstance(cell, int | float | Decimal):
        sheet.write_number(number, column, float(cell))
    elif isinstance(cell, dt.datetime):
        moment = cell.astimezone(dt.UTC).replace(tzinfo=None) if cell.tzinfo else cell
        sheet.write_datetime(number, column, moment, formats["moment"])
    elif isinstance(cell, dt.date):
        sheet.write_datetime(number, column, cell, formats["date"])
    else:
        sheet.write_string(number, column, str(cell)[:LONGEST])
