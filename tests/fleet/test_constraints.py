"""The database itself refuses: each row here goes in by SQL, past every form and service."""

import datetime as dt
import threading

import pytest
from django.db import IntegrityError, connection, transaction

from fleet.models import Aircraft, Base, Fitment, Instrument, Part, Position, UtilisationEntry, Variant

pytestmark = pytest.mark.django_db

D = dt.date


@pytest.fixture
def variant() -> Variant:
    return Variant.objects.create(code="v", name="V")


@pytest.fixture
def aircraft(variant) -> list[Aircraft]:
    base = Base.objects.create(
        code="b", name="B", time_zone="UTC", hemisphere="N", season_month=10, season_day=1
    )
    return [
        Aircraft.objects.create(
            registration=f"Q-{n}",
            serial_number=f"S{n}",
            type_name="T",
            variant=variant,
            base=base,
            entered_service_on=D(2020, 1, 1),
        )
        for n in (1, 2)
    ]


@pytest.fixture
def positions(variant) -> list[Position]:
    return [
        Position.objects.create(variant=variant, code=f"p{n}", name=f"P{n}", kind="panel", order=n)
        for n in (1, 2)
    ]


@pytest.fixture
def parts() -> list[Part]:
    return [Part.objects.create(part_number="PN", serial_number=str(n), kind="panel") for n in (1, 2)]


def insert(table: str, **values) -> int:
    """Insert one row by SQL in a savepoint of its own and return its key."""
    columns = ", ".join(f'"{name}"' for name in values)
    places = ", ".join(["%s"] * len(values))
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(
            f"INSERT INTO {table} ({columns}) VALUES ({places}) RETURNING id", list(values.values())
        )
        return cursor.fetchone()[0]


def run(sql: str, *values) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql, values)


def fit(aircraft, position, part, fitted_on, removed_on=None) -> int:
    return insert(
        "fleet_fitment",
        aircraft_id=aircraft.pk,
        position_id=position.pk,
        part_id=part.pk,
        fitted_on=fitted_on,
        removed_on=removed_on,
        removal_reason="",
        removed_as_planned=False,
    )


@pytest.fixture
def enter(aircraft, controller):
    def entered(on, hours, landings, supersedes=None, craft=None) -> int:
        return insert(
            "fleet_utilisationentry",
            aircraft_id=(craft or aircraft[0]).pk,
            on=on,
            hours=hours,
            landings=landings,
            kind="reading",
            remark="",
            source="",
            entered_by_id=controller.pk,
            entered_at=dt.datetime(2025, 1, 1, tzinfo=dt.UTC),
            supersedes_id=supersedes,
        )

    return entered


# Fitments -----------------------------------------------------------------------------------------
FIRST = (D(2024, 3, 1), D(2024, 9, 1))
MEETING = [
    (D(2024, 8, 31), None),
    (D(2024, 1, 1), D(2024, 3, 2)),
    (D(2024, 1, 1), None),
    (D(2024, 4, 1), D(2024, 5, 1)),
    (D(2024, 3, 1), D(2024, 9, 1)),
]
APART = [
    (D(2024, 9, 1), None),  # the day of removal is free again
    (D(2024, 1, 1), D(2024, 3, 1)),
    (D(2024, 4, 1), D(2024, 4, 1)),  # no days at all
]


@pytest.mark.parametrize("days", MEETING, ids=str)
def test_two_parts_never_share_a_position(aircraft, positions, parts, days):
    fit(aircraft[0], positions[0], parts[0], *FIRST)
    with pytest.raises(IntegrityError):
        fit(aircraft[0], positions[0], parts[1], *days)
    assert Fitment.objects.count() == 1


@pytest.mark.parametrize("days", MEETING, ids=str)
def test_one_part_is_never_in_two_places(aircraft, positions, parts, days):
    fit(aircraft[0], positions[0], parts[0], *FIRST)
    with pytest.raises(IntegrityError):
        fit(aircraft[1], positions[0], parts[0], *days)
    with pytest.raises(IntegrityError):
        fit(aircraft[0], positions[1], parts[0], *days)


