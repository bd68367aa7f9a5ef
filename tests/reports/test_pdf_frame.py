"""Sheets of paper: furniture, embedded type, and typed text that never acts."""

import datetime as dt
import re
from io import BytesIO

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader
from reportlab import rl_config
from reportlab.pdfbase.pdfmetrics import stringWidth

from checks.charts.builders import series_scene
from fleet import shapes
from reports.pdf import fonts
from reports.pdf.chart import drawing
from reports.pdf.frame import DEMO, UNCONTROLLED, Document, Furniture, Shown, cautions, facts, safe, table
from reports.pdf.frame import moment as moment_words
from reports.pdf.text import CAP, literal, wrapped

MADE = dt.datetime(2026, 11, 25, 13, 46, tzinfo=dt.UTC)
HOSTILE = [
    "port<limit",
    "x <b>bold",
    '<img src="/etc/hostname"/>',
    '<img src="http://127.0.0.1:9/x.png" width="10" height="10"/>',
    '<a href="javascript:alert(1)">press</a>',
    "<para><font size=900>",
    "&nbsp; &#0; &unknown;",
    "]]> <!-- x",
    "a\x00b\x07c\x1bd\u202ee",
]


def furniture(**more: object) -> Furniture:
    return Furniture("Skerry Isles Air Link", "Due list", MADE, **more)


def read(document: Document) -> PdfReader:
    return PdfReader(BytesIO(document.render()))


def text_of(reader: PdfReader) -> str:
    return "\n".join(page.extract_text() for page in reader.pages)


def fonts_of(reader: PdfReader) -> dict[str, bool]:
    """Every font that a page names, and whether its file is inside the document."""
    found = {}
    for page in reader.pages:
        for font in page["/Resources"].get("/Font", {}).values():
            font = font.get_object()
            about = font.get("/FontDescriptor")
            found[font["/BaseFont"]] = about is not None and "/FontFile2" in about.get_object()
    return found


# --- furniture ----------------------------------------------------------------------------------------
def test_every_sheet_says_who_what_which_and_of_how_many():
    document = Document(furniture(aircraft="Q-AAAC", record="000123", is_demo=True))
    document.add(table(["No."], [[str(k)] for k in range(120)], [60]))
    reader = read(document)
    assert len(reader.pages) > 1
    for number, page in enumerate(reader.pages, 1):
        words = " ".join(page.extract_text().split())
        assert re.search(rf"page {number} of {len(reader.pages)}\b", words)
        for said in ("Skerry Isles Air Link", "Due list", "Q-AAAC", "Record 000123", UNCONTROLLED, DEMO):
            assert said in words
        assert "Made 25 Nov 2026 13:46 UTC" in words


def test_marks_stand_only_where_they_are_meant():
    document = Document(furniture(uncontrolled=False))
    document.text("body")
    words = text_of(read(document))
    assert UNCONTROLLED not in words
    assert "DEMONSTRATION" not in words
    assert "Record" not in words


def test_metadata_language_and_bookmarks():
    document = Document(furniture(aircraft="Q-AAAC", subject="What is due"))
    document.heading("First <b>")
    document.heading("Under it", 3)
    document.heading("Second")
    reader = read(document)
    assert reader.metadata.title == "Due list – Q-AAAC"
    assert reader.metadata.author == "Skerry Isles Air Link"
    assert reader.metadata.subject == "What is due"
    assert reader.trailer["/Root"]["/Lang"] == "en-GB"
    first, under, second = reader.outline
    assert (first.title, under[0].title, second.title) == ("First <b>", "Under it", "Second")


@pytest.mark.parametrize(
    ("hours", "words"),
    [(0, "25 Nov 2026 13:46 UTC"), (-3.5, "25 Nov 2026 10:16 UTC-03:30"), (1, "25 Nov 2026 14:46 UTC+01:00")],
)
def test_the_moment_names_its_distance_from_utc(hours, words):
    zone = dt.timezone(dt.timedelta(hours=hours))
    assert moment_words(MADE.astimezone(zone)) == words


def test_a_moment_without_zone_is_refused():
    with pytest.raises(ValueError, match="time zone"):
        Furniture("x", "y", dt.datetime(2026, 11, 25))


def test_an_empty_report_says_so():
    assert "Nothing to report." in text_of(read(Document(furniture())))


