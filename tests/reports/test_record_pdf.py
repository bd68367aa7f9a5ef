"""The sheets of a record: every item that a record must carry, typed text that never acts, fair pages.

What 14 CFR 43.9(a) asks is known from several quotations that agree; what 43.11(a) asks was read in a copy of
the regulation (faraim.org); 43.11(b) is from memory. The wording is not theirs.
"""

import re
import time

import pytest
import time_machine
from django.db import connection
from pypdf import PdfReader

from checks.models import CheckEvent, Reading
from fleet.models import Operator
from reports.record import check_record
from tests.checks.work import performed
from tests.guards import guards_lifted
from tests.reports import record_cases as cases
from tests.reports.record_cases import flat, paper, reader
from tests.world import World

HOSTILE = '<b>x</b> <img src="/etc/hostname"/> &unknown; ]]> port<limit \x07\x1b\u202e'

#: (asked by, words on paper) of a check within its limits, released. Ours: what this tool asks of itself.
ITEMS = [
    (
        "14 CFR 43.9(a), description of the work",
        "Work done: Pressure and flow check, carried out by procedure",
    ),
    (
        "14 CFR 43.9(a), reference to data",
        "Reference: Invented example, no approved data: demo manual, chapter 30",
    ),
    ("14 CFR 43.9(a), date of completion", "Date of work (completed) 12 Mar 2025"),
    (
        "14 CFR 43.9(a), who did the work",
        "PERFORMED Technician 1 invented mechanic certificate No. DEMO-T-001",
    ),
    (
        "14 CFR 43.9(a), approver's signature and certificate",
        "RELEASED TO SERVICE Releaser 1 invented release",
    ),
    ("14 CFR 43.9(a), approver's certificate number", "No. DEMO-R-001"),
    ("14 CFR 43.11(a), type", "Type of inspection Pressure and flow check Date 12 Mar 2025"),
    (
        "14 CFR 43.11(a), brief extent",
        "Extent: System pressure, propeller nozzle flow and wetness of every panel.",
    ),
    ("14 CFR 43.11(a), total time", "Aircraft total time 2000.00 h"),
    (
        "14 CFR 43.11(a), approved or disapproved",
        "Approved for return to service as far as this work goes: Releaser 1",
    ),
    ("14 CFR 43.11(b), discrepancies", "List of discrepancies: none recorded in this check."),
    ("ours: dates of work and signing", "Signed as performed 12 Mar 2025 12:00 UTC"),
    ("ours: procedure and revision", "pressure-flow, revision 2"),
    ("ours: JASC code", "JASC code 3010"),
    ("ours: authorisation relied on", "Authorisation DEMO-A-"),
    ("ours: statement", "I carried out the work recorded here on the date of work by its revision."),
    ("ours: instrument and certificate", "DEMO-GAUGE-1 0 to 600 kPa, ±0.5 % of full scale"),
    ("ours: calibration due", "Calibration due"),
    ("ours: outcome", "within limit"),
    ("ours: margin and U", "96 kPa 20 °C at most 137.5 kPa 41.5 kPa 5.2 kPa"),
    (
        "ours: reasons",
        "Reasons of the outcome: system test port: 96 kPa against upper limit 137.5 kPa at 20 °C",
    ),
    ("ours: blind spot", "a single blocked panel hardly moves either"),
    ("ours: no single panel named", "This installation has no panel ports"),
    (
        "ours: readings as typed and canonical",
        "system test port, series gauge-1 settled here 4:00 96 kPa 96 kPa",
    ),
    (
        "ours: limits used",
        "Limits used – system test port: Invented example: system test port; linear between rows",
    ),
    ("ours: series drawn", "since the pump started, min"),
    ("ours: limits drawn", "uncertainty, k = 2"),
    ("ours: every panel", "17 left wing outboard satisfactory 17 left wing inboard satisfactory"),
    ("ours: cautions followed", "Work at height: use a stand with rails at wing and tail"),
    ("ours: put back", "Put back: Tags removed, breakers closed, switches off."),
    ("ours: pump", "Pump 2 Mode high Supply voltage 27.8 V"),
    ("ours: gauge height", "0.4 m above the port"),
    ("ours: place of the temperature", "line at the port (measured)"),
    ("ours: remarks", "Remarks: Calm, dry, in the hangar."),
    ("ours: no second signature", "No second signature is asked for by this task."),
    ("ours: chain", "Hash of the link before"),
    ("ours: checked", "the stored rows are those that were signed"),
    ("ours: it decides nothing", "It releases no aircraft: an authorised person does, under a signature."),
    ("ours: demo", "DEMONSTRATION – invented aircraft"),
    ("ours: uncontrolled", "Uncontrolled when printed"),
    ("ours: record number", "Record Q-0000/00001"),
]


@pytest.fixture
def sheets(world: World) -> str:
    return paper(cases.within(world))