@pytest.mark.parametrize("days", APART, ids=str)
def test_fitments_that_do_not_meet_are_taken(aircraft, positions, parts, days):
    fit(aircraft[0], positions[0], parts[0], *FIRST)
    fit(aircraft[0], positions[0], parts[1], *days)
    fit(aircraft[1], positions[1], parts[0], *days)
    assert Fitment.objects.count() == 3


def test_two_that_last_meet(aircraft, positions, parts):
    fit(aircraft[0], positions[0], parts[0], D(2024, 1, 1))
    with pytest.raises(IntegrityError):
        fit(aircraft[0], positions[0], parts[1], D(2025, 1, 1))
    fit(aircraft[1], positions[0], parts[1], D(2025, 1, 1))  # the same position of another aircraft


def test_a_change_can_not_make_fitments_meet(aircraft, positions, parts):
    fit(aircraft[0], positions[0], parts[0], *FIRST)
    later = fit(aircraft[0], positions[0], parts[1], D(2024, 9, 1))
    with pytest.raises(IntegrityError):
        run("UPDATE fleet_fitment SET fitted_on = %s WHERE id = %s", D(2024, 8, 1), later)
    with pytest.raises(IntegrityError):
        run("UPDATE fleet_fitment SET removed_on = NULL WHERE removed_on IS NOT NULL")
    run("UPDATE fleet_fitment SET fitted_on = %s WHERE id = %s", D(2024, 10, 1), later)
    run("UPDATE fleet_fitment SET removed_on = %s WHERE id = %s", D(2024, 11, 1), later)


def test_removal_before_fitting_is_refused(aircraft, positions, parts):
    with pytest.raises(IntegrityError):
        fit(aircraft[0], positions[0], parts[0], D(2024, 3, 1), D(2024, 2, 1))


# Utilisation --------------------------------------------------------------------------------------
def test_utilisation_runs_forwards(enter):
    enter(D(2024, 1, 1), 100, 80)
    enter(D(2024, 3, 1), 200, 160)
    for on, hours, landings in [
        (D(2024, 2, 1), "99.99", 100),
        (D(2024, 2, 1), "200.01", 100),
        (D(2024, 2, 1), 150, 79),
        (D(2024, 2, 1), 150, 161),
        (D(2024, 4, 1), "199.99", 200),
        (D(2023, 12, 1), 101, 10),
        (D(2024, 3, 1), 210, 170),  # the day has one
    ]:
        with pytest.raises(IntegrityError):
            enter(on, hours, landings)
    enter(D(2024, 2, 1), 100, 80)  # equal is not backwards
    assert UtilisationEntry.objects.count() == 3


def test_hours_compare_as_numbers_not_as_text(enter):
    enter(D(2024, 1, 1), "99.90", 80)
    enter(D(2024, 1, 2), "100.10", 81)
    with pytest.raises(IntegrityError):
        enter(D(2024, 1, 3), "99.95", 82)


def test_aircraft_do_not_bind_each_other(enter, aircraft):
    enter(D(2024, 1, 1), 100, 80)
    enter(D(2024, 2, 1), 5, 4, craft=aircraft[1])


def test_a_correction_takes_the_place_of_what_it_corrects(enter):
    enter(D(2024, 1, 1), 100, 80)
    wrong = enter(D(2024, 2, 1), 1100, 90)
    with pytest.raises(IntegrityError):
        enter(D(2024, 3, 1), 120, 100)
    right = enter(D(2024, 2, 1), 110, 90, supersedes=wrong)
    enter(D(2024, 3, 1), 120, 100)
    with pytest.raises(IntegrityError):  # a correction runs forwards too
        enter(D(2024, 2, 1), 130, 90, supersedes=right)
    with pytest.raises(IntegrityError):  # corrected once already
        enter(D(2024, 2, 1), 111, 90, supersedes=wrong)


