"""A blank worksheet: every step of any procedure in its order, a box for all that is read, the way back."""

import datetime as dt
import io
import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from pypdf import PdfReader

from checks.models import LimitRow, Revision, Step
from fleet.models import Aircraft, Position
from reports.pdf.frame import DEMO, UNCONTROLLED
from reports.pdf.worksheet import worksheet_pdf
from reports.worksheet import Box, Heed, Task, Worksheet, revisions, worksheet
from tests.checks.check_pages import logged_in
from tests.checks.work import started
from tests.reports.qr_reader import codes
from tests.world import World

LINK = "https://weepwatch.example/checks/new/?aircraft=Q-0000&task=pressure-flow"
VARIANTS = ("forward", "underfloor")


def sheet_of(
    world: World,
    variant: str,
    code: str = "pressure-flow",
    *,
    revision: Revision | None = None,
    **more: object,
) -> Worksheet:
    """The sheet of the revision in force, or of another one."""
    aircraft = Aircraft.objects.select_related("variant", "base").get(pk=getattr(world, variant).pk)
    found = revisions().get(pk=(revision or world.revision(aircraft, code)).pk)
    return worksheet(found, aircraft, link=LINK, **more)


def typed(world: World, variant: str) -> Revision:
    """The pressure and flow check typed anew, not approved yet, so that a test may change it."""
    old = world.revision(getattr(world, variant))
    new = Revision.objects.create(
        procedure=old.procedure,
        number="typed",
        source_reference="invented",
        typed_by=world.person("controller1"),
        effective_on=world.today + dt.timedelta(days=8),
    )
    for step in old.steps.all():
        step.pk, step.revision = None, new
        step.save(force_insert=True)
    for table in old.limit_tables.all():
        rows = list(table.rows.all())
        table.pk, table.revision = None, new
        table.save(force_insert=True)
        LimitRow.objects.bulk_create(
            LimitRow(table=table, temperature=row.temperature, upper=row.upper) for row in rows
        )
    return new


