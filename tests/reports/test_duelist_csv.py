"""The CSV writer against RFC 4180, and what a spreadsheet must not run."""

import csv
import datetime as dt
import io
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reports.tables.csv import csv_text, guarded

STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


def read(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline="")))


def test_rfc_4180_by_hand() -> None:
    """RFC 4180, section 2: CRLF after each record, header line, quotes where needed, quotes doubled."""
    rows = [("a,b", 'say "so"', "two\r\nlines"), (" kept ", "", "é")]
    expected = (
        "\ufeffone,two,three\r\n"
        '"a,b","say ""so""","two\r\nlines"\r\n'
        " kept ,,é\r\n"
    )  # fmt: skip
    assert csv_text(("one", "two", "three"), rows) == expected


def test_values_stay_values() -> None:
    """Negative numbers begin with a minus sign and stay numbers; a date is ISO 8601; no exponent."""
    moment = dt.datetime(2025, 3, 12, 8, 5, tzinfo=dt.UTC)
    cells = (-5, Decimal("-65.30"), -0.5, Decimal("1E+3"), dt.date(2025, 3, 12), moment, None, True)
    assert read(csv_text("abcdefgh", [cells]))[1] == [
        "-5",
        "-65.30",
        "-0.5",
        "1000",
        "2025-03-12",
        "2025-03-12T08:05:00+00:00",
        "",
        "yes",
    ]


@pytest.mark.parametrize("start", STARTS)
def test_text_that_would_be_a_formula_is_guarded(start: str) -> None:
    """OWASP, CSV injection: cells that begin with = + - @ tab or carriage return."""
    text = f"{start}1+1"
    assert guarded(text) == f"'{text}"
    assert read(csv_text(["a"], [[text]]))[1] == [f"'{text}"]
    assert read(csv_text([text], []))[0] == [f"'{text}"]


@pytest.mark.parametrize("text", ["  =1+1", "\u00a0@SUM(A1)"])
def test_space_before_it_helps_nobody(text: str) -> None:
    assert guarded(text).startswith("'")


@pytest.mark.parametrize("text", ["", "Q-0001", "1 Oct", "a=b", "'quoted"])
def test_other_text_is_left_alone(text: str) -> None:
    assert guarded(text) == text


def test_a_row_of_another_length_is_refused() -> None:
    with pytest.raises(ValueError, match="row 2 has 1 cells for 2 columns"):
        csv_text(("a", "b"), [(1, 2), (1,)])


@given(st.lists(st.lists(st.text(), min_size=2, max_size=2), max_size=5))
def test_what_is_written_is_read_again(rows: list[list[str]]) -> None:
    """There and back by Python's own reader; no cell begins with what a spreadsheet would run."""
    back = read(csv_text(("a", "b"), rows))[1:]
    assert back == [[guarded(cell) for cell in row] for row in rows]
    assert not any(cell.startswith(STARTS) for row in back for cell in row)