def test_every_item_is_on_paper(sheets: str) -> None:
    missing = [f"{source}: {words}" for source, words in ITEMS if words not in sheets]
    assert missing == []


def test_a_borrowed_instrument_names_its_owner(world: World) -> None:
    gauge = world.instrument("gauge-1")
    gauge.owner = "Lender 1"
    gauge.save()
    words = paper(performed(world, world.forward))
    assert "of Lender 1" in words and "of Skerry Isles Air Link" not in words


def test_hashes_and_certificates_are_those_on_record(world: World) -> None:
    event = cases.within(world)
    solid = re.sub(r"\s", "", paper(event))
    for signature in event.signatures.select_related("record"):
        assert signature.record.hash in solid and signature.record.previous_hash in solid
        assert re.sub(r"\s", "", f"Authorisation {signature.authorisation}") in solid
    for reading in event.readings.exclude(calibration=None).select_related("calibration"):
        due = reading.calibration.due_on
        assert reading.calibration.certificate_number in solid and f"{due.day}{due:%b%Y}" in solid


def test_what_is_not_signed_says_so(world: World) -> None:
    """14 CFR 43.11(a): approved or disapproved, by a person; here nobody did either."""
    words = paper(cases.deferred(world))
    assert "RELEASED TO SERVICE Not released." in words
    assert "Approved or disapproved: neither. No person has approved the aircraft" in words
    assert "Approved for return" not in words
    assert "List of discrepancies: – system test port: 310 kPa against upper limit 137.5 kPa" in words
    assert "– left wing outboard: dry area" in words and "not satisfactory – dry area" in words
    assert "MEL item 30-10-01, category C: 10 days, recorded 12 Mar 2025, last day 22 Mar 2025." in words
    said = "Invented example: no flight into known or forecast icing."
    assert f"Holds against flight in icing. Limitation: {said}" in words
    assert "Controller 1" in words and "deferred" in words


def test_three_signatures(world: World) -> None:
    words = paper(cases.released(world, cases.inspected(world)))
    for title, who in (
        ("PERFORMED", "Technician 1"),
        ("INSPECTED", "Inspector 1"),
        ("SERVICE", "Releaser 1"),
    ):
        assert f"{title} {who}" in words
    assert "No. DEMO-I-001" in words and "I have inspected the work recorded here" in words
    assert "Inspection" not in words and "Total landings" in words  # no inspection: 14 CFR 43.9 alone


def test_an_operator_may_keep_entries_without_inspection_parts(world: World) -> None:
    event = cases.within(world)
    Operator.objects.update(inspection_records=False)
    words = paper(event)
    assert "Type of inspection" not in words and "List of discrepancies" not in words
    assert "Work done:" in words and "No. DEMO-R-001" in words


def test_the_story_of_a_retest(world: World, clock: time_machine.Traveller) -> None:
    first, purge, retest = cases.retested(world, clock)
    words, number = paper(retest), check_record(retest.pk).record
    assert "Panel purge" in words and f"follows {check_record(purge.pk).record}" in words
    assert f"Rectified: Panels purged. Retest: record {number}." in words and "closed" in words
    assert "Found by this check, as told above" in paper(first)
    assert "Series that start anew after this work: system test port (purge)" in paper(purge)


def test_corrections_are_stamped_on_both_sides(world: World, clock: time_machine.Traveller) -> None:
    first, later = cases.corrected(world, clock)
    old = [flat(page.extract_text()) for page in reader(first).pages]
    assert "SUPERSEDED BY record Q-0000/00002, signed 12 Mar 2025 12:10 UTC" in old[0]
    assert all("SUPERSEDED – Pressure and flow check" in page for page in old)
    new = paper(later)
    assert "CORRECTION: SUPERSEDES record Q-0000/00001, signed 12 Mar 2025 12:00 UTC" in new
    assert "Reason for the correction: Gauge misread by one mark." in new and "SUPERSEDED" not in new


def test_a_record_from_paper_is_marked(world: World) -> None:
    words = paper(cases.imported(world))
    assert "FROM PAPER RECORDS: a copy of an entry on paper" in words
    assert "Source: history-2019.csv, line 12. Imported by Controller 1 on 12 Mar 2025 12:00 UTC" in words
    assert "accepted by Controller 2" in words and "ACCEPTED FROM PAPER RECORDS Controller 2" in words
    assert (
        "Certificate: none on file" in words
        and "Approved or disapproved: as the paper record states" in words
    )
    assert "14,1 psi 97.216078 kPa" in words and "Instruments None is named." in words


def test_a_decision_and_its_text(world: World, clock: time_machine.Traveller) -> None:
    words = paper(cases.decided(world, clock, accepted=True))
    assert (
        "Decision in writing Reading accepted in writing: Gauge line was blanked off by work order." in words
    )
    assert "too low: 8.3 % of the baseline of this aircraft" in words and "not valid" in words


