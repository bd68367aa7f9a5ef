"""A new check with a measurement that no other check takes: added by rows alone, followed like any other."""

import datetime as dt
import io
from dataclasses import dataclass
from decimal import Decimal

import pytest
from pypdf import PdfReader

from checks.models import CheckEvent, Defect, LimitRow, LimitTable, Procedure, Revision, SeriesState, Step
from checks.services.drift import refresh_drift
from checks.services.evaluate import evaluate
from checks.services.inputs import CautionInput, DraftInput, ReadingInput
from checks.services.procedures import approve_revision
from checks.services.record import save_draft, start_check
from checks.services.sign import sign_performed, sign_released
from fleet.models import Instrument, MeasuringPoint
from reports.pdf.record import record_pdf
from reports.record import check_record
from tests.checks.check_pages import address, logged_in
from tests.reports.record_cases import flat
from tests.world import PASSWORD, World


@dataclass(frozen=True)
class New:
    """A measurement as an operator would set it up: what is read, with which instrument, between what."""

    quantity: str
    kind: str
    unit: str
    instrument: str
    nominal: str  # canonical
    limits: tuple[tuple[str, str, str], ...]  # temperature, lower, upper in `unit`
    good: str
    low: str
    high: str
    between: str  # words of the limits at 10 °C by the stricter row


VOLTAGE = New(
    "voltage",
    "other",
    "V",
    "voltmeter",
    "27.5",
    (("-10", "25.5", "28.6"), ("35", "26.2", "28.2")),
    good="27.1",
    low="24.9",
    high="29.3",
    between="26.2 to 28.2",
)
VOLUME = New(
    "volume",
    "tank",
    "L",
    "vessel",
    "4000",
    (("-10", "3.7", "4.4"), ("35", "3.8", "4.3")),
    good="4.05",
    low="3.3",
    high="4.8",
    between="3.8 to 4.3",
)
NEW = {"voltage": VOLTAGE, "volume": VOLUME}


@pytest.fixture(params=sorted(NEW))
def new(request: pytest.FixtureRequest) -> New:
    return NEW[request.param]


def steps_of(new: New, point: MeasuringPoint) -> tuple[dict[str, object], ...]:
    return (
        {"kind": "caution", "text": "Never run a pump dry."},
        {"kind": "confirm", "text": "Cover removed.", "restore_text": "Cover fitted."},
        {
            "kind": "measure",
            "text": "Fluid temperature.",
            "quantity": "temperature",
            "unit": "Cel",
            "instrument_kind": "thermometer",
        },
        {
            "kind": "measure",
            "text": "Read the new value.",
            "quantity": new.quantity,
            "unit": new.unit,
            "point": point,
            "instrument_kind": new.instrument,
        },
    )


@pytest.fixture
def revision(world: World, new: New) -> Revision:
    """Rows as the set-up pages write them, each valid by its model, approved by another person's password."""
    variant = world.forward.variant
    point = MeasuringPoint(
        variant=variant,
        code="new",
        name="new place",
        kind=new.kind,
        quantity=new.quantity,
        nominal=new.nominal,
    )
    instrument = Instrument(
        code="new-1",
        kind=new.instrument,
        owner="Skerry Isles Air Link",
        unit=new.unit,
        range_low=0,
        range_high=40,
        resolution="0.01",
        accuracy_kind="absolute",
        accuracy="0.02",
        needs_calibration=False,
    )
    procedure = Procedure(variant=variant, code="new-check", title="New check", kind="check")
    for row in (point, instrument, procedure):
        row.full_clean()
        row.save()
    revision = Revision(
        procedure=procedure,
        number="1",
        source_reference="Invented for a test, no approved data",
        typed_by=world.person("controller1"),
        effective_on=world.master.days_ago(1),
    )
    revision.full_clean()
    revision.save()
    table = LimitTable(
        revision=revision, point=point, unit=new.unit, kind="both", source_reference="Invented table"
    )
    table.full_clean()
    table.save()
    rows = [LimitRow(table=table, temperature=t, lower=low, upper=up) for t, low, up in new.limits]
    for row in (
        *(Step(revision=revision, number=n, **step) for n, step in enumerate(steps_of(new, point), 1)),
        *rows,
    ):
        row.full_clean()
        row.save()
    return approve_revision(revision=revision, by=world.person("director1"), password=PASSWORD)


