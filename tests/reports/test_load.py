"""Loading files: clean and messy ones of all three kinds, tried first, all or nothing, never twice."""

import io
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from checks.models import CheckEvent, DuePoint, ImportBatch, Record
from checks.services.verify import verify_chain, verify_event
from fleet.models import Aircraft, UtilisationEntry
from tests.world import PASSWORD, build_world

pytestmark = pytest.mark.django_db
FILES = Path(__file__).resolve().parents[2] / "fixtures" / "import"
MESSY_COLUMNS = {
    "aircraft": [],
    "utilisation": [
        "registration=Aircraft",
        "date=Datum:DD.MM.YYYY",
        "hours=Hours total:h, decimal comma",
        "landings=Landings total",
    ],
    "checks": [
        "registration=Aircraft",
        "date=Datum:DD.MM.YYYY",
        "temperature=Fluid temp.:[degF], decimal comma",
        "port=Port press.:[psi], decimal comma",
        "nozzle=Nozzle flow:mL/min",
    ],
}
# Line and field of every bad row, as they stand in the files.
BAD = {
    "aircraft": [
        (5, "variant"),
        (6, "serial number"),
        (7, "base"),
        (8, "entered service"),
        (10, "entered service"),
        (12, "registration"),
        (13, "registration"),
    ],
    "utilisation": [
        (6, "hours"),
        (7, "hours"),
        (8, "registration"),
        (10, "date"),
        (11, "date"),
        (12, "landings"),
        (13, ""),
        (14, "date"),
    ],
    "checks": [
        (6, "attempt"),
        (9, "date"),
        (10, "task"),
        (11, "temperature"),
        (12, "date"),
        (13, "registration"),
        (15, "port"),
    ],
}
NEW = {"aircraft": 2, "utilisation": 3, "checks": 6}
ROWS = {"aircraft": 10, "utilisation": 12, "checks": 14}


@pytest.fixture
def world():
    return build_world()


@pytest.fixture
def load(monkeypatch):
    """Runs the command; gives what it printed. A refusal carries it as .printed."""

    def run(kind, name, **options):
        monkeypatch.setattr("sys.stdin", io.StringIO(options.pop("typed", PASSWORD) + "\n"))
        out = io.StringIO()
        options.setdefault("accepted_by", "controller2" if kind == "checks" else None)
        try:
            call_command("load", kind, str(FILES / name), by="controller1", stdout=out, **options)
        except CommandError as error:
            error.printed = out.getvalue()
            raise
        return out.getvalue()

    return run


def stored() -> tuple[int, ...]:
    models = (Aircraft, UtilisationEntry, CheckEvent, Record, ImportBatch, DuePoint)
    return tuple(model.objects.count() for model in models)


@pytest.mark.parametrize(("kind", "rows"), [("aircraft", 3), ("utilisation", 4), ("checks", 6)])
def test_a_clean_file_comes_in_once(world, load, kind, rows):
    before = stored()
    assert f"{rows} rows: {rows} new, 0 on file already, 0 bad." in load(kind, f"{kind}-clean.csv")
    assert stored() == before, "a dry run keeps nothing"
    assert f"Kept {rows} rows." in load(kind, f"{kind}-clean.csv", commit=True)
    after = stored()
    assert after != before
    again = load(kind, f"{kind}-clean.csv", commit=True)
    assert f"0 new, {rows} on file already, 0 bad." in again
    assert stored() == after, "the same file twice adds nothing"


@pytest.mark.parametrize("kind", BAD)
def test_a_messy_file_names_every_bad_row_and_changes_nothing(world, load, kind):
    before = stored()
    with pytest.raises(CommandError, match="Nothing was changed") as refused:
        load(kind, f"{kind}-messy.csv", column=MESSY_COLUMNS[kind], commit=True)
    assert stored() == before
    printed = refused.value.printed
    named = [line.split(":")[0] for line in printed.splitlines() if line.startswith("line ")]
    assert named == [f"line {line}, {field}" if field else f"line {line}" for line, field in BAD[kind]]
    bad = len(BAD[kind])
    assert f"{ROWS[kind]} rows: {NEW[kind]} new, 1 on file already, {bad} bad." in printed


@pytest.mark.parametrize("kind", BAD)
def test_good_rows_come_in_only_where_that_was_asked_for(world, load, kind):
    asked = {"column": MESSY_COLUMNS[kind], "commit": True, "good_rows_only": True}
    assert f"Kept {NEW[kind]} rows." in load(kind, f"{kind}-messy.csv", **asked)
    assert ImportBatch.objects.get().rows_added == NEW[kind]
    assert "Nothing new: nothing was changed." in load(kind, f"{kind}-messy.csv", **asked)