def test_panel_ports_each_with_its_limit(world: World) -> None:
    event = performed(world, world.underfloor)
    words = paper(event)
    ports = [one.point.name for one in event.results.filter(point__kind="panel_port").select_related("point")]
    assert len(ports) == 8
    for name in ports:
        assert f"{name} within limit 20 kPa 20 °C at most" in words
        assert f"{name[0].upper()}{name[1:]}: pressure, kPa" in words  # a chart of its own
    assert "This installation has no panel ports" not in words
    assert "square the measured value, upright bar its uncertainty U (k = 2)" in words


def test_a_record_that_is_not_as_signed_says_so_first(world: World) -> None:
    event = performed(world, world.forward)
    with guards_lifted(connection):
        Reading.objects.filter(event=event, sequence=2).update(value="90")
    words = paper(event)
    assert "DO NOT RELY ON THIS SHEET: not stored as it was signed. readings differ" in words
    assert "NOT stored as signed; see the top" in words and "the stored rows are those" not in words


# --- pages ------------------------------------------------------------------------------------------------
HEADINGS = (
    "Aircraft and work",
    "Outcome",
    "Inspection",
    "Signatures",
    "Defect",
    "Instruments",
    "Readings",
    "Series and limits used",
    "Conditions that move a reading",
    "Looked at",
    "Warnings, cautions and confirmations followed",
    "Likely cause",
    "The story of this occasion",
    "Record chain",
)


def pages(sheets_: PdfReader) -> list[list[str]]:
    """The lines of each page between the furniture at its head and foot."""
    return [[line for line in page.extract_text().splitlines() if line.strip()] for page in sheets_.pages]


def test_a_usual_check_fits_on_three_sheets_and_its_entry_on_the_first(
    world: World, clock: time_machine.Traveller
) -> None:
    first, purge, retest = cases.retested(world, clock)
    for event, most in ((first, 3), (purge, 2), (retest, 3)):
        made = reader(event)
        assert len(made.pages) <= most
        assert "RELEASED TO SERVICE" in made.pages[0].extract_text()
    under = reader(performed(world, world.underfloor))
    assert len(under.pages) <= 4 and "RELEASED TO SERVICE" in under.pages[0].extract_text()


def test_headings_are_bookmarks_in_order_and_none_stands_alone(
    world: World, clock: time_machine.Traveller
) -> None:
    for event in cases.retested(world, clock):
        made = reader(event)
        titles = [one.title for one in made.outline]
        assert titles == [title for title in HEADINGS if title in titles] and "Record chain" in titles
        for lines in pages(made):
            assert not set(lines[-1:]) & set(HEADINGS), "a heading ends a sheet"


# --- typed text -------------------------------------------------------------------------------------------
def test_hostile_text_is_printed_and_does_nothing(world: World) -> None:
    who = world.person("technician1")
    who.first_name, who.certificate_number = "<b>Tech", '<img src="x">7'
    who.save()
    base = world.forward.base
    base.name = "North <i>Skerry"
    base.save()
    fields = {"pump": "<b>2", "mode": "&amp;", "temperature_place": '<img src="/etc/passwd"/>'}
    fields |= {"gauge_height": "<para>", "remarks": HOSTILE}
    made = reader(performed(world, world.forward, fields=fields))
    words = flat("\n".join(page.extract_text() for page in made.pages))
    solid = words.replace(" ", "")
    for typed in (
        "<b>2",
        "&amp;",
        '<imgsrc="/etc/passwd"/>',
        "<para>",
        "<b>Tech",
        '<imgsrc="x">7',
        "North<i>",
    ):
        assert typed in solid
    assert '<b>x</b> <img src="/etc/hostname"/> &unknown; ]]> port<limit' in words
    assert not re.search("[\x07\x1b\u202e]", words)
    for page in made.pages:
        assert "/Annots" not in page and not list(page.images)


@pytest.mark.parametrize("text", ["w" * 16_000, "word " * 3_200, "line\n" * 3_000])
def test_very_long_text_is_cut_with_words_and_costs_little(world: World, text: str) -> None:
    event = performed(world, world.forward, fields={"remarks": text}, dry=("wing-lo",))
    cut = CheckEvent.objects.get(pk=event.pk)
    assert cut.remarks == text.strip()
    begun = time.process_time()
    words = paper(event)
    assert time.process_time() - begun < 10
    assert "more characters are kept in the record" in words.replace("\n", " ")
    assert "Record chain" in words


def test_long_reasons_and_decisions_part_between_sheets(world: World, clock: time_machine.Traveller) -> None:
    first, later = cases.corrected(world, clock)
    with guards_lifted(connection):
        CheckEvent.objects.filter(pk=later.pk).update(
            correction_reason="because " * 700, outcome_reason="\n".join(["a reason of its own " * 20] * 60)
        )
    assert len(reader(later).pages) > 3 and len(reader(first).pages) >= 3
