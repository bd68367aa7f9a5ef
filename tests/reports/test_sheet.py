"""CSV in: the ways in which spreadsheets write it."""

import pytest

from reports.tables.sheet import SheetError, read_sheet


@pytest.mark.parametrize("mark", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("bom", ["", "\ufeff"])
def test_separators_line_ends_and_byte_order_marks_make_no_difference(mark, end, bom):
    text = bom + end.join(
        [mark.join(["name", "value"]), mark.join(["a", "1"]), "", mark.join(["b", "2"]), ""]
    )
    sheet = read_sheet(text.encode())
    assert sheet.header == ("name", "value")
    assert [(row.line, dict(row.cells)) for row in sheet.rows] == [
        (2, {"name": "a", "value": "1"}),
        (4, {"name": "b", "value": "2"}),
    ]


def test_quotes_hold_separators_and_line_ends_as_rfc_4180_says():
    # RFC 4180 §2 rules 6 and 7: such fields are quoted, a quote inside is doubled.
    sheet = read_sheet(b'name,remark\r\n"a","one, two\r\n""three"""\r\nb,plain\r\n')
    assert sheet.rows[0].cells["remark"] == 'one, two\r\n"three"'
    assert sheet.rows[1].line == 4, "as an editor counts"


def test_a_short_row_has_empty_cells_and_a_long_one_is_named():
    short, long = read_sheet(b"a,b\n1\n1,2,3\n").rows
    assert (dict(short.cells), short.fault) == ({"a": "1"}, "")
    assert "3 cells for 2 columns" in long.fault


def test_empty_cells_past_the_last_column_do_no_harm():
    assert read_sheet(b"a,b\n1,2,,\n").rows[0].fault == ""


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"\n ;\n", "empty"),
        (b"a,a\n1,2\n", "Two columns"),
        ("name\nk\u00e4lte\n".encode("cp1252"), "Line 2 is not utf-8 text"),
        (b'a,b\n1,"2\n', "quotation mark"),
    ],
)
def test_a_file_that_can_not_be_read_says_why(data, words):
    with pytest.raises(SheetError, match=words):
        read_sheet(data)


def test_another_encoding_is_named_by_the_person():
    assert (
        read_sheet("name\nk\u00e4lte\n".encode("cp1252"), encoding="cp1252").rows[0].cells["name"] == "kälte"
    )
    with pytest.raises(SheetError, match="No encoding"):
        read_sheet(b"a\n1\n", encoding="cp9999")