def test_a_correction_stays_with_its_aircraft(enter, aircraft):
    entry = enter(D(2024, 1, 1), 100, 80)
    with pytest.raises(IntegrityError):
        enter(D(2024, 1, 1), 100, 80, supersedes=entry, craft=aircraft[1])


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE fleet_utilisationentry SET hours = 1",
        "UPDATE fleet_utilisationentry SET remark = 'x'",
        "DELETE FROM fleet_utilisationentry",
    ],
)
def test_entries_are_never_changed_or_deleted(enter, sql):
    enter(D(2024, 1, 1), 100, 80)
    with pytest.raises(IntegrityError):
        run(sql)
    assert UtilisationEntry.objects.get().hours == 100


@pytest.mark.only_postgresql
def test_entries_are_never_emptied_at_once(enter):
    enter(D(2024, 1, 1), 100, 80)
    run("SET CONSTRAINTS ALL IMMEDIATE")  # else the server refuses for a reason of its own
    with pytest.raises(IntegrityError):
        run("TRUNCATE fleet_utilisationentry CASCADE")


@pytest.mark.only_sqlite
def test_replace_can_not_smuggle_a_change_in(enter):
    entry = enter(D(2024, 1, 1), 100, 80)
    with pytest.raises(IntegrityError):
        run(
            'INSERT OR REPLACE INTO fleet_utilisationentry SELECT id, "on", 1, landings, kind, remark, '
            "source, entered_at, aircraft_id, entered_by_id, supersedes_id FROM fleet_utilisationentry "
            "WHERE id = %s",
            entry,
        )
    assert UtilisationEntry.objects.get().hours == 100


def test_bulk_insert_is_guarded_row_by_row(aircraft, controller):
    def row(day, hours):
        return UtilisationEntry(
            aircraft=aircraft[0], on=D(2024, 1, day), hours=hours, landings=1, entered_by=controller
        )

    with pytest.raises(IntegrityError), transaction.atomic():
        UtilisationEntry.objects.bulk_create([row(1, 10), row(2, 9)])
    UtilisationEntry.objects.bulk_create([row(2, 9), row(1, 8)])


# Instruments --------------------------------------------------------------------------------------
def test_calibration_is_due_after_it_was_done_and_once_a_day():
    gauge = Instrument.objects.create(
        code="G1",
        kind="gauge",
        owner="us",
        unit="kPa",
        range_low=0,
        range_high=400,
        resolution=2,
        accuracy_kind="absolute",
        accuracy=4,
    )

    def calibrate(done, due) -> int:
        return insert(
            "fleet_calibration",
            instrument_id=gauge.pk,
            calibrated_on=done,
            due_on=due,
            result="passed",
            laboratory="",
            certificate_number="C",
            certificate_file="",
        )

    for due in (D(2024, 1, 1), D(2023, 1, 1)):
        with pytest.raises(IntegrityError):
            calibrate(D(2024, 1, 1), due)
    done = calibrate(D(2024, 1, 1), D(2025, 1, 1))
    with pytest.raises(IntegrityError):
        calibrate(D(2024, 1, 1), D(2025, 6, 1))
    with pytest.raises(IntegrityError):
        run("UPDATE fleet_calibration SET due_on = calibrated_on WHERE id = %s", done)


@pytest.mark.only_postgresql
@pytest.mark.django_db(transaction=True)
def test_two_writers_at_once_do_not_miss_each_other(aircraft, controller):
    """The second writer waits for the first, then sees its entry: 200 h on 1 March bars 300 h before it."""
    first_wrote, results = threading.Event(), []

    def row(on, hours) -> UtilisationEntry:
        return UtilisationEntry(aircraft=aircraft[0], on=on, hours=hours, landings=1, entered_by=controller)

    def second() -> None:
        try:
            first_wrote.wait(10)
            row(D(2024, 2, 1), 300).save()
            results.append("written")
        except IntegrityError:
            results.append("refused")
        finally:
            connection.close()

    writer = threading.Thread(target=second)
    writer.start()
    with transaction.atomic():
        row(D(2024, 3, 1), 200).save()
        first_wrote.set()
        writer.join(1)
        assert not results, "the second writer did not wait"
    writer.join(10)
    assert results == ["refused"]
