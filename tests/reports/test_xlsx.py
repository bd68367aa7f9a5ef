"""The workbook and the JSON of a list: typed cells, nothing that runs. openpyxl is the outside reader."""

import datetime as dt
import io
import json
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook

from reports.tables.jsonlist import json_text
from reports.tables.xlsx import LONGEST, xlsx_bytes

AT = dt.datetime(2025, 3, 12, 8, 5, tzinfo=dt.UTC)


def sheet_of(content: bytes):
    return load_workbook(io.BytesIO(content))["List"]


def test_cells_are_typed() -> None:
    there = dt.datetime(2025, 3, 12, 9, 5, tzinfo=dt.timezone(dt.timedelta(hours=1)))
    cells = (-5, Decimal("-65.30"), 0.5, dt.date(2025, 3, 12), there, None, True, "text", "")
    sheet = sheet_of(xlsx_bytes("list", "abcdefghi", [cells]))
    (found,) = sheet.iter_rows(min_row=2)
    assert [cell.value for cell in found] == [
        -5,
        -65.3,
        0.5,
        dt.datetime(2025, 3, 12),
        AT.replace(tzinfo=None),
        None,
        True,
        "text",
        None,
    ]
    assert [cell.data_type for cell in found] == ["n", "n", "n", "d", "d", "n", "b", "s", "n"]
    assert found[3].number_format == "yyyy-mm-dd" and "UTC" in found[4].number_format


@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "http://example.org/", "mailto:a@b", "{=1}", "\x00a\x1f"]
)
def test_text_stays_text(text: str) -> None:
    sheet = sheet_of(xlsx_bytes("list", ["a"], [[text]]))
    cell = sheet["A2"]
    assert cell.data_type == "s" and cell.hyperlink is None
    assert not sheet._hyperlinks


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(st.text(max_size=60), st.integers(-(10**9), 10**9)), max_size=8))
def test_any_text_is_read_again_and_never_a_formula(rows: list[tuple[str, int]]) -> None:
    sheet = sheet_of(xlsx_bytes("list", ("text", "number"), rows))
    for (text, number), (one, two) in zip(rows, sheet.iter_rows(min_row=2), strict=True):
        assert two.value == number
        assert one.data_type in ("s", "n") and (one.value is None) == (text == "")


def test_a_text_too_long_for_a_cell_is_cut() -> None:
    assert len(sheet_of(xlsx_bytes("list", ["a"], [["x" * 40_000]]))["A2"].value) == LONGEST


def test_a_row_of_another_length_is_refused() -> None:
    with pytest.raises(ValueError, match="row 2 has 1 cells for 2 columns"):
        xlsx_bytes("list", ("a", "b"), [(1, 2), (1,)])
    with pytest.raises(ValueError, match="zip"):
        json_text("list", ("a", "b"), [(1,)], AT)


def test_json_says_what_it_is() -> None:
    rows = [(dt.date(2025, 3, 12), Decimal("4312.60"), None, "=1+1", True, AT)]
    told = json.loads(json_text("due", "abcdef", rows, AT))
    assert told == {
        "list": "due",
        "made_at": "2025-03-12T08:05:00+00:00",
        "columns": list("abcdef"),
        "rows": [
            {
                "a": "2025-03-12",
                "b": 4312.6,
                "c": None,
                "d": "=1+1",
                "e": True,
                "f": "2025-03-12T08:05:00+00:00",
            }
        ],
    }


def test_an_empty_list_is_a_head_alone() -> None:
    assert [*sheet_of(xlsx_bytes("list", ("a", "b"), [])).iter_rows(values_only=True)] == [("a", "b")]
