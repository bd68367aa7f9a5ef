"""Labels: what a filter leaves, each with a code that a decoder reads and that leads to the thing itself."""

import io

import pytest
from django.db import connection
from django.http import QueryDict
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader
from reportlab.pdfbase.pdfmetrics import stringWidth

from fleet.models import Aircraft, Fitment, Instrument, Operator, Part
from reports import labels
from reports.labels import KINDS, Label, LabelSheet, label_sheet
from reports.pdf import fonts
from reports.pdf.frame import Document, Furniture
from reports.pdf.labels import LARGEST, SMALLEST, fitting, labels_pdf
from reports.pdf.qr import QUIET, Code
from tests.checks.check_pages import logged_in
from tests.checks.conftest import NOON
from tests.reports.qr_reader import codes
from tests.world import World

SITE = "https://fleet.example"


def sheet_of(kind: str, /, **asked: str) -> LabelSheet:
    query = QueryDict(mutable=True)
    query.update(asked)
    return label_sheet(KINDS[kind], query)


def said(pdf: bytes) -> str:
    pages = PdfReader(io.BytesIO(pdf)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


@pytest.fixture
def client(world: World) -> Client:
    return logged_in(world, "controller1")


# --- the codes ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_every_code_is_read_and_leads_to_its_thing(world: World, client: Client, kind: str) -> None:
    sheet = sheet_of(kind)
    pdf = labels_pdf(sheet, "http://testserver")
    read = codes(pdf)
    assert sorted(read) == sorted(f"http://testserver{one.path}" for one in sheet.labels) and read
    rows = {"aircraft": Aircraft, "parts": Part, "instruments": Instrument.objects.filter(in_use=True)}[kind]
    assert len(read) == sheet.number == getattr(rows, "objects", rows).count()
    for address in read[:6]:
        assert client.get(address).status_code == 302
    assert all(one.code in said(pdf) for one in sheet.labels)


@settings(max_examples=20, deadline=None)
@given(st.text(st.characters(min_codepoint=33, max_codepoint=126), min_size=1, max_size=120))
def test_any_address_is_read_back(address: str) -> None:
    document = Document(Furniture("x", "y", NOON))
    document.add(Code(address, 120))
    assert codes(document.render()) == [address]


@pytest.mark.parametrize(("letters", "modules"), [(14, 21), (15, 25), (26, 25), (27, 29), (42, 29), (43, 33)])
def test_a_code_is_no_denser_than_the_standard_asks(letters: int, modules: int) -> None:
    """ISO/IEC 18004 table 7, level M, bytes: 14, 26, 42 in versions 1, 2, 3 of 21, 25, 29 modules (recalled,
    not looked up here). Four light modules stand all round."""
    assert len(Code("a" * letters, 100).rows) == modules
    assert QUIET == 4


def test_the_printed_module_is_no_smaller_than_a_phone_reads(world: World) -> None:
    """Common practice, no source: 0.33 mm for a printed module read by a phone."""
    from reports.pdf.labels import QR

    long = Code(f"https://weepwatch.operator.example:8443/l/instrument/{'a' * 24}/", QR)
    assert QR / (len(long.rows) + 2 * QUIET) * 25.4 / 72 >= 0.33


# --- what is chosen ----------------------------------------------------------------------------------------


def test_aircraft_by_base_variant_and_registration(world: World) -> None:
    assert [one.code for one in sheet_of("aircraft").labels] == ["Q-0000", "Q-0001"]
    forward = sheet_of("aircraft", variant=str(world.forward.variant_id))
    assert [one.code for one in forward.labels] == ["Q-0000"]
    assert forward.words == "variant forward installation"
    assert sheet_of("aircraft", base=str(world.master.bases["north"].pk)).number == 2
    Aircraft.objects.filter(pk=world.forward.pk).update(state=Aircraft.State.LEFT)
    assert [one.code for one in sheet_of("aircraft", registration="q-00").labels] == ["Q-0001"]


def test_parts_by_where_they_are_fitted_now(world: World) -> None:
    fitted = Fitment.objects.filter(aircraft=world.forward, removed_on=None)
    mine = sheet_of("parts", aircraft="q-0000")
    assert mine.number == fitted.count() > 5
    assert {one.path for one in mine.labels} == {f"/l/part/{one.part_id}/" for one in fitted}
    panels = sheet_of("parts", aircraft="Q-0000", kind="panel")
    assert 0 < panels.number < mine.number
    assert sheet_of("parts", base=str(world.master.bases["north"].pk)).number == Part.objects.count()
    gone = fitted.first()
    Fitment.objects.filter(pk=gone.pk).update(removed_on=world.today)
    assert sheet_of("parts", aircraft="Q-0000").number == mine.number - 1
    assert sheet_of("parts", number=gone.part.serial_number).number == 1


def test_instruments_in_use_by_kind_code_and_base(world: World) -> None:
    gauges = sheet_of("instruments", kind="gauge")
    assert gauges.number == Instrument.objects.filter(kind="gauge", in_use=True).count()
    assert [one.code for one in sheet_of("instruments", code="AUGE-1").labels] == ["gauge-1", "port-gauge-1"]
    Instrument.objects.filter(code="gauge-1").update(in_use=False)
    assert sheet_of("instruments", kind="gauge").number == gauges.number - 1
    base = sheet_of("instruments", base=str(world.master.bases["north"].pk))
    assert base.number == Instrument.objects.filter(base__code="north", in_use=True).count()


def test_nothing_that_changes_stands_on_a_label(world: World) -> None:
    """A part moves and a calibration ends: the label stays true."""
    part, instrument = sheet_of("parts", aircraft="Q-0000").labels[0], sheet_of("instruments").labels[0]
    assert "Q-0000" not in " ".join(part.lines)
    assert not any(sign in " ".join(instrument.lines).lower() for sign in ("due", "2024", "2025", "2026"))


def test_more_than_are_printed_at_once_is_said(world: World, client: Client, monkeypatch) -> None:
    monkeypatch.setattr(labels, "MOST", 3)
    sheet = sheet_of("instruments")
    assert len(sheet.labels) == 3 and sheet.number > 3
    assert f"{sheet.number - 3} more fit the filter and are not here" in said(labels_pdf(sheet, SITE))


# --- paper -------------------------------------------------------------------------------------------------


def test_several_on_a_sheet_with_code_words_and_address(world: World) -> None:
    pdf = labels_pdf(sheet_of("instruments"), SITE)
    assert len(PdfReader(io.BytesIO(pdf)).pages) == 1
    words = said(pdf)
    assert "fleet.example/l/instrument/gauge-1/" in "".join(words.split()) and "Pressure gauge" in words
    assert f"leading to {SITE}" in words and "no calibration label" in words


def test_the_mark_of_the_demo_is_on_every_label(world: World) -> None:
    sheet = sheet_of("aircraft")
    assert said(labels_pdf(sheet, SITE)).count("DEMO, invented") == 2
    Operator.objects.update(is_demo=False)
    assert "DEMO" not in said(labels_pdf(sheet_of("aircraft"), SITE))


def test_hostile_and_endless_codes_are_printed_as_typed_and_stay_inside() -> None:
    typed = ["<b>&x", "W" * 40, "漢字", "", "x\u202ey"]
    made = tuple(Label(code, (code * 9, code), f"/l/part/{n}/") for n, code in enumerate(typed))
    sheet = LabelSheet("x", False, NOON, "Parts", "all of them", len(made), made)
    pdf = labels_pdf(sheet, SITE)
    assert len(codes(pdf)) == len(typed) and "<b>&x" in said(pdf) and "\u202e" not in said(pdf)
    assert all("/Annots" not in page for page in PdfReader(io.BytesIO(pdf)).pages)


@pytest.mark.parametrize(("code", "size"), [("A", LARGEST), ("W" * 90, SMALLEST), ("", LARGEST)])
def test_the_size_of_a_code_has_two_ends(code: str, size: float) -> None:
    assert fitting(code, 150) == size


@given(st.text(st.characters(codec="ascii", exclude_categories=["Cc"]), min_size=1, max_size=18))
def test_a_code_fits_its_label_unless_it_is_at_its_smallest(code: str) -> None:
    size = fitting(code, 156)
    assert stringWidth(code, fonts.BOLD, size) <= 156.001 or size == SMALLEST


# --- pages -------------------------------------------------------------------------------------------------


def test_the_page_shows_what_will_be_printed_and_where_it_leads(client: Client, world: World) -> None:
    page = client.get(reverse("reports:labels", args=["instruments"]), {"code": "gauge-1"}).content.decode()
    assert "2 labels: code gauge-1." in page and "<strong>http://testserver</strong>" in page
    assert f"{reverse('reports:labels_pdf', args=['instruments'])}?code=gauge-1" in page
    assert 'href="/l/instrument/port-gauge-1/"' in page
    none = client.get(reverse("reports:labels", args=["parts"]), {"number": "nothing so"}).content.decode()
    assert "Nothing fits this filter" in none


def test_the_file_holds_what_the_page_shows(client: Client, world: World) -> None:
    answer = client.get(reverse("reports:labels_pdf", args=["instruments"]), {"code": "port-gauge-1"})
    assert answer["Content-Disposition"] == 'attachment; filename="labels-instruments-2025-03-12.pdf"'
    assert codes(answer.content) == ["http://testserver/l/instrument/port-gauge-1/"]


def test_the_address_is_the_one_that_the_person_uses(client: Client, world: World) -> None:
    where = reverse("reports:labels_pdf", args=["aircraft"])
    answer = client.get(where, {"registration": "Q-0000"}, secure=True, headers={"host": "localhost:8443"})
    assert codes(answer.content) == ["https://localhost:8443/l/aircraft/Q-0000/"]


def test_a_filter_that_is_not_understood_is_explained(client: Client, world: World) -> None:
    answer = client.get(reverse("reports:labels_pdf", args=["aircraft"]), {"base": "x"}, follow=True)
    assert answer.redirect_chain and "The filter was not understood" in answer.content.decode()


def test_strangers_and_kinds_that_are_none(client: Client, world: World, outsider, client_of) -> None:
    for name in ("reports:labels", "reports:labels_pdf"):
        where = reverse(name, args=["parts"])
        assert Client().get(where).status_code == 302
        assert client_of(outsider).get(where).status_code == 403
        assert client.post(where).status_code == 405
        assert client.get(reverse(name, args=["people"])).status_code == 404


def test_the_pages_lead_to_the_labels(client: Client, world: World) -> None:
    ways = {
        reverse("checks:instruments"): "/reports/labels/instruments/",
        reverse("checks:instrument_detail", args=["gauge-1"]): "/reports/labels/instruments/?code=gauge-1",
        reverse("checks:aircraft_list"): "/reports/labels/aircraft/",
        reverse("checks:aircraft", args=["Q-0000"]): "/reports/labels/parts/?aircraft=Q-0000",
    }
    for page, way in ways.items():
        assert f'href="{way}"' in client.get(page).content.decode()
        assert client.get(way).status_code == 200


def test_two_ask_as_much_as_twenty_two(world: World) -> None:
    counts = []
    for more in (2, 20):
        known = Part.objects.count()
        Part.objects.bulk_create(
            Part(part_number="P", serial_number=f"{known + n}", kind="panel") for n in range(more)
        )
        with CaptureQueriesContext(connection) as asked:
            labels_pdf(sheet_of("parts", number="P"), SITE)
        counts.append(len(asked))
    assert counts == [3, 3]