def test_values_are_kept_as_typed_and_in_canonical_units(world, load):
    load("checks", "checks-messy.csv", column=MESSY_COLUMNS["checks"], commit=True, good_rows_only=True)
    event = CheckEvent.objects.get(import_line=3)
    readings = {r.step.quantity: r for r in event.readings.select_related("step")}
    assert (readings["temperature"].typed, readings["temperature"].unit) == ("53,6", "[degF]")
    assert readings["temperature"].value == 12, "53.6 °F = 12 °C by NIST SP 811 App. B.8: (53.6 - 32) / 1.8"
    # NIST SP 811 App. B.8: 1 psi = 6.894 757 kPa, so 18.85 psi = 129.966 kPa.
    assert f"{readings['pressure'].value:.3f}" == "129.966"
    assert event.work_date.isoformat() == "2023-11-06"


def test_a_row_from_paper_is_marked_signed_and_linked(world, load):
    load("checks", "checks-clean.csv", commit=True)
    events = CheckEvent.objects.filter(aircraft=world.forward)
    assert {e.get_source_display() for e in events} == {"from paper records"}
    for event in events:
        signature = event.signatures.get()
        assert (signature.act, signature.person) == ("accepted", world.person("controller2"))
        assert event.started_by == world.person("controller1")
        assert verify_event(event) == []
    assert verify_chain(world.forward.chain) == []


def test_paper_is_judged_by_the_limits_of_its_day(world, load):
    load("checks", "checks-messy.csv", column=MESSY_COLUMNS["checks"], commit=True, good_rows_only=True)
    by_line = {e.import_line: e for e in CheckEvent.objects.filter(source="imported")}
    assert by_line[7].outcome == "over limit"
    assert by_line[8].outcome == "within limit"
    assert by_line[14].outcome == "not valid", "no fluid temperature on paper"
    assert by_line[16].outcome == "not valid", "a pressure below zero is no pass"
    assert not world.forward.defects.exists(), "history raises no defect: what followed it is history too"


def test_panel_ports_that_paper_did_not_keep_do_not_spoil_a_check(world, load):
    load("checks", "checks-clean.csv", commit=True)
    event = CheckEvent.objects.get(import_line=5)
    assert event.aircraft.variant.has_panel_ports
    assert event.outcome == "within limit"
    assert {result.point.code for result in event.results.all()} == {"port", "nozzle"}


def test_a_purge_from_paper_resets_its_points(world, load):
    load("checks", "checks-clean.csv", commit=True)
    purge = CheckEvent.objects.get(import_line=6)
    assert purge.outcome == "done"
    assert {"port", "nozzle"} <= {reset.point.code for reset in purge.resets.all()}


def test_the_due_point_rolls_from_an_accepted_check(world, load):
    load("checks", "checks-clean.csv", commit=True)
    due = DuePoint.objects.get(
        aircraft=world.forward, check_due=world.master.recurring["forward", "pressure-flow"]
    )
    assert due.done_on.isoformat() == "2024-10-22"


def test_a_wrong_password_accepts_nothing(world, load):
    before = stored()
    with pytest.raises(CommandError, match="password is not right"):
        load("checks", "checks-clean.csv", commit=True, typed="guess")
    assert stored() == before


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"accepted_by": "controller1"}, "can't accept it too"),
        ({"accepted_by": None}, "needs --accepted-by"),
        ({"accepted_by": "technician1"}, "may not import records"),
        ({"accepted_by": "nobody"}, "No active person"),
        ({"column": ["port"]}, "FIELD=HEADER"),
        ({"column": ["port=Pressure"]}, "has no column 'Pressure'"),
        ({"column": ["height=port [kPa]"]}, "no field 'height'"),
        ({"column": ["port=port [kPa]:mL"]}, "no unit of pressure"),
    ],
)
def test_a_call_that_makes_no_sense_is_refused_with_a_way_out(world, load, options, words):
    with pytest.raises(CommandError, match=words):
        load("checks", "checks-clean.csv", **options)


def test_a_column_without_a_unit_is_never_guessed(world, load, tmp_path):
    file = tmp_path / "no-unit.csv"
    file.write_text("registration,task,date,temperature,port\nQ-0000,pressure-flow,2024-05-14,18,108\n")
    with pytest.raises(CommandError, match="declares no unit"):
        load("checks", str(file))


def test_a_value_less_than_nothing_is_a_bad_row_and_the_others_are_still_tried(world, load, tmp_path):
    rows = ["Q-0000,pressure-flow,2023-11-06,12,-3,-5", "Q-0000,pressure-flow,2023-11-07,-4,100,170"]
    head = "registration,task,date,temperature [Cel],port [kPa],nozzle [mL/min]"
    (tmp_path / "minus.csv").write_text("\n".join([head, *rows]) + "\n")
    said = load("checks", tmp_path / "minus.csv")
    assert "line 2, nozzle: '-5' is less than nothing" in said
    assert "2 rows: 1 new, 0 on file already, 1 bad." in said


def test_the_reason_of_a_paper_record_says_its_unit_as_written(world, load):
    load("checks", "checks-messy.csv", column=MESSY_COLUMNS["checks"], commit=True, good_rows_only=True)
    event = CheckEvent.objects.get(import_line=3)
    port = event.results.get(point__code="port")
    typed = event.readings.get(role="series").typed.replace(",", ".")
    assert port.reason.startswith(f"{typed} psi against upper limit ") and " psi at 12 °C" in port.reason
