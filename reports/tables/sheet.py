"""CSV in, as operators keep it: byte order mark or not, commas, semicolons or tabs, empty lines, quotes."""

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass

DELIMITERS = (";", "\t", ",")
LONGEST_CELL = 2_000


class SheetError(ValueError):
    """The file as a whole can't be read; the message says why and the way out."""


@dataclass(frozen=True)
class Row:
    """One line of data. line: number in the file, as an editor shows it. cells: text by column name."""

    line: int
    cells: Mapping[str, str]
    fault: str = ""  # what is wrong with the line as a whole


@dataclass(frozen=True)
class Sheet:
    """Column names as printed, and the lines that hold anything."""

    header: tuple[str, ...]
    rows: tuple[Row, ...]


def read_sheet(data: bytes, *, encoding: str = "utf-8") -> Sheet:
    """Read a CSV file; the first line that holds anything names the columns.

    SheetError where it is not text of that encoding, has no columns, or names one twice.
    """
    text = _decoded(data, encoding)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text), strict=True)
    lines = _lines(reader)
    first = next(lines, None)
    if first is None:
        raise SheetError("The file is empty. The first line names the columns.")
    header = tuple(cell.strip() for cell in first[1])
    _check_header(header)
    return Sheet(header, tuple(_row(line, cells, header) for line, cells in lines))


def _decoded(data: bytes, encoding: str) -> str:
    try:
        return data.decode("utf-8-sig" if encoding.lower() in ("utf-8", "utf8") else encoding)
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise SheetError(
            f"Line {line} is not {encoding} text. Save the sheet as CSV in UTF-8, or name its encoding "
            "(such as cp1252)."
        ) from error
    except LookupError as error:
        raise SheetError(f"No encoding is called {encoding!r}. Usual ones: utf-8, cp1252.") from error


def _delimiter(text: str) -> str:
    """The one of ; tab , that the line of column names holds most often."""
    heading = next((line for line in text.splitlines() if line.strip()), "")
    return max(DELIMITERS, key=heading.count)


def _lines(reader):
    """(line number, cells) of every line that holds anything."""
    begins = 1
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise SheetError(
                f"Line {begins}: {error}. Look for a quotation mark that is not closed."
            ) from error
        if any(cell.strip() for cell in cells):
            yield begins, cells
        begins = reader.line_num + 1


def _check_header(header: tuple[str, ...]) -> None:
    for name in header:
        if name and header.count(name) > 1:
            raise SheetError(f"Two columns are called {name!r}. Rename one.")


def _row(line: int, cells: list[str], header: tuple[str, ...]) -> Row:
    extra = [cell for cell in cells[len(header) :] if cell.strip()]
    fault = ""
    if extra:
        fault = f"{len(cells)} cells for {len(header)} columns; a text that holds the separator needs quotes"
    elif max(map(len, cells)) > LONGEST_CELL:
        fault = f"a cell holds more than {LONGEST_CELL} characters; shorten it"
    named = zip(header, cells, strict=False)
    return Row(line, {name: cell.strip() for name, cell in named if name}, fault)