def words(pdf: bytes) -> str:
    pages = PdfReader(io.BytesIO(pdf)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def steps_of(world: World, variant: str, code: str = "pressure-flow") -> list[Step]:
    return list(world.revision(getattr(world, variant), code).steps.order_by("number"))


def cells(task: Task) -> list[list[str]]:
    """The rows of a task's tables as words; boxes as their label in brackets."""
    return [
        [f"[{cell.label}]" if isinstance(cell, Box) else cell for cell in row]
        for fill in task.fills
        for row in fill.rows
    ]


def task_at(sheet: Worksheet, number: int) -> Task:
    return next(one for one in sheet.blocks if isinstance(one, Task) and one.number == str(number))


# --- what stands on it -------------------------------------------------------------------------------------


@pytest.mark.parametrize("variant", VARIANTS)
def test_every_step_of_any_procedure_is_on_paper_in_its_order(world: World, variant: str) -> None:
    procedures = [code for of, code in world.master.procedures if of == variant]
    assert len(procedures) >= 8
    for code in procedures:
        paper = words(worksheet_pdf(sheet_of(world, variant, code)))
        places = [paper.find(step.text[:45].strip()) for step in steps_of(world, variant, code)]
        assert -1 not in places and places == sorted(places), code


@pytest.mark.parametrize("variant", VARIANTS)
def test_warnings_and_cautions_stand_before_and_on_the_sheet_of_what_they_guard(
    world: World, variant: str
) -> None:
    sheet = sheet_of(world, variant)
    pages = [
        " ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(worksheet_pdf(sheet))).pages
    ]
    guarded = 0
    for before, after in zip(sheet.blocks, sheet.blocks[1:], strict=False):
        if isinstance(before, Heed) and isinstance(after, Task):
            (page,) = [one for one in pages if f"{before.number}. {before.text[:40]}" in one]
            assert page.find(before.text[:40]) < page.find(after.text[:40])
            guarded += 1
    assert guarded == 2  # what comes first, and the fluid that is collected
    ticked = [one.box for one in sheet.blocks if isinstance(one, Heed) and one.kind != "note"]
    assert all(ticked) and len(ticked) > 6


def test_the_variants_differ_as_their_procedures_do(world: World) -> None:
    forward, underfloor = (sheet_of(world, variant) for variant in VARIANTS)
    assert "Belly access panel" not in words(worksheet_pdf(forward))
    (ports,) = [one for one in underfloor.blocks if isinstance(one, Task) and "–" in one.number]
    read = [step for step in steps_of(world, "underfloor") if step.kind == "measure" and step.point_id]
    assert cells(ports)[1:] == [[f"{step.number}. {step.text}", "[Value]"] for step in read]
    assert len(read) == 8 and len(ports.limits[0].rows) == 8
    assert ("both" in sheet_of(world, "forward").conditions[0].hint, forward.revision) == (True, "2")
    assert underfloor.conditions[0].hint == "metering pump"


@pytest.mark.parametrize("variant", VARIANTS)
def test_every_panel_has_a_box_for_yes_no_and_a_remark(world: World, variant: str) -> None:
    step = next(one for one in steps_of(world, variant) if one.position_kind == "panel")
    panels = Position.objects.filter(variant=getattr(world, variant).variant, kind="panel").order_by("order")
    looked = cells(task_at(sheet_of(world, variant), step.number))
    assert looked == [[one.name.capitalize(), "[Yes]", "[No]", "[Remark]"] for one in panels]


def test_a_series_has_a_row_for_each_reading_and_its_instrument(world: World) -> None:
    step = next(one for one in steps_of(world, "forward") if one.kind == "timed_series")
    task = task_at(sheet_of(world, "forward"), step.number)
    instrument, began, *rows = cells(task)
    assert instrument == ["[Instrument]", "[Calibration due]"] and began == ["[Pump on]", "[Settled at]"]
    planned = [row[0] for row in rows] + [row[3] for row in rows]
    assert planned == [f"{minute}:00" for minute in range(12)]
    assert {(row[1], row[2], row[4], row[5]) for row in rows} == {("[Read at]", "[Value]") * 2}
    assert task.notes[0] == "From 2:30 on never above 420 kPa."


def test_a_collection_waits_for_settling_only_where_something_settles(world: World) -> None:
    def notes(revision: Revision) -> str:
        step = revision.steps.get(kind="timed_collection")
        return task_at(sheet_of(world, "forward", revision=revision), step.number).notes[0]

    revision = typed(world, "forward")
    assert notes(revision).startswith("For 60 s, begun after the pressure has settled. Flow")
    revision.steps.filter(kind="timed_series").delete()
    assert notes(revision).startswith("For 60 s. Flow")


def test_a_series_of_another_cadence_is_long_enough_to_pass_its_ceiling(world: World) -> None:
    """By the settle rule a series ends at the third value that agrees: three past the ceiling at least."""
    revision = typed(world, "forward")
    revision.steps.filter(kind="timed_series").update(cadence_seconds=20, ceiling_after_seconds=300)
    step = revision.steps.get(kind="timed_series")
    rows = cells(task_at(sheet_of(world, "forward", revision=revision), step.number))[2:]
    assert rows[1][0] == "0:20" and rows[-1][3] == "7:00"


@pytest.mark.parametrize("variant", VARIANTS)
def test_the_limit_tables_are_printed_row_by_row(world: World, variant: str) -> None:
    sheet = sheet_of(world, variant)
    printed = {
        (name, temperature, value)
        for block in sheet.blocks
        if isinstance(block, Task)
        for limits in block.limits
        for name, values in limits.rows
        for temperature, value in zip(limits.temperatures, values, strict=True)
    }
    revision = world.revision(getattr(world, variant))
    stored = {
        (f"{row.table.point}, upper", f"{row.temperature.normalize():f}", f"{row.upper.normalize():f}")
        for row in LimitRow.objects.filter(table__revision=revision).select_related("table__point")
    }
    assert printed == stored and len(stored) >= 20
    paper = words(worksheet_pdf(sheet))
    assert all(value in paper for _, _, value in stored)
    assert "Outside these temperatures there is no limit" in paper


def test_lower_limits_and_rows_that_lack_one_are_printed_too(world: World) -> None:
    revision = typed(world, "forward")
    table = revision.limit_tables.get(point__code="port")
    table.kind = "both"
    table.save()
    first = table.rows.order_by("temperature").first()
    LimitRow.objects.filter(pk=first.pk).update(lower="12.5")
    step = revision.steps.get(kind="timed_series")
    (limits,) = task_at(sheet_of(world, "forward", revision=revision), step.number).limits
    (_, lower), (_, upper) = limits.rows
    assert lower[:2] == ("12.5", "–") and "–" not in upper


def test_what_moves_a_reading_and_what_is_put_back(world: World) -> None:
    sheet = sheet_of(world, "underfloor")
    assert [box.label for box in sheet.conditions] == [
        "Pump that ran",
        "Mode selected",
        "Fluid batch",
        "Supply voltage, V",
        "Height of the gauge against the port",
        "Hose bled",
    ]
    confirmed = [step for step in steps_of(world, "underfloor") if step.restore_text]
    told = [f"Step {step.number}: {step.restore_text}" for step in reversed(confirmed)]
    assert [said for said, _ in sheet.put_back] == told and len(told) == 4
    assert sheet_of(world, "forward", "panel-purge").conditions == ()


def test_signature_places_are_those_of_the_procedure(world: World) -> None:
    plain, second = sheet_of(world, "forward"), sheet_of(world, "forward", "panel-replacement")
    assert [place.asked for place in plain.places] == [True, False, True]
    assert [place.asked for place in second.places] == [True, True, True]
    assert "Not asked for by this procedure." in words(worksheet_pdf(plain))
    assert "Not asked for by this procedure." not in words(worksheet_pdf(second))


def test_the_number_of_boxes_is_counted_by_hand(world: World) -> None:
    """Work 4. Warning 1, note none, caution 1. Confirm 1 and put back 1. Temperature: instrument 2, value,
    place, from memory. Series: instrument 2, pump on, settled, twelve readings of 2. Collection: instrument 2
    and 4. Eight panels of 3. Conditions 6. Performed and released 5 each."""
    revision = typed(world, "forward")
    point = revision.limit_tables.get(point__code="port").point
    revision.steps.all().delete()
    wanted = [
        {"kind": "warning"},
        {"kind": "note"},
        {"kind": "confirm", "restore_text": "put back"},
        {"kind": "measure", "quantity": "temperature", "unit": "Cel", "instrument_kind": "thermometer"},
        {
            "kind": "timed_series",
            "quantity": "pressure",
            "unit": "kPa",
            "instrument_kind": "gauge",
            "point": point,
        },
        {"kind": "timed_collection", "quantity": "volume", "unit": "mL", "instrument_kind": "vessel"},
        {"kind": "observe", "position_kind": "panel"},
        {"kind": "caution"},
    ]
    Step.objects.bulk_create(
        Step(revision=revision, number=n, text=f"step {n}", **one) for n, one in enumerate(wanted, start=1)
    )
    boxes = sheet_of(world, "forward", revision=revision).boxes
    assert boxes == 4 + 1 + 1 + (1 + 1) + (2 + 3) + (2 + 2 + 24) + (2 + 4) + 8 * 3 + 6 + 2 * 5


# --- which sheet it is -------------------------------------------------------------------------------------


@pytest.mark.parametrize("variant", VARIANTS)
def test_it_says_which_it_is_on_every_page(world: World, variant: str) -> None:
    sheet = sheet_of(world, variant)
    pdf = worksheet_pdf(sheet)
    for page in PdfReader(io.BytesIO(pdf)).pages:
        said = " ".join(page.extract_text().split())
        for part in (UNCONTROLLED, DEMO, f"{sheet.registration}, revision {sheet.revision}", sheet.title):
            assert part in said
    assert sheet.source_reference in words(pdf) and sheet.serial_number in words(pdf)
    assert "no record" in words(pdf) and "releases no aircraft" in words(pdf)
    assert codes(pdf) == [LINK]


def test_a_revision_that_is_not_in_force_says_so(world: World) -> None:
    old = revisions().get(procedure__code="pressure-flow", procedure__variant__code="forward", number="1")
    aircraft = Aircraft.objects.select_related("variant", "base").get(pk=world.forward.pk)
    assert "NOT IN FORCE: this revision is superseded." in worksheet(old, aircraft, link=LINK).stamp
    assert sheet_of(world, "forward").stamp == ""
    new = typed(world, "forward")
    waiting = sheet_of(world, "forward", revision=new)
    assert not waiting.in_force and len(waiting.blocks) > 10
    assert "NOT IN FORCE: this revision is awaiting approval." in words(worksheet_pdf(waiting))
    Revision.objects.filter(pk=new.pk).update(
        approved_by=world.person("director1"), approved_at=dt.datetime(2025, 3, 11, tzinfo=dt.UTC)
    )
    assert "this revision is planned." in sheet_of(world, "forward", revision=new).stamp
    assert sheet_of(world, "forward").stamp == "Until 19 Mar 2025 only: then revision typed."


def test_hostile_text_is_printed_and_never_acts(world: World) -> None:
    hostile = '<b>"&\u202e = <img src="http://127.0.0.1:9/x.png"/> W' + "W" * 300
    revision = typed(world, "underfloor")
    revision.steps.filter(kind="observe").update(text=hostile)
    revision.steps.filter(kind__in=["caution", "instruction"]).update(text=hostile * 3 + "W" * 4000)
    revision.steps.filter(kind="confirm").update(text=hostile, restore_text="W" * 4000)
    pdf = worksheet_pdf(sheet_of(world, "underfloor", revision=revision))
    assert '<b>"&' in words(pdf)
    assert all("/Annots" not in page and not page.images for page in PdfReader(io.BytesIO(pdf)).pages)


@pytest.mark.parametrize("more", [0, 20])
def test_a_long_procedure_costs_no_more_queries(world: World, more: int) -> None:
    revision = typed(world, "underfloor")
    last = revision.steps.order_by("number").last().number
    point = revision.limit_tables.order_by("pk").last().point
    Step.objects.bulk_create(
        Step(
            revision=revision,
            number=last + n,
            kind="measure",
            text=f"Read {n}",
            quantity="pressure",
            unit="kPa",
            point=point,
            instrument_kind="gauge",
        )
        for n in range(1, more + 3)
    )
    with CaptureQueriesContext(connection) as asked:
        worksheet_pdf(sheet_of(world, "underfloor", revision=revision))
    assert len(asked) == 8, [one["sql"][:90] for one in asked]  # two of them fetch aircraft and revision


# --- its address -------------------------------------------------------------------------------------------


@pytest.fixture
def client(world: World) -> Client:
    return logged_in(world, "technician1")


def address(world: World, **asked: object) -> str:
    return reverse("reports:worksheet_pdf", args=[world.revision(world.forward).pk], query=asked)


def test_without_a_draft_the_code_starts_the_check(world: World, client: Client) -> None:
    answer = client.get(address(world, aircraft=world.forward), headers={"host": "localhost"})
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    assert answer["Content-Disposition"].endswith('"worksheet-Q-0000-pressure-flow-2.pdf"')
    (link,) = codes(answer.content)
    assert link == "http://localhost/checks/new/?aircraft=Q-0000&task=pressure-flow"
    page = client.get(link).content.decode()
    tasks = re.findall(r'class="tile"><strong>([^<]+)', page)
    assert tasks[0] == "Pressure and flow check" and len(tasks) > 5
    assert page.count("the task of the worksheet that you scanned") == 1


def test_with_a_draft_the_code_opens_it_and_what_it_knows_is_printed(world: World, client: Client) -> None:
    draft = started(world, world.forward)
    answer = client.get(address(world, aircraft=world.forward, check=draft.pk))
    (link,) = codes(answer.content)
    assert link == f"http://testserver/checks/{draft.pk}/"
    assert client.get(link).status_code == 200
    said = words(answer.content)
    assert "12 Mar 2025" in said and "Opens the check begun by" in said and "2000" in said
    with_draft, without = sheet_of(world, "forward", draft=draft), sheet_of(world, "forward")
    assert without.boxes - with_draft.boxes == 4


def test_another_variant_or_another_draft_is_explained(world: World, client: Client) -> None:
    draft = started(world, world.underfloor)
    wrong = (
        {},
        {"aircraft": world.underfloor},
        {"aircraft": world.forward, "check": draft.pk},
        {"aircraft": world.forward, "check": "nonsense"},
    )
    for asked in wrong:
        answer = client.get(address(world, **asked), follow=True)
        assert answer.redirect_chain and "worksheet" in str(next(iter(answer.context["messages"])))


def test_the_pages_lead_to_it(world: World, client: Client) -> None:
    draft = started(world, world.forward)
    begun = address(world, aircraft=world.forward, check=draft.pk).replace("&", "&amp;")
    assert begun in client.get(reverse("checks:check", args=[draft.pk])).content.decode()
    blank = address(world, aircraft=world.forward)
    assert blank in client.get(reverse("checks:new"), {"aircraft": "Q-0000"}).content.decode()
    page = client.get(reverse("checks:revision", args=[world.revision(world.forward).pk])).content.decode()
    assert f'action="{address(world)}"' in page and '<option value="Q-0000">' in page
    assert '<option value="Q-0001">' not in page


def test_strangers_and_other_methods(world: World, client: Client, outsider, client_of) -> None:
    where = address(world, aircraft=world.forward)
    assert Client().get(where).status_code == 302
    assert client_of(outsider).get(where).status_code == 403
    assert client.post(where).status_code == 405
    nothing = reverse("reports:worksheet_pdf", args=[99999], query={"aircraft": "Q-0000"})
    assert client.get(nothing).status_code == 404
