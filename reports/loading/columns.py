"""Which column holds what, in which unit and in which way of writing: declared, never guessed.

A column is declared in its own name, `pressure [[psi]]`, `date [DD.MM.YYYY]`, `hours [h, decimal comma]`, or
by the person who loads the file: `pressure=Port press.:[psi]`.
"""

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from checks.engine.units import NEVER_NEGATIVE, UNITS, parse_decimal, unit_of
from reports.loading.problems import Bad
from reports.tables.sheet import Row, Sheet, SheetError

_DECLARED = re.compile(r"^(?P<name>[^\[]+?)\s*(?:\[(?P<declared>.+)\])?$")
_DATE_PARTS = {"YYYY": r"(?P<y>\d{4})", "MM": r"(?P<m>\d{1,2})", "DD": r"(?P<d>\d{1,2})"}
DATE_WORDS = "written with YYYY, MM and DD, as DD.MM.YYYY"
DECIMAL_MARKS = {"decimal comma": ",", "decimal point": "."}
ISO = "YYYY-MM-DD"


@dataclass(frozen=True)
class Field:
    """What a kind of file may hold. kind: text, date, number or whole; quantity: of a number with a unit."""

    name: str
    kind: str = "text"
    required: bool = False
    quantity: str = ""
    unit: str = ""  # taken where nothing is declared; '' = a unit must be declared


@dataclass(frozen=True)
class Column:
    """A field found in a sheet, with what was declared of it."""

    field: Field
    header: str
    unit: str = ""
    date_format: str = ISO
    decimal_mark: str | None = None

    def text(self, row: Row) -> str:
        return row.cells.get(self.header, "")


@dataclass(frozen=True)
class Number:
    """A number as typed, the unit it was typed in, and its value."""

    typed: str
    unit: str
    value: Decimal


def find_columns(sheet: Sheet, fields: tuple[Field, ...], named: Mapping[str, str]) -> dict[str, Column]:
    """The columns of a sheet by field name. named: field -> 'header' or 'header:declared'.

    SheetError where a required one is missing, a name is unknown, or a declaration makes no sense.
    """
    known = {field.name: field for field in fields}
    for name in named:
        if name not in known:
            raise SheetError(f"There is no field {name!r}. Fields: {', '.join(known)}.")
    columns = {name: _named(known[name], told, sheet) for name, told in named.items()}
    for header in sheet.header:
        match = _DECLARED.match(header)
        name = match["name"].strip().lower() if match else ""
        if name in known and name not in columns:
            columns[name] = _column(known[name], header, match["declared"] or "")
    missing = [field.name for field in fields if field.required and field.name not in columns]
    if missing:
        raise SheetError(
            f"No column for {', '.join(missing)}. The file has: {', '.join(sheet.header)}. Rename one, "
            f"or name it: --column {missing[0]}=HEADER"
        )
    return columns


def unused(sheet: Sheet, columns: Mapping[str, Column]) -> list[str]:
    """Columns of the file that nothing reads."""
    taken = {column.header for column in columns.values()}
    return [header for header in sheet.header if header and header not in taken]


def _named(field: Field, told: str, sheet: Sheet) -> Column:
    header, _, declared = (told, "", "") if told in sheet.header else told.partition(":")
    if header not in sheet.header:
        raise SheetError(
            f"The file has no column {header!r} for {field.name}. It has: {', '.join(sheet.header)}."
        )
    return _column(field, header, declared)


def _column(field: Field, header: str, declared: str) -> Column:
    unit, date_format, mark = field.unit, ISO, None
    for word in (part.strip() for part in declared.split(",")):
        if not word:
            continue
        if word.lower() in DECIMAL_MARKS:
            mark = DECIMAL_MARKS[word.lower()]
        elif field.kind == "date":
            date_format = word.upper()
            _date_pattern(date_format)
        elif field.quantity:
            unit = _unit(field, word)
        else:
            raise SheetError(f"Column {header!r}: {word!r} says nothing about {field.name}.")
    if field.quantity and not unit:
        raise SheetError(f"Column {header!r} declares no unit. {_units_of(field)}")
    return Column(field, header, unit, date_format, mark)


def _unit(field: Field, word: str) -> str:
    for code in (word, f"[{word}]"):
        if code in UNITS and unit_of(code).quantity in _quantities(field):
            return code
    raise SheetError(f"{word!r} is no unit of {field.quantity}. {_units_of(field)}")


def _quantities(field: Field) -> set[str]:
    """A nozzle's flow is also kept as the volume of one minute."""
    return {"flow", "volume"} if field.quantity == "flow" else {field.quantity}


def _units_of(field: Field) -> str:
    usable = [code for code, unit in UNITS.items() if unit.quantity in _quantities(field)]
    return f"Units, as UCUM codes: {', '.join(usable)}. Write {field.name} [{usable[0]}]."


def _date_pattern(date_format: str) -> re.Pattern[str]:
    pattern = re.escape(date_format)
    for part, expression in _DATE_PARTS.items():
        if pattern.count(part) != 1:
            raise SheetError(f"{date_format!r} is no way to write a date: it is {DATE_WORDS}.")
        pattern = pattern.replace(part, expression)
    return re.compile(f"^{pattern}$")


def text_of(column: Column | None, row: Row) -> str:
    """The cell as text, '' where the file has no such column. Bad where it is required and empty."""
    text = column.text(row) if column else ""
    if column and column.field.required and not text:
        raise Bad(column.field.name, "is empty; fill it in")
    return text


def date_of(column: Column | None, row: Row) -> dt.date | None:
    """The date in the declared format, None for an empty cell. Bad names what is wrong."""
    text = text_of(column, row)
    if not text:
        return None
    match = _date_pattern(column.date_format).match(text)
    if not match:
        raise Bad(column.field.name, f"{text!r} is not a date written as {column.date_format}")
    try:
        return dt.date(int(match["y"]), int(match["m"]), int(match["d"]))
    except ValueError:
        raise Bad(column.field.name, f"{text!r} is no day of the calendar") from None


def number_of(column: Column | None, row: Row) -> Number | None:
    """The number with its unit, None for an empty cell. Bad names what is wrong."""
    text = text_of(column, row)
    if not text:
        return None
    try:
        value = parse_decimal(text, decimal_mark=column.decimal_mark)
    except ValueError as error:
        raise Bad(column.field.name, str(error)) from None
    if value < 0 and column.unit in UNITS and unit_of(column.unit).quantity in NEVER_NEGATIVE:
        raise Bad(column.field.name, f"{text!r} is less than nothing; write what was read, without a minus")
    return Number(text, column.unit, value)


def whole_of(column: Column | None, row: Row) -> int | None:
    """A whole number, None for an empty cell."""
    text = text_of(column, row)
    if not text:
        return None
    if not (text.isascii() and text.isdecimal() and len(text) < 10):
        raise Bad(column.field.name, f"{text!r} is not a whole number; write digits only, as 1520")
    return int(text)