def carried_out(world: World, revision: Revision, value: str, unit: str) -> CheckEvent:
    """A draft with everything filled in."""
    event = start_check(
        aircraft=world.forward,
        procedure=revision.procedure,
        by=world.person("technician1"),
        work_date=world.today,
    )
    caution, cover, temperature, measured = revision.steps.order_by("number")
    readings = (
        ReadingInput(temperature.pk, "10", "Cel", str(world.instrument("thermo-1").pk)),
        ReadingInput(measured.pk, value, unit, str(Instrument.objects.get(code="new-1").pk)),
    )
    cautions = (CautionInput(caution.pk, True), CautionInput(cover.pk, True, True))
    saved = save_draft(
        event=event, by=world.person("technician1"), given=DraftInput({}, readings, (), cautions)
    )
    assert saved.problems == ()
    return saved.event


def signed(world: World, revision: Revision, value: str, unit: str) -> CheckEvent:
    draft = carried_out(world, revision, value, unit)
    return sign_performed(event=draft, by=world.person("technician1"), password=PASSWORD)


def test_it_is_offered_and_its_page_asks_for_the_value_in_its_unit(
    world: World, revision: Revision, new: New
) -> None:
    browse = logged_in(world, "technician1")
    assert "New check" in browse.get(f"/checks/new/?aircraft={world.forward}").content.decode()
    event = carried_out(world, revision, new.good, new.unit)
    text = browse.get(address(event)).content.decode()
    assert "Read the new value." in text and f'value="{new.good}"' in text and "new-1" in text
    assert "Cover fitted." in text and "Never run a pump dry." in text


@pytest.mark.parametrize(
    ("which", "outcome"), [("good", "within limit"), ("low", "over limit"), ("high", "over limit")]
)
def test_it_is_judged_by_both_sides_of_its_table(
    world: World, revision: Revision, new: New, which: str, outcome: str
) -> None:
    value = getattr(new, which)
    draft = carried_out(world, revision, value, new.unit)
    now = evaluate(draft)
    assert now.complete and now.outcome == outcome
    assert now.blind_spots == (), "nothing is said of panels by what does not feel them"
    event = sign_performed(event=draft, by=world.person("technician1"), password=PASSWORD)
    result = event.results.get()
    assert event.outcome == outcome and result.outcome == (
        "within limit" if which == "good" else "over limit"
    )
    factor = 1000 if new.unit == "L" else 1
    lower, upper = (Decimal(words) * factor for words in new.between.split(" to "))
    assert (result.value, result.lower, result.upper) == (Decimal(value) * factor, lower, upper)
    assert Defect.objects.filter(event=event).exists() == (which != "good")
    if which == "low":
        assert event.next_action == "find the cause and test again", "no purge raises what is too low"


def test_outside_its_table_it_is_not_valid(world: World, revision: Revision, new: New) -> None:
    event = carried_out(world, revision, new.good, new.unit)
    event.readings.filter(role="temperature").update(typed="36", value=36)
    found = evaluate(event)
    assert found.outcome == "not valid" and "35" in found.next_action


def test_its_record_reads_like_any_other_on_the_page_and_on_paper(
    world: World, revision: Revision, new: New
) -> None:
    event = signed(world, revision, new.good, new.unit)
    sign_released(event=event, by=world.person("releaser1"), password=PASSWORD)
    page = logged_in(world, "auditor1").get(address(event)).content.decode()
    record = check_record(event.pk)
    sheets = PdfReader(io.BytesIO(record_pdf(record))).pages
    paper = flat("\n".join(sheet.extract_text() for sheet in sheets))
    for text in (flat(page), paper):
        assert "New check" in text and "new place" in text.lower()
        assert new.between in text and "within limit" in text and "single blocked panel" not in text
    assert record.as_signed and f"{new.good} {new.unit}" in paper
    assert "RELEASED TO SERVICE Releaser 1" in paper


def test_it_leaves_drift_alone(world: World, revision: Revision, new: New) -> None:
    """A point without a frozen reference table is followed by nobody, however often it is read."""
    for _ in range(3):
        signed(world, revision, new.good, new.unit)
    refresh_drift(now=dt.datetime(2025, 3, 12, 13, tzinfo=dt.UTC))
    assert not SeriesState.objects.filter(point__code="new").exists()
    page = logged_in(world, "auditor1").get(f"/aircraft/{world.forward}/").content.decode()
    points = page.split('aria-labelledby="system"')[1].split("</table>")[0]
    assert "System test port" in points and "New place" not in points