# --- type -------------------------------------------------------------------------------------------------
def test_all_fonts_are_embedded_and_none_is_fetched():
    document = Document(furniture(is_demo=True))
    document.heading("Heading")
    document.add(facts([("Limit", "≤ 5 °C"), ("Outcome", Shown("over limit"))], document.width))
    document.add(*cautions([("warning", "w"), ("caution", "c"), ("note", "n")], document.width))
    document.add(table(["a"], [["b"]], [50]))
    document.add(drawing(series_scene([(0, 60), (1, 90)]), document.width - 2))
    found = fonts_of(read(document))
    assert found
    assert {name for name, embedded in found.items() if not embedded} == set()
    assert rl_config.trustedHosts is None


def test_the_signs_of_the_trade_are_covered_and_others_are_marked():
    signs = "°²³≤≥±–—−·×µ½…“”‘’éøåßčŁ€"
    assert fonts.printable(signs) == signs
    assert fonts.printable("ok 漢") == f"ok {fonts.REPLACEMENT}"
    document = Document(furniture())
    document.text(signs)
    assert signs in text_of(read(document))


# --- typed text --------------------------------------------------------------------------------------------
@pytest.mark.parametrize("typed", HOSTILE)
def test_typed_text_is_printed_and_never_acts(typed):
    document = Document(Furniture(typed, typed, MADE, typed, typed))
    document.heading(typed)
    document.text(typed)
    document.add(facts([(typed, typed)], document.width), *cautions([("note", typed)], document.width))
    document.add(table([typed], [[typed], [Shown("over limit", typed)], [Shown(typed)]], [200]))
    reader = read(document)
    squeezed = "".join(text_of(reader).split())
    assert "".join(literal(typed).split())[:20] in squeezed
    for page in reader.pages:
        assert "/Annots" not in page
        assert [image.name for image in page.images] == []


@settings(max_examples=40, deadline=None)
@given(st.text(max_size=300))
def test_any_text_makes_a_document(typed):
    document = Document(furniture(aircraft=typed))
    document.text(typed)
    document.add(facts([("x", typed)], document.width), table(["x"], [[typed]], [90]))
    assert len(read(document).pages) >= 1


def test_control_and_direction_signs_go_and_line_breaks_stay():
    assert safe("a\x00b\x1b\u202ec\r\nd\te<") == "abc<br/>d e&lt;"
    assert literal(None) == ""


def test_a_very_long_text_is_cut_with_words_that_say_so():
    cut = literal("x" * (CAP + 7))
    assert cut.startswith("x" * CAP + " … (cut here; 7 more characters")
    assert literal("x" * CAP) == "x" * CAP


# --- tables -----------------------------------------------------------------------------------------------
def test_no_row_is_lost_and_the_head_stands_on_every_sheet():
    rows = [[f"row-{k:04d}", "remark " * (k % 7), Shown("due soon")] for k in range(300)]
    document = Document(furniture())
    document.add(table(["Number", "Remark", "State"], rows, [80, 200, 100]))
    reader = read(document)
    assert re.findall(r"row-\d{4}", text_of(reader)) == [f"row-{k:04d}" for k in range(300)]
    for page in reader.pages:
        assert page.extract_text().count("Number") == 1
        assert "due soon" in page.extract_text()


def test_a_cell_without_end_still_fits_on_a_sheet():
    document = Document(furniture())
    document.add(table(["a", "b"], [["word " * 3000, "x"], ["W" * 3000, "y"]], [60, 60]))
    words = text_of(read(document))
    assert "…" in words
    assert "y" in words


def test_rows_of_other_lengths_are_refused_and_none_is_said():
    with pytest.raises(ValueError, match="needs 2 cells"):
        table(["a", "b"], [["only one"]], [50, 50])
    document = Document(furniture())
    document.add(table(["a"], [], [50]))
    assert "Nothing to list." in text_of(read(document))


@given(st.text(st.characters(codec="latin-1", exclude_categories=["Cc"]), max_size=200), st.integers(12, 200))
def test_wrapped_lines_fit_and_keep_every_letter(text, width):
    lines = wrapped(text, width, fonts.PLAIN, 7.5)
    assert all(len(line) == 1 or stringWidth(line, fonts.PLAIN, 7.5) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


@pytest.mark.parametrize("key", ["over limit", "borderline", "within limit", "draft"])
def test_a_state_is_drawn_with_its_word(key):
    document = Document(furniture())
    document.add(table(["State"], [[Shown(key, "by 3 kPa")]], [150]))
    reader = read(document)
    assert f"{shapes.STATES[key].word} by 3 kPa" in text_of(reader)
    forms = [name for name in reader.pages[0]["/Resources"]["/XObject"] if shapes.STATES[key].shape in name]
    assert len(forms) == 1
